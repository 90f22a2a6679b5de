//! Why an optional term is part of the model or is left out.

use serde::Serialize;
use std::fmt;

/// Why a term is part of the model, or is left out.
#[derive(Clone, Debug, PartialEq, Serialize, thiserror::Error)]
#[serde(tag = "code", rename_all = "kebab-case")]
#[allow(missing_docs, reason = "the text of a variant names its fields")]
#[non_exhaustive]
pub enum TermReason {
    #[error("{sigmas:.0} standard deviations from zero")]
    PlainlyThere { sigmas: f64 },
    #[error("likelihood ratio {ratio:.1}, above {least}; without it {effect}")]
    Supported {
        ratio: f64,
        least: f64,
        effect: Effect,
    },
    #[error(
        "likelihood ratio {ratio:.1}, below {least}; left out, and its largest credible size is included in the bounds of the others: without it {effect}"
    )]
    NotSupported {
        ratio: f64,
        least: f64,
        effect: Effect,
    },
    #[error(
        "limited by a prior; the captures put it at its bound, and what it may still do is included in the bounds of the others"
    )]
    AtBound,
    #[error("limited by a prior; the captures contain no information about it")]
    PriorOnly,
    #[error("limited by a prior, which the captures narrow to {:.0} % of its standard deviation", 100.0 * share)]
    Narrowed { share: f64 },
}

/// How far the other parameters move without a term: symbol, relative change and change in standard deviations of each that moves noticeably.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Effect(pub Vec<(&'static str, f64, f64)>);

impl fmt::Display for Effect {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.0.is_empty() {
            return f.write_str("nothing else moves by a fifth of its uncertainty");
        }
        let each = self.0.iter().map(|(name, relative, sigmas)| {
            let percent = 100.0 * relative;
            format!("{name} changes by {percent:+.2} % ({sigmas:+.1} σ)")
        });
        f.write_str(&each.collect::<Vec<_>>().join(", "))
    }
}
