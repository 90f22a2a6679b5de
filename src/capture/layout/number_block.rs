//! A run of rows of numbers in the head of a file.

use super::dialect::CellKind;

/// A run of rows of numbers in the head.
#[derive(Clone, Debug)]
pub struct NumberBlock {
    /// Index of the first row among the lines of the head.
    pub first: usize,
    /// Index of the last row.
    pub last: usize,
    pub rows: usize,
    /// Merged over the rows.
    pub kinds: Vec<CellKind>,
    /// Numbers in every row.
    pub solid: Vec<bool>,
    pub leading_zeros: usize,
}

impl NumberBlock {
    pub fn new(at: usize, kinds: Vec<CellKind>) -> NumberBlock {
        NumberBlock {
            first: at,
            last: at,
            rows: 0,
            solid: vec![true; kinds.len()],
            kinds,
            leading_zeros: 0,
        }
    }

    /// True when a row with these kinds can belong to the block.
    pub fn takes(&self, kinds: &[CellKind]) -> bool {
        let shared = self.kinds.len().min(kinds.len());
        let clash = self.kinds[..shared]
            .iter()
            .zip(&kinds[..shared])
            .any(|(a, b)| {
                matches!(
                    (a, b),
                    (CellKind::Number, CellKind::Text) | (CellKind::Text, CellKind::Number)
                )
            });
        // Rows may differ in length only by cells that hold no number.
        let rest = if self.kinds.len() > kinds.len() {
            &self.kinds[shared..]
        } else {
            &kinds[shared..]
        };
        !clash && !rest.contains(&CellKind::Number)
    }

    pub fn add(&mut self, at: usize, kinds: &[CellKind]) {
        if kinds.len() > self.kinds.len() {
            self.kinds.resize(kinds.len(), CellKind::Nothing);
            self.solid.resize(kinds.len(), false);
        }
        for (column, merged) in self.kinds.iter_mut().enumerate() {
            let kind = kinds.get(column).copied().unwrap_or(CellKind::Nothing);
            self.solid[column] &= kind == CellKind::Number;
            if kind != CellKind::Nothing {
                *merged = kind;
            }
        }
        self.rows += 1;
        self.last = at;
    }

    pub fn score(&self) -> f64 {
        let count = |wanted: CellKind| self.kinds.iter().filter(|&&k| k == wanted).count() as f64;
        let score = self.rows as f64 * (count(CellKind::Number) - 0.6 * count(CellKind::Text));
        if self.leading_zeros * 10 > self.rows {
            // `0,05` cut at its comma leaves `05`; no one prints numbers so.
            score * 0.4
        } else {
            score
        }
    }
}
