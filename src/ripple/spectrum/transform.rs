//! Fourier transform of samples that stand at uneven places.
//!
//! `Y(k) = Σ z_i exp(-2πj k Δf x_i)`, `k = 0 .. bins`: the samples are laid onto a uniform grid in x by convolution with a
//! Kaiser-Bessel kernel, one FFT is taken, and the kernel's own transform is divided out (J. I. Jackson et al., IEEE Trans. Med.
//! Imaging 10 (1991) 473-478). Against interpolation to a uniform record this keeps every sample with its own noise and has no
//! bias: a ripple above the Nyquist frequency of the first, fast part of a run-down still lands at its true place, because the
//! samples' true places in x are used. Accuracy better than 1e-6 of Σ|z|.

use crate::ripple::numerics::turn::turn;
use rustfft::{Fft, FftPlanner, num_complex::Complex64};
use std::collections::BTreeMap;
use std::sync::{Arc, OnceLock};
use std::{cell::RefCell, f64::consts::PI};

/// Kernel width in grid cells and its shape for a grid twice as fine as needed.
const WIDTH: usize = 8;
const SHAPE: f64 = 2.30 * WIDTH as f64;
const TABLE_PER_CELL: usize = 1024;

static TABLE: OnceLock<Vec<[f64; WIDTH]>> = OnceLock::new();
static INVERSE: OnceLock<Vec<f64>> = OnceLock::new();
/// Steps of the table of the inverse kernel transform; its frequencies end at a quarter of a cycle per cell.
const INVERSE_STEPS: usize = 512;

thread_local! {
    static WORKSPACE: RefCell<Workspace> = RefCell::new(Workspace {
        plans: BTreeMap::new(),
        cells: Vec::new(),
        scratch: Vec::new(),
    });
}

/// Kept from one spectrum of a thread to the next: twiddle factors of each size, and, until [`free_workspace`], memory that the system
/// need not clear again.
struct Workspace {
    plans: BTreeMap<usize, Arc<dyn Fft<f64>>>,
    /// Two neighbouring cells of the grid each.
    cells: Vec<Complex64>,
    scratch: Vec<Complex64>,
}

impl Workspace {
    /// The transform of a size. Each has a planner of its own: one planner builds a size from those it made before, so that the last
    /// bits of a result would depend on what the thread did earlier.
    fn plan(&mut self, size: usize) -> Arc<dyn Fft<f64>> {
        let made = self.plans.entry(size);
        Arc::clone(made.or_insert_with(|| FftPlanner::new().plan_fft_forward(size)))
    }

    /// So many empty cells, and so much scratch at least.
    fn make_room(&mut self, cells: usize, scratch: usize) {
        // What is too small goes before the larger comes: nothing of it is wanted.
        if self.cells.capacity() < cells {
            self.cells = Vec::new();
        }
        if self.scratch.len() < scratch {
            self.scratch = Vec::new();
            self.scratch.resize(scratch, Complex64::default());
        }
        self.cells.clear();
        self.cells.resize(cells, Complex64::default());
    }
}

/// Gives back the memory of this thread's spectra, some megabytes, where no other follows soon.
pub(crate) fn free_workspace() {
    WORKSPACE.with_borrow_mut(|work| {
        work.cells = Vec::new();
        work.scratch = Vec::new();
    });
}

/// Transform of the values at the places `x` (unit u), at `k·frequency_step` (cycles per u), `k = 0 .. bins`.
/// `values` is as long as `x`; places may lie anywhere as the transform is periodic in `1/frequency_step`.
pub fn transform(x: &[f64], values: &[f64], frequency_step: f64, bins: usize) -> Vec<Complex64> {
    let samples = |first: usize, places: &mut [f64], block: &mut [f64]| {
        let rows = first..first + block.len();
        places.copy_from_slice(&x[rows.clone()]);
        block.copy_from_slice(&values[rows]);
    };
    transform_into(x.len(), samples, frequency_step, bins, |value| value)
}

/// Squared magnitudes of the transform. `samples` puts down the places and the values of the rows from one on, each once and in
/// order, so that neither need be laid down in full.
pub(crate) fn powers(
    rows: usize,
    samples: impl FnMut(usize, &mut [f64], &mut [f64]),
    frequency_step: f64,
    bins: usize,
) -> Vec<f64> {
    transform_into(rows, samples, frequency_step, bins, |value| {
        value.norm_sqr()
    })
}

