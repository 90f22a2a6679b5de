//! A vendor's sheet held against a motor file.
//!
//! * `entry`: what vendors print.
//! * [`sheet`]: TOML to checked claims.
//! * `consistency`: the sheet against itself, before the motor is blamed.
//! * `prediction`: each entry as the motor file predicts it at the sheet's conditions, with uncertainty.
//! * `conformity`: limits, guard bands, risk (JCGM 106:2012).
//! * `finding`: the judgement of each claim, and of the sheet.
//! * [`table`]: the same as text.

mod conformity;
mod consistency;
mod entry;
mod finding;
mod prediction;
pub mod sheet;
pub mod table;

pub use conformity::{Limits, Rule, Verdict};
pub use consistency::{Consistency, Relation, Standing};
pub use entry::Entry;
pub use finding::{Finding, Judgement, judge};
pub use prediction::Method;
pub use sheet::{Claim, Sheet, Stall};
