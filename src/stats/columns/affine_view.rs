//! A column of numbers counted from another zero and perhaps turned over, without a copy of it.
//!
//! `y = s · (x − x₀)` with `s` = 1 or −1. A column that is not moved and not turned keeps every bit, and one that is turned has
//! the bits of `−x`: neither a subtraction of zero nor a factor of one rounds.

use std::ops::Range;

/// A borrowed column as it counts from `zero` in the direction of `sign`.
#[derive(Clone, Copy, Debug)]
pub struct AffineView<'a> {
    column: &'a [f64],
    zero: f64,
    sign: f64,
}

impl<'a> AffineView<'a> {
    /// A column as it stands.
    pub fn new(column: &'a [f64]) -> AffineView<'a> {
        AffineView::about(column, 0.0, false)
    }

    /// A column counted from `zero`, upside down or not.
    pub fn about(column: &'a [f64], zero: f64, upside_down: bool) -> AffineView<'a> {
        AffineView {
            column,
            zero,
            sign: if upside_down { -1.0 } else { 1.0 },
        }
    }

    /// The same with the sign turned.
    pub fn negated(self) -> AffineView<'a> {
        AffineView {
            sign: -self.sign,
            ..self
        }
    }

    /// The numbers of the column itself, not turned.
    pub fn column(&self) -> &'a [f64] {
        self.column
    }

    /// True when the column stands as it is.
    pub fn is_plain(&self) -> bool {
        self.sign == 1.0 && self.zero == 0.0
    }

    /// What a number of the column counts as.
    #[inline(always)]
    pub fn of(&self, number: f64) -> f64 {
        self.sign * (number - self.zero)
    }

    /// Number of rows.
    pub fn len(&self) -> usize {
        self.column.len()
    }

    /// True when there is no row.
    pub fn is_empty(&self) -> bool {
        self.column.is_empty()
    }

    /// The number in a row; the row must be there.
    #[inline]
    pub fn at(&self, row: usize) -> f64 {
        self.of(self.column[row])
    }

    /// The number in a row, where it is there.
    pub fn get(&self, row: usize) -> Option<f64> {
        self.column.get(row).map(|x| self.of(*x))
    }

    /// Some rows; they must be there.
    pub fn slice(self, rows: Range<usize>) -> AffineView<'a> {
        AffineView {
            column: &self.column[rows],
            ..self
        }
    }

    /// The numbers in the order of the rows.
    pub fn iter(self) -> impl DoubleEndedIterator<Item = f64> + ExactSizeIterator + Clone + 'a {
        self.column.iter().map(move |x| self.of(*x))
    }

    /// Every `stride`th row, from the first on.
    pub fn strided(self, stride: usize) -> impl Iterator<Item = f64> + Clone + 'a {
        // The steps are taken on the column: those of a map would work out every number in between.
        let rows = self.column.iter().step_by(stride);
        rows.map(move |x| self.of(*x))
    }

    /// Means of `size` neighbours each, the last ones of what is left.
    pub fn means(self, size: usize) -> Vec<f64> {
        let blocks = self.column.chunks(size).map(|block| AffineView {
            column: block,
            ..self
        });
        blocks
            .map(|block| block.iter().sum::<f64>() / block.len() as f64)
            .collect()
    }
}

impl<'a> From<&'a [f64]> for AffineView<'a> {
    fn from(column: &'a [f64]) -> AffineView<'a> {
        AffineView::new(column)
    }
}

impl<'a> From<&'a Vec<f64>> for AffineView<'a> {
    fn from(column: &'a Vec<f64>) -> AffineView<'a> {
        AffineView::new(column)
    }
}

impl<'a, const N: usize> From<&'a [f64; N]> for AffineView<'a> {
    fn from(column: &'a [f64; N]) -> AffineView<'a> {
        AffineView::new(column)
    }
}

impl<'a> From<&AffineView<'a>> for AffineView<'a> {
    fn from(column: &AffineView<'a>) -> AffineView<'a> {
        *column
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn bits(values: impl Iterator<Item = f64>) -> Vec<u64> {
        values.map(f64::to_bits).collect()
    }

    proptest! {
        #[test]
        fn the_bits_of_a_copy(x in prop::collection::vec(prop_oneof![8 => -9.0f64..9.0, 1 => Just(-0.0), 1 => Just(0.0)], 1..60), zero in -9.0f64..9.0, stride in 1usize..9) {
            let plain = AffineView::new(&x);
            prop_assert!(plain.is_plain());
            prop_assert_eq!(bits(plain.iter()), bits(x.iter().copied()));
            let over: Vec<f64> = x.iter().map(|v| -v).collect();
            prop_assert_eq!(bits(plain.negated().iter()), bits(over.iter().copied()));
            let moved: Vec<f64> = x.iter().map(|v| -(v - zero)).collect();
            let about = AffineView::about(&x, zero, true);
            prop_assert_eq!(bits(about.iter()), bits(moved.iter().copied()));
            prop_assert_eq!(bits(about.strided(stride)), bits(moved.iter().step_by(stride).copied()));
            let means = moved.chunks(stride).map(|c| c.iter().sum::<f64>() / c.len() as f64);
            prop_assert_eq!(bits(about.means(stride).into_iter()), bits(means));
            prop_assert_eq!(about.slice(0..1).at(0).to_bits(), moved[0].to_bits());
            prop_assert_eq!(about.get(x.len()), None);
        }
    }
}
