//! From a bench to everything that is known of its motor: events, joint estimate, motor file.
//!
//! The one way through the stages for every command that needs a fitted motor. It prints nothing and writes nothing.

mod identified;
mod roles;

pub use identified::{Identified, IdentifyError, find_events, identify, identify_with};
pub use roles::{RoleError, check_role, check_roles};
