//! Checks whose numbers come from outside this project.

use rundown::ripple::transform;

/// numpy 2.4.6, `numpy.fft.fft` of sin(0.37 k) + 0.5 cos(1.1 k + 0.2) + 0.01 k, k = 0 .. 63.
#[test]
fn val_transform_of_even_samples_is_the_discrete_fourier_transform() {
    let golden = [
        (0, 23.56246527208488, 0.0),
        (3, 7.233983015389487, 8.142144250990139),
        (4, -18.10404640998656, -20.701513888269016),
        (11, 10.037833975258957, 10.661228046507102),
        (20, 0.06629328988297978, -0.3820245642534088),
    ];
    let place: Vec<f64> = (0..64).map(f64::from).collect();
    let data: Vec<f64> = place
        .iter()
        .map(|k| (0.37 * k).sin() + 0.5 * (1.1 * k + 0.2).cos() + 0.01 * k)
        .collect();
    let found = transform(&place, &data, 1.0 / 64.0, 32);
    for (bin, re, im) in golden {
        assert!(
            (found[bin].re - re).abs() < 2e-5 && (found[bin].im - im).abs() < 2e-5,
            "bin {bin}: {}",
            found[bin]
        );
    }
}

/// Places and data of an unevenly sampled record: x = 4.8 (i/500)^1.3, i = 0 .. 499.
fn uneven() -> (Vec<f64>, Vec<f64>) {
    (0..500)
        .map(|i| {
            let x = 4.8 * (f64::from(i) / 500.0).powf(1.3);
            (
                x,
                (std::f64::consts::TAU * 7.3 * x + 0.4).cos()
                    + 0.3 * (std::f64::consts::TAU * 21.9 * x).sin(),
            )
        })
        .unzip()
}

/// numpy 2.4.6: the sum over uneven samples, written out.
#[test]
fn val_transform_of_uneven_samples_is_the_direct_sum() {
    let golden = [
        (2, 0.648017373475819, 0.2038783615044426),
        (29, 112.81525437238706, 193.33737169123367),
        (30, 20.873269272601895, -19.380581677614693),
        (56, 4.734355235183216, -3.364906029848444),
        (88, -43.687055386771135, -17.45522045469869),
    ];
    let (x, s) = uneven();
    let found = transform(&x, &s, 0.25, 100);
    for (bin, re, im) in golden {
        assert!(
            (found[bin].re - re).abs() < 3e-4 && (found[bin].im - im).abs() < 3e-4,
            "bin {bin}: {}",
            found[bin]
        );
    }
}

/// scipy 1.17.1 `CubicSpline` onto 4096 even places, then numpy 2.4.6 `fft` times the spacing: the classical way of resampling in angle.
/// Ours weights the samples with their spacing, so it agrees to the order of the sum's own rule, about 1.5 % of a line here.
#[test]
fn val_lines_agree_with_spline_resampling_and_a_plain_transform() {
    let golden = [
        (35, 2.3145612238381896, 0.5665034480929897),
        (105, -0.3142992233842443, -0.6062811257521352),
    ];
    let (x, s) = uneven();
    let span = x[x.len() - 1];
    let spaced: Vec<f64> = (0..s.len())
        .map(|i| {
            let width = match i {
                0 => x[1] - x[0],
                i if i + 1 == s.len() => x[i] - x[i - 1],
                i => (x[i + 1] - x[i - 1]) / 2.0,
            };
            s[i] * width
        })
        .collect();
    let found = transform(&x, &spaced, 1.0 / span, 120);
    for (bin, re, im) in golden {
        let off = ((found[bin].re - re).powi(2) + (found[bin].im - im).powi(2)).sqrt();
        assert!(
            off < 0.015 * re.hypot(im).max(0.7),
            "bin {bin}: {}",
            found[bin]
        );
    }
}
