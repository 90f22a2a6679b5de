//! The joint estimate of all captures and readings of one motor: first guess, problem, solver, covariance, health.

mod checks;
mod confrontation;
mod credible_size;
mod data;
mod descent;
mod design;
mod error;
mod estimate;
mod evidence;
mod joint_fit;
mod memory;
mod model;
mod options;
mod plain_motor;
mod preliminary_fit;
mod problem;
mod references;
mod row_sums;
mod shaft_course;
pub mod solve;
mod table_course;
mod uncertainty;
mod unknowns;
mod weights;
mod wording;

pub use confrontation::{Agreement, Confrontation, Disputed, EvidenceKind};
pub use data::{Bin, Quantity, Segment, SegmentKind};
pub use design::{Addition, Expected, ExpectedUncertainty, ExperimentDesign, PlannedCapture};
pub use error::FitError;
pub use estimate::{Estimate, LeaveOneOut, ProfileToWaldRatio, TermDecision};
pub use joint_fit::{estimate, estimate_in_stages};
pub use memory::RippleMemory;
pub use model::{Prediction, Row};
pub use options::FitOptions;
pub use problem::Problem;
pub use references::{CurrentSpeed, RippleFinding, voltage_balance};
pub use shaft_course::{ShaftCourse, ShaftPoint};
pub use solve::{Interrupt, Monitor, Progress};
pub use table_course::{TableCourse, TablePoint};
pub use uncertainty::{
    Covariance, InductanceAt, Interval, MotorDistribution, Reported, Status, profile,
};
pub use unknowns::{Entry, Layout, ParameterKind, ShaftUnknown, Source};
pub use wording::{Contradiction, CyclesMean, Effect, Remark, RemarkKind, TermReason};
