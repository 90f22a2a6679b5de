//! The words of the fit: what it remarks on beside its result, and what it says of evidence that does not agree. The numbers are found elsewhere; here they are fields.

mod contradictions;
mod remarks;
mod terms;

pub use contradictions::{Contradiction, OwnScale};
pub use remarks::{CyclesMean, Remark, RemarkKind};
pub use terms::{Effect, TermReason};
