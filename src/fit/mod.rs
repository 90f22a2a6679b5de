//! The joint estimate of all captures and readings of one motor: first guess, problem, solver, covariance, health.

mod checks;
mod design;
mod error;
mod estimate;
mod evidence;
mod joint;
mod options;
mod problem;
pub mod solve;
mod uncertainty;
mod wording;

use estimate::confrontation;
use evidence::{data, references};
use problem::{model, unknowns};

pub use confrontation::{Agreement, Confrontation, Disputed, EvidenceKind};
pub use data::{Bin, Quantity, Segment, SegmentKind};
pub use design::{Addition, Expected, ExpectedUncertainty, ExperimentDesign, PlannedCapture};
pub use error::FitError;
pub use estimate::shaft_course::{ShaftCourse, ShaftPoint};
pub use estimate::table_course::{TableCourse, TablePoint};
pub use estimate::{Estimate, LeaveOneOut, ProfileToWaldRatio, TermDecision};
pub use joint::joint_fit::{estimate, estimate_in_stages};
pub use joint::memory::RippleMemory;
pub use model::{Prediction, Row};
pub use options::FitOptions;
pub use problem::Problem;
pub use references::{CurrentSpeed, RippleFinding, voltage_balance};
pub use solve::{Interrupt, Monitor, Progress};
pub use uncertainty::{
    Covariance, InductanceAt, Interval, MotorDistribution, Reported, Status, profile,
};
pub use unknowns::{Entry, Layout, ParameterKind, ShaftUnknown, Source};
pub use wording::{Contradiction, CyclesMean, Effect, Remark, RemarkKind, TermReason};