fn transform_into<T>(
    rows: usize,
    samples: impl FnMut(usize, &mut [f64], &mut [f64]),
    frequency_step: f64,
    bins: usize,
    keep: impl Fn(Complex64) -> T,
) -> Vec<T> {
    // Values are real: even and odd cells are the real and imaginary parts of a transform of half the size.
    let half_grid = smooth_size(2 * bins.max(WIDTH));
    let grid = 2 * half_grid;
    WORKSPACE.with_borrow_mut(|work| {
        let plan = work.plan(half_grid);
        let scratch = plan.get_inplace_scratch_len();
        // The last kernels reach over the end.
        work.make_room(half_grid + WIDTH / 2, scratch);
        let cells = bytemuck::cast_slice_mut(&mut work.cells);
        lay_down(cells, grid, rows, samples, frequency_step);
        work.cells.truncate(half_grid);
        plan.process_with_scratch(&mut work.cells, &mut work.scratch[..scratch]);
        let packed = &work.cells;
        let inverse = INVERSE.get_or_init(inverse_table);
        let per_cell = (grid as f64).recip();
        (0..bins)
            .map(|k| {
                let mirror = if k == 0 { 0 } else { half_grid - k };
                let (z, mirror) = (packed[k], packed[mirror].conj());
                let frequency = k as f64 * per_cell;
                let (cos, sin) = turn(frequency);
                let odd = (z - mirror) * Complex64::new(-sin, -cos);
                keep((z + mirror + odd) * (0.5 * inverse_at(inverse, frequency)))
            })
            .collect()
    })
}

/// Rows asked for at once.
const BLOCK: usize = 64;

/// Lays the samples onto the first `grid` of the `cells`, which are empty and [`WIDTH`] more.
fn lay_down(
    cells: &mut [f64],
    grid: usize,
    rows: usize,
    mut samples: impl FnMut(usize, &mut [f64], &mut [f64]),
    frequency_step: f64,
) {
    let table = TABLE.get_or_init(kernel_table);
    let scale = frequency_step * grid as f64;
    let half = (WIDTH / 2) as f64;
    let (mut places, mut values) = ([0.0; BLOCK], [0.0; BLOCK]);
    for row in (0..rows).step_by(BLOCK) {
        let count = BLOCK.min(rows - row);
        let (places, values) = (&mut places[..count], &mut values[..count]);
        samples(row, places, values);
        for (&place, &value) in places.iter().zip(&*values) {
            let u = place * scale;
            let first = (u - half).ceil();
            let mut cell = first as i64;
            if cell < 0 || cell >= grid as i64 {
                cell = cell.rem_euclid(grid as i64);
            }
            let past = (first - (u - half)) * TABLE_PER_CELL as f64;
            let (row, part) = (past as usize, past.fract());
            let (here, next) = (&table[row], &table[row + 1]);
            let at = cell as usize;
            for (k, sum) in cells[at..at + WIDTH].iter_mut().enumerate() {
                *sum += value * (here[k] + part * (next[k] - here[k]));
            }
        }
    }
    // What lies behind the end belongs to the start.
    for k in 0..WIDTH {
        cells[k] += cells[grid + k];
    }
}

/// Smallest size not below `least` that is a power of two but for one small odd factor: a fast one.
fn smooth_size(least: usize) -> usize {
    [1, 3, 5, 9, 15]
        .map(|odd| odd * least.div_ceil(odd).next_power_of_two())
        .into_iter()
        .min()
        .unwrap_or(least)
}

/// `1/kernel_transform` at `k/(4·INVERSE_STEPS)`, from k = -1 on: the transform is even and smooth.
fn inverse_table() -> Vec<f64> {
    (0..INVERSE_STEPS + 4)
        .map(|k| {
            let f = (k as f64 - 1.0) / (4 * INVERSE_STEPS) as f64;
            kernel_transform(f).recip()
        })
        .collect()
}

