//! What was asked of a trace before, so that a long one is not gone through again for it.

use crate::events::phases::contact::Closed;
use std::sync::{Mutex, OnceLock, PoisonError};

/// Answers that cost a pass over the rows of one trace.
#[derive(Debug, Default)]
pub(crate) struct Asked {
    /// The rows that a quantile of the whole trace looks at, in increasing order.
    pub ranked: OnceLock<Vec<f64>>,
    /// By first row and end.
    pub peaks: Answers<(usize, usize), Option<(usize, f64)>>,
    /// By the bits of the band, first row and end.
    pub closed: Answers<(u64, u64, usize, usize), Vec<Closed>>,
}

/// Questions with their answers.
#[derive(Debug)]
pub(crate) struct Answers<Q, A>(Mutex<Vec<(Q, A)>>);

impl<Q, A> Default for Answers<Q, A> {
    fn default() -> Answers<Q, A> {
        Answers(Mutex::default())
    }
}

impl<Q: PartialEq, A: Clone> Answers<Q, A> {
    /// The answer, worked out where it is not known.
    pub fn to(&self, question: Q, answer: impl FnOnce() -> A) -> A {
        let known = || self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some((_, answer)) = known().iter().find(|(q, _)| *q == question) {
            return answer.clone();
        }
        let answer = answer();
        known().push((question, answer.clone()));
        answer
    }
}
