//! What to measure next: before anything is measured, and once there is a fit. Prints nothing and writes nothing.
//!
//! Without captures ([`first`]) it proposes the first ones from supply, ohmmeter and size, with scope settings, shunt, fuse and
//! the limits of a held rotor; every number is measured, given or a guess with its range ([`assumptions`], [`advice`]).
//!
//! [`heat`](mod@heat) plans the heat run from which the rating follows.
//!
//! With a fit it asks the information matrix what each of a list of captures and readings would bring ([`rig`] simulates them,
//! [`candidates`](mod@candidates) lists them, [`goal`] is what is wanted, [`ranking`] puts them in order). [`text`] holds the results
//! as text; as data they are what `--json` prints. See `docs/next.md`.

pub mod advice;
pub mod assumptions;
pub mod candidates;
pub mod first;
pub mod goal;
pub mod heat;
pub mod ranking;
pub mod rig;
pub mod text;

pub use assumptions::guess::{Basis, Guess};
pub use assumptions::size::{Size, SizeError};
pub use first::{FirstPlan, Known, first_plan};
pub use goal::{Goal, GoalError};
pub use heat::{HeatPlan, NoHeatPlan, heat_plan};
pub use ranking::{Ranking, rank};
pub use text::{first_table, heat as heat_text, screen, table};
