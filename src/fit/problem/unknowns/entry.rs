//! A place in the vector of unknowns.

use nalgebra::DVector;
use std::ops::{Index, IndexMut};

/// Place of one unknown in the vector. The directions of a capture's settings and the components of a gradient are numbered otherwise
/// and have types of their own.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Entry(usize);

impl Entry {
    /// The entry at `index` of the vector.
    pub fn new(index: usize) -> Self {
        Entry(index)
    }

    /// Index in the vector.
    pub fn index(self) -> usize {
        self.0
    }

    /// Place in a matrix over the unknowns: this row, that column.
    pub fn with(self, column: Entry) -> (usize, usize) {
        (self.0, column.0)
    }

    /// Place of its variance or information in a matrix over the unknowns.
    pub fn diagonal(self) -> (usize, usize) {
        (self.0, self.0)
    }
}

impl Index<Entry> for DVector<f64> {
    type Output = f64;

    fn index(&self, entry: Entry) -> &f64 {
        &self[entry.0]
    }
}

impl IndexMut<Entry> for DVector<f64> {
    fn index_mut(&mut self, entry: Entry) -> &mut f64 {
        &mut self[entry.0]
    }
}
