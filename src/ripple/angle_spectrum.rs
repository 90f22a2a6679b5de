//! Fourier transform of samples that stand at uneven places.
//!
//! `Y(k) = Σ z_i exp(-2πj k Δf x_i)`, `k = 0 .. bins`: the samples are laid onto a uniform grid in x by convolution with a
//! Kaiser-Bessel kernel, one FFT is taken, and the kernel's own transform is divided out (J. I. Jackson et al., IEEE Trans. Med.
//! Imaging 10 (1991) 473-478). Against interpolation to a uniform record this keeps every sample with its own noise and has no
//! bias: a ripple above the Nyquist frequency of the first, fast part of a run-down still lands at its true place, because the
//! samples' true places in x are used. Accuracy better than 1e-6 of Σ|z|.

use rustfft::{FftPlanner, num_complex::Complex64};
use std::{cell::RefCell, f64::consts::PI, sync::OnceLock};

/// Kernel width in grid cells and its shape for a grid twice as fine as needed.
const WIDTH: usize = 8;
const SHAPE: f64 = 2.30 * WIDTH as f64;
const TABLE_PER_CELL: usize = 2048;

static TABLE: OnceLock<Vec<f64>> = OnceLock::new();

thread_local! {
    // Twiddle factors of a size are worked out once a thread, not once a spectrum.
    static PLANNER: RefCell<FftPlanner<f64>> = RefCell::new(FftPlanner::new());
}

/// Transform of the values at the places `x` (unit u), at `k·frequency_step` (cycles per u), `k = 0 .. bins`.
/// `values` is as long as `x`; places may lie anywhere as the transform is periodic in `1/frequency_step`.
pub fn transform(x: &[f64], values: &[f64], frequency_step: f64, bins: usize) -> Vec<Complex64> {
    let grid = (4 * bins.max(WIDTH)).next_power_of_two();
    let table = TABLE.get_or_init(kernel_table);
    let mut cells = vec![Complex64::default(); grid];
    let scale = frequency_step * grid as f64;
    let half = (WIDTH / 2) as f64;
    for (&place, &value) in x.iter().zip(values) {
        let u = place * scale;
        let first = (u - half).ceil();
        let mut cell = (first as i64).rem_euclid(grid as i64) as usize;
        let mut at = (u - first).abs();
        for step in 0..WIDTH {
            cells[cell].re += value * table_at(table, at);
            cell += 1;
            if cell == grid {
                cell = 0;
            }
            at = (u - first - (step + 1) as f64).abs();
        }
    }
    PLANNER
        .with_borrow_mut(|planner| planner.plan_fft_forward(grid))
        .process(&mut cells);
    cells.truncate(bins);
    for (k, value) in cells.iter_mut().enumerate() {
        *value /= kernel_transform(k as f64 / grid as f64);
    }
    cells
}

fn kernel_table() -> Vec<f64> {
    let half = WIDTH as f64 / 2.0;
    (0..=WIDTH / 2 * TABLE_PER_CELL + 1)
        .map(|k| {
            let t = k as f64 / TABLE_PER_CELL as f64 / half;
            bessel_i0(SHAPE * (1.0 - t * t).max(0.0).sqrt())
        })
        .collect()
}

fn table_at(table: &[f64], distance: f64) -> f64 {
    let place = distance * TABLE_PER_CELL as f64;
    let cell = place as usize;
    if cell + 1 >= table.len() {
        return 0.0;
    }
    let part = place - cell as f64;
    table[cell] + part * (table[cell + 1] - table[cell])
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
