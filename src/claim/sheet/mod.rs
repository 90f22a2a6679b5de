//! A vendor's sheet, as `docs/claim_sheet.md` describes it: TOML to checked claims in SI units.
//!
//! * `checked`: what a sheet holds. `parse`: the whole of it from text.
//! * `head`: the table `[sheet]`. `claims`: one entry of `[claims]`.
//! * `printed`: numbers and tolerances as printed.

mod checked;
mod claims;
mod head;
mod parse;
mod printed;

pub use checked::{Claim, Sheet, Stall};
pub use parse::{from_text, read};
