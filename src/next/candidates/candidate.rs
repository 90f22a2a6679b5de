//! One capture or reading that could come next.

use crate::fit::Addition;
use crate::next::advice::Advice;
use serde::Serialize;

/// One thing that could be done.
#[derive(Clone, Debug, Serialize)]
pub struct Candidate {
    /// Key in `--json`.
    pub key: String,
    /// What to do.
    pub title: String,
    /// What it takes beyond what the bench already has.
    pub needs: Option<String>,
    pub how: Option<String>,
    pub cautions: Vec<String>,
    /// Wiring and settings.
    pub advice: Option<Advice>,
    /// What it adds to the fit.
    #[serde(skip)]
    pub addition: Addition,
}

impl Candidate {
    /// What adds this to the fit, and takes nothing else.
    pub fn new(key: &str, title: impl Into<String>, addition: Addition) -> Candidate {
        Candidate {
            key: key.to_owned(),
            title: title.into(),
            needs: None,
            how: None,
            cautions: Vec::new(),
            advice: None,
            addition,
        }
    }

    /// With settings, and the cautions that go with them.
    pub fn advised(self, advice: Advice) -> Candidate {
        Candidate {
            cautions: advice.cautions.clone(),
            advice: Some(advice),
            ..self
        }
    }

    pub fn needing(self, what: impl Into<String>) -> Candidate {
        Candidate {
            needs: Some(what.into()),
            ..self
        }
    }

    pub fn how(self, how: impl Into<String>) -> Candidate {
        Candidate {
            how: Some(how.into()),
            ..self
        }
    }
}
