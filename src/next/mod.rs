//! What to measure next: before anything is measured, and once there is a fit. Prints nothing and writes nothing.
//!
//! Without captures ([`first`]) it proposes the first ones from supply, ohmmeter and size, with scope settings, shunt, fuse and
//! the limits of a held rotor; every number is measured, given or a guess with its range ([`guess`], [`size`], [`heating`],
//! [`protection`], [`scope`], [`series`]).
//!
//! With a fit it asks the information matrix what each of a list of captures and readings would bring ([`rig`] simulates them,
//! [`candidate`] lists them, [`goal`] says what is wanted, [`ranking`] puts them in order). [`table`] and [`first_table`] are the
//! results as text; as data they are what `--json` prints. See `docs/next.md`.

pub mod advice;
pub mod candidate;
pub mod first;
pub mod first_table;
mod further_captures;
mod further_readings;
pub mod goal;
pub mod guess;
pub mod heating;
pub mod machine;
pub mod protection;
pub mod ranking;
pub mod rig;
pub mod scope;
pub mod series;
pub mod size;
pub mod table;
pub mod words;

pub use first::{FirstPlan, Known, first_plan};
pub use goal::{Goal, GoalError};
pub use guess::{Basis, Guess};
pub use ranking::{Ranking, rank};
pub use size::{Size, SizeError};
