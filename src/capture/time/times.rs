//! The times of all rows, in the order of the rows.

use super::chunk::TimeChunk;
use rayon::prelude::*;

/// Rows a task of those that are not held by chunks.
const STRETCH: usize = 1 << 16;

/// Times as they are held: chunks, then the rest as numbers.
#[derive(Clone, Copy, Debug)]
pub struct Times<'a> {
    chunks: &'a [TimeChunk],
    rest: &'a [f64],
}

impl<'a> Times<'a> {
    pub fn new(chunks: &'a [TimeChunk], rest: &'a [f64]) -> Times<'a> {
        Times { chunks, rest }
    }

    pub fn len(&self) -> usize {
        self.chunks.iter().map(TimeChunk::len).sum::<usize>() + self.rest.len()
    }

    /// All times as numbers.
    pub fn to_vec(self) -> Vec<f64> {
        let mut times = Vec::with_capacity(self.len());
        self.chunks.iter().for_each(|c| c.unpack(&mut times));
        times.extend_from_slice(self.rest);
        times
    }

    pub fn first(&self) -> Option<f64> {
        match self.chunks.first() {
            Some(chunk) => Some(chunk.at(0)),
            None => self.rest.first().copied(),
        }
    }

    pub fn last(&self) -> Option<f64> {
        let of_chunk = |chunk: &TimeChunk| chunk.at(chunk.len() - 1);
        let rest = self.rest.last().copied();
        rest.or_else(|| self.chunks.last().map(of_chunk))
    }

    /// What `of` makes of each stretch of times and its first row, on all threads, in the order of the rows.
    pub fn map_stretches<T: Send>(&self, of: impl Fn(usize, &[f64]) -> T + Sync) -> Vec<T> {
        let lengths = self.chunks.iter().map(TimeChunk::len);
        let begins: Vec<usize> = lengths
            .scan(0, |begin, length| {
                let here = *begin;
                *begin += length;
                Some(here)
            })
            .collect();
        let of_chunks =
            self.chunks
                .par_iter()
                .zip(begins)
                .map_init(Vec::new, |times, (chunk, begin)| {
                    times.clear();
                    chunk.unpack(times);
                    of(begin, times)
                });
        let first = self.len() - self.rest.len();
        let of_rest = self
            .rest
            .par_chunks(STRETCH)
            .enumerate()
            .map(|(k, times)| of(first + k * STRETCH, times));
        of_chunks.chain(of_rest).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn stretches_come_in_the_order_of_the_rows() {
        let chunks = [
            TimeChunk::new(vec![0.005, 0.007, 0.009]),
            TimeChunk::Listed(vec![0.011, 0.014]),
        ];
        let times = Times::new(&chunks, &[0.02, 0.03]);
        assert_eq!(
            times.to_vec(),
            [0.005, 0.007, 0.009, 0.011, 0.014, 0.02, 0.03]
        );
        assert_eq!(
            (times.len(), times.first(), times.last()),
            (7, Some(0.005), Some(0.03))
        );
        assert_eq!(
            times.map_stretches(|begin, times| (begin, times.len())),
            [(0, 3), (3, 2), (5, 2)]
        );
        assert_eq!(Times::new(&chunks, &[]).last(), Some(0.014));
        assert_eq!(Times::new(&[], &[]).first(), None);
    }
}