/// A cubic through the four nearest entries.
fn inverse_at(table: &[f64], frequency: f64) -> f64 {
    let place = frequency * (4 * INVERSE_STEPS) as f64;
    let cell = place as usize;
    let t = place - cell as f64;
    let [a, b, c, d] = [0, 1, 2, 3].map(|k| table[cell + k]);
    b + 0.5 * t * (c - a + t * (2.0 * a - 5.0 * b + 4.0 * c - d + t * (3.0 * (b - c) + d - a)))
}

/// Kernel at the WIDTH cells about a place, row by distance of the place from the first of them.
fn kernel_table() -> Vec<[f64; WIDTH]> {
    let half = WIDTH as f64 / 2.0;
    // One row more than the steps: a distance can round up to a whole cell.
    (0..=TABLE_PER_CELL + 1)
        .map(|row| {
            std::array::from_fn(|cell| {
                let t = (cell as f64 + row as f64 / TABLE_PER_CELL as f64) / half - 1.0;
                bessel_i0(SHAPE * (1.0 - t * t).max(0.0).sqrt())
            })
        })
        .collect()
}

/// Transform of the kernel at `f` cycles per cell.
fn kernel_transform(f: f64) -> f64 {
    let root = SHAPE * SHAPE - (PI * WIDTH as f64 * f).powi(2);
    let width = WIDTH as f64;
    if root > 0.0 {
        width * root.sqrt().sinh() / root.sqrt()
    } else {
        width * (-root).sqrt().sin() / (-root).sqrt()
    }
}

/// Modified Bessel function of order zero by its power series; arguments here stay below 20.
fn bessel_i0(x: f64) -> f64 {
    let quarter = x * x / 4.0;
    let (mut term, mut sum, mut k) = (1.0, 1.0, 1.0);
    while term > 1e-17 * sum {
        term *= quarter / (k * k);
        sum += term;
        k += 1.0;
    }
    sum
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The same samples give the same bits in a new thread and in one that has transformed other sizes before.
    #[test]
    fn what_a_thread_did_before_changes_no_bit() {
        let x: Vec<f64> = (0..1000).map(|i| f64::from(i) * 1e-3).collect();
        let z: Vec<f64> = (0..1000)
            .map(|i| (f64::from(i) * 0.37).sin() + f64::from(i * i % 89))
            .collect();
        let bits = |bins: usize| -> Vec<u64> {
            transform(&x, &z, 0.5, bins)
                .iter()
                .flat_map(|v| [v.re.to_bits(), v.im.to_bits()])
                .collect()
        };
        let sizes: Vec<usize> = (5..14).flat_map(|k| [1 << k, 3 << k, 5 << k]).collect();
        let fresh = |bins: usize| std::thread::scope(|s| s.spawn(|| bits(bins)).join().unwrap());
        let expected: Vec<Vec<u64>> = sizes.iter().map(|&bins| fresh(bins)).collect();
        for order in [false, true] {
            let again = std::thread::scope(|s| {
                s.spawn(|| {
                    let mut order: Vec<usize> = match order {
                        false => (0..sizes.len()).collect(),
                        true => (0..sizes.len()).rev().collect(),
                    };
                    order.extend_from_within(..);
                    order
                        .iter()
                        .map(|&k| (k, bits(sizes[k])))
                        .collect::<Vec<_>>()
                })
                .join()
                .unwrap()
            });
            for (k, found) in again {
                assert!(found == expected[k], "{} bins", sizes[k]);
            }
        }
    }

    #[test]
    fn agrees_with_the_direct_sum() {
        let x: Vec<f64> = (0..300)
            .map(|i| (f64::from(i) / 300.0).powf(1.3) * 4.8)
            .collect();
        let z: Vec<f64> = (0..300)
            .map(|i| (f64::from(i * i % 97) / 97.0) - 0.5)
            .collect();
        let step = 0.1;
        let fast = transform(&x, &z, step, 400);
        let total: f64 = z.iter().map(|v| v.abs()).sum();
        for (k, found) in fast.iter().enumerate() {
            let direct: Complex64 = x
                .iter()
                .zip(&z)
                .map(|(x, z)| Complex64::from_polar(*z, -2.0 * PI * k as f64 * step * x))
                .sum();
            assert!(
                (found - direct).norm() < 1e-6 * total,
                "bin {k}: {found} against {direct}"
            );
        }
    }
}
