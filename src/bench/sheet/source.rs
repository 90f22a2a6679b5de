//! The text of a sheet, and places in it.

use crate::bench::error::Place;
use std::path::Path;
use std::sync::Arc;

/// Path and text of a sheet, from which places are counted.
#[derive(Clone, Debug)]
pub struct Source<'s> {
    pub path: Arc<Path>,
    pub text: &'s str,
}

impl Source<'_> {
    /// Line and column of a byte offset.
    pub fn place(&self, offset: usize) -> Place {
        let before = self.text.get(..offset).unwrap_or(self.text);
        let line_start = before.rfind('\n').map_or(0, |p| p + 1);
        Place {
            path: self.path.clone(),
            line: before.matches('\n').count() as u32 + 1,
            column: before[line_start..].chars().count() as u32 + 1,
        }
    }
}
