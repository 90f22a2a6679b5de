//! What to measure next: before anything is measured, and once there is a fit. Prints nothing and writes nothing.
//!
//! Without captures ([`first_plan`]) it proposes the first ones from supply, ohmmeter and size, with scope settings, shunt, fuse and
//! the limits of a held rotor; every number is measured, given or a guess with its range (`assumptions`, `advice`).
//!
//! [`heat_plan`] plans the heat run from which the rating follows.
//!
//! With a fit it asks the information matrix what each of a list of captures and readings would bring (`rig` simulates them,
//! `candidates` lists them, [`Goal`] is what is wanted, [`rank`] puts them in order). `text` holds the results
//! as text; as data they are what `--json` prints. See `docs/next.md`.

pub(crate) mod advice;
mod assumptions;
mod candidates;
mod first;
mod goal;
mod heat;
mod ranking;
mod rig;
pub(crate) mod text;

pub use advice::source::refusal;
pub use assumptions::size::{Size, SizeError};
pub use first::{FirstPlan, Known, first_plan, resistance_given, resistance_of};
pub use goal::{Goal, GoalError};
pub use heat::{HeatPlan, NoHeatPlan, heat_plan};
pub use ranking::{Question, Ranking, driven_v, rank};
pub use rig::{CaptureKind, Rig};
pub use text::first::render as first_text;
pub use text::heat::render as heat_text;
pub use text::ranking::render as ranking_text;
