//! One capture or reading that could come next.

use crate::fit::Addition;
use crate::next::advice::Advice;

/// One thing that could be done.
#[derive(Clone, Debug)]
pub struct Candidate {
    /// Key in `--json`.
    pub key: String,
    /// What to do.
    pub title: String,
    /// What it takes beyond what the bench already has.
    pub needs: Option<String>,
    /// Wiring and settings.
    pub advice: Option<Advice>,
    /// How to do it.
    pub how: Option<String>,
    /// Dangers.
    pub cautions: Vec<String>,
    /// What it adds to the fit.
    pub addition: Addition,
}
