//! The line of the file in which each row stands.

/// Lines of rows: row k stands at `line - row` of the last run at or before it. Runs change only at skipped lines.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct LineMap(Vec<(usize, usize)>);

impl LineMap {
    #[inline]
    pub fn note(&mut self, row: usize, line: usize) {
        if self.0.last().is_none_or(|&(r, l)| l + (row - r) != line) {
            self.0.push((row, line));
        }
    }

    /// 1-based line of a row.
    pub fn line(&self, row: usize) -> usize {
        let at = self.0.partition_point(|&(r, _)| r <= row);
        self.0
            .get(at.wrapping_sub(1))
            .map_or(0, |&(r, l)| l + (row - r))
    }
}
