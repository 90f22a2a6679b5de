//! Results of passes over a trace, kept so that the same question about five million rows does not cost another pass.

use super::bands::Closed;
use std::sync::{Mutex, PoisonError};

/// What passes over the rows of one trace have given.
#[derive(Debug, Default)]
pub(super) struct PassCache {
    /// By first row and end.
    pub peaks: Memo<(usize, usize), Option<(usize, f64)>>,
    /// By the bits of the band, first row and end.
    pub closed: Memo<(u64, u64, usize, usize), Vec<Closed>>,
}

/// Results by key, few of them.
#[derive(Debug)]
pub(super) struct Memo<K, V>(Mutex<Vec<(K, V)>>);

impl<K, V> Default for Memo<K, V> {
    fn default() -> Memo<K, V> {
        Memo(Mutex::default())
    }
}

impl<K: PartialEq, V: Clone> Memo<K, V> {
    /// The result for a key, worked out where it is not kept.
    pub fn get_or_work_out(&self, key: K, work_out: impl FnOnce() -> V) -> V {
        let kept = || self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some((_, result)) = kept().iter().find(|(k, _)| *k == key) {
            return result.clone();
        }
        let result = work_out();
        kept().push((key, result.clone()));
        result
    }
}
