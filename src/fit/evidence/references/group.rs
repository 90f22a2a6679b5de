//! Residuals that are one item of evidence together.

/// Which group, by the place of its table or capture in the bench.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Group {
    /// A table of readings.
    Table(usize),
    /// The speed channel of a capture.
    Shaft(usize),
}
