//! One capture or reading that could come next.

use crate::fit::Addition;
use crate::next::advice::Advice;

/// One thing that could be done.
#[derive(Clone, Debug)]
pub struct Candidate {
    /// Key in `--json`.
    pub key: String,
    pub title: String,
    /// What it takes beyond what the bench already has.
    pub needs: Option<String>,
    pub advice: Option<Advice>,
    pub how: Option<String>,
    pub cautions: Vec<String>,
    pub addition: Addition,
}
