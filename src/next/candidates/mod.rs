//! The captures and readings that could come next, for a motor with a fit.

mod calibrations;
mod candidate;
mod captures;
mod context;
mod readings;
mod tables;

pub use candidate::Candidate;
pub use context::Context;

/// The list, in no order of merit.
pub fn candidates(context: &Context<'_>) -> Vec<Candidate> {
    let mut out = captures::list(context);
    out.extend(readings::list(context));
    out.extend(tables::list(context));
    out.extend(calibrations::list(context));
    out
}
