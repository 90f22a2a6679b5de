//! Speed at an instant from the ripple of a current: an anchor of the joint fit, and the trajectory of speed for the report.
//!
//! `ω = 2π f/N`, f the ripple frequency in Hz, N the cycles a revolution. What is foreseen of the back-EMF, `e = v - R i - V_b`
//! (V), gives the trajectory of the speed up to its scale, and with the back-EMF constant K (V·s/rad) the frequency
//! `f = N e/(2π K)` near which the line is looked for; so neither an alias nor a line of unevenness is taken for it.
//!
//! The uncertainty is that of the frequency: noise of the current and what its smooth part leaves open. The sampling clock's
//! relative error comes on top, the same for every anchor of one instrument.

use super::analyse::analyse_current;
use super::current_ripple::CurrentRipple;
use super::speed_shape::SpeedShape;
use super::steady_end::Start;
use super::trajectory::SMOOTH_ORDER;
use crate::events::{CurrentStretch, Motion};
use crate::ripple::error::Unreadable;
use crate::ripple::numerics::smooth::Smooth;
use crate::ripple::options::RippleOptions;
use std::f64::consts::PI;

/// Relative standard uncertainty of a foreseen end of the trajectory whose shape is not believed (common practice, no source).
const BENT: f64 = 0.03;

/// What is known of the speed before the ripple is read.
#[derive(Clone, Debug, PartialEq)]
pub struct Foreseen {
    /// v - R i - V_b at each row of the stretch, V; its sign does not matter.
    pub back_emf_v: Vec<f64>,
    /// K in V·s/rad.
    pub back_emf_constant_v_s_per_rad: f64,
    /// Relative standard uncertainty of the speed that follows from both: gains, R, K together.
    pub relative_uncertainty: f64,
}

/// Speed at one instant with its standard uncertainty.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SpeedAnchor {
    /// On the capture's time axis, s.
    pub time_s: f64,
    /// ω, rad/s.
    pub speed_rad_per_s: f64,
    /// Its standard uncertainty, rad/s, without the error of the sampling clock.
    pub standard_uncertainty_rad_per_s: f64,
    /// Ripple cycles per revolution with which the frequency was turned into a speed.
    pub cycles_per_revolution: u32,
}

/// Reads the ripple of a stretch's current.
///
/// Without `foreseen` the trajectory of the speed is found from the ripple alone, and at steady speed an alias cannot be told
/// from the true frequency: the remarks then say so.
///
/// # Errors
/// [`Unreadable`], with the numbers. A stretch without a line is no error: [`CurrentRipple::frequency_hz`] is then `None`.
pub fn speed_in_current(
    stretch: &CurrentStretch,
    foreseen: Option<&Foreseen>,
    cycles_per_revolution: Option<u32>,
    options: &RippleOptions,
) -> Result<CurrentRipple, Unreadable> {
    let options = RippleOptions {
        clipped: Some(stretch.clipped.clone()),
        quantisation_step: stretch.quantisation_step_a,
        ..options.clone()
    };
    let trajectory = foreseen
        .map(|f| smoothed(&stretch.time_s, &f.back_emf_v))
        .transpose()?;
    let expected_hz = foreseen
        .zip(trajectory.as_ref())
        .zip(cycles_per_revolution)
        .map(|((f, trajectory), cycles)| {
            let emf = match stretch.motion {
                Motion::Steady => trajectory.iter().sum::<f64>() / trajectory.len().max(1) as f64,
                Motion::Rising | Motion::Falling => trajectory.iter().copied().fold(0.0, f64::max),
            };
            let hz = f64::from(cycles) * emf / (2.0 * PI * f.back_emf_constant_v_s_per_rad.abs());
            (hz, hz * f.relative_uncertainty)
        });
    let expected_hz = expected_hz.filter(|(hz, _)| *hz > 0.0);
    let analyse = |shape, expected_hz| {
        analyse_current(
            &stretch.time_s,
            &stretch.current_a,
            shape,
            expected_hz,
            cycles_per_revolution,
            &options,
        )
    };
    let found_by_itself = match stretch.motion {
        Motion::Steady => return analyse(SpeedShape::Constant, expected_hz),
        Motion::Rising => SpeedShape::RiseFromRest {
            start_s: stretch
                .start_s
                .or(stretch.time_s.first().copied())
                .unwrap_or(0.0),
            like: trajectory.as_deref(),
        },
        Motion::Falling => SpeedShape::DecayToRest {
            like: trajectory.as_deref(),
        },
    };
    if let Some(trajectory) = &trajectory {
        let found = analyse(SpeedShape::Given(trajectory), expected_hz)?;
        if found.frequency_hz.is_some() {
            return Ok(found);
        }
    }
    // A foreseen trajectory that is bent smears the line; the final (first) speed it foresees still says where to look.
    let near = expected_hz.map(|(hz, sd)| (hz, sd.max(BENT * hz)));
    let found = analyse(found_by_itself, near)?;
    if stretch.motion != Motion::Rising || (found.frequency_hz.is_some() && foreseen.is_some()) {
        return Ok(found);
    }
    let start = Start {
        time_s: &stretch.time_s,
        current_a: &stretch.current_a,
        start_s: stretch.start_s.unwrap_or(stretch.time_s[0]),
        cycles_per_revolution,
        options: &options,
    };
    // A rise whose beginning is not known has no course to be supposed.
    let is_known = found.frequency_hz.is_some() && stretch.start_s.is_some();
    if is_known && start.ends_at(&found) {
        return Ok(found);
    }
    let nothing = || CurrentRipple::without_line(found.foreign_lines, found.remarks);
    Ok(start.steady_end(near).unwrap_or_else(nothing))
}

impl CurrentRipple {
    /// The instant at which the speed is relatively best known.
    pub fn sharpest(&self, cycles_per_revolution: u32) -> Option<SpeedAnchor> {
        self.frequency_hz?;
        self.anchors(cycles_per_revolution)
            .min_by(|a, b| a.relative().total_cmp(&b.relative()))
    }

    fn anchors(&self, cycles_per_revolution: u32) -> impl Iterator<Item = SpeedAnchor> + '_ {
        self.speed.iter().filter_map(move |p| {
            Some(SpeedAnchor {
                time_s: p.time_s,
                speed_rad_per_s: p.speed_rad_per_s.filter(|s| *s > 0.0)?,
                standard_uncertainty_rad_per_s: p.standard_uncertainty_rad_per_s?,
                cycles_per_revolution,
            })
        })
    }
}

impl SpeedAnchor {
    fn relative(&self) -> f64 {
        self.standard_uncertainty_rad_per_s / self.speed_rad_per_s
    }
}

/// The smooth part of a back-EMF, upright: what is left of ripple in it would modulate the trajectory with itself.
fn smoothed(time_s: &[f64], back_emf_v: &[f64]) -> Result<Vec<f64>, Unreadable> {
    if back_emf_v.len() != time_s.len() {
        return Err(Unreadable::Lengths {
            times: time_s.len(),
            values: back_emf_v.len(),
        });
    }
    let (times, values): (Vec<f64>, Vec<f64>) = time_s
        .iter()
        .zip(back_emf_v)
        .filter(|(_, v)| v.is_finite())
        .map(|(t, v)| (*t, *v))
        .unzip();
    let smooth = Smooth::fit(&times, &values, SMOOTH_ORDER).ok_or(Unreadable::Singular {
        terms: SMOOTH_ORDER + 1,
    })?;
    let out = smooth.values(time_s);
    let sum: f64 = out.iter().sum();
    // A trajectory never turns the rotor back.
    Ok(out
        .iter()
        .map(|v| if sum < 0.0 { -v } else { *v })
        .map(|v| v.max(0.0))
        .collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::{SeedableRng, rngs::StdRng};
    use rand_distr::{Distribution, Normal};

    const CYCLES: u32 = 14;
    const K: f64 = 0.02;
    const R: f64 = 2.0;

    /// A start on 12 V: exponential rise to 500 rad/s with a ripple of 20 mA.
    fn start(ripple_a: f64) -> CurrentStretch {
        let mut random = StdRng::seed_from_u64(11);
        let noise = Normal::new(0.0, 0.01).expect("finite");
        let (tau, top) = (0.02, 500.0);
        let rows: Vec<(f64, f64)> = (0..6000)
            .map(|k| {
                let t = 0.003 + f64::from(k) * 2e-5;
                let fall = (-t / tau).exp();
                let angle = top * (t - tau * (1.0 - fall));
                let smooth = (12.0 - K * top * (1.0 - fall)) / R;
                let ripple = ripple_a * (f64::from(CYCLES) * angle).cos();
                (t, smooth + ripple + noise.sample(&mut random))
            })
            .collect();
        CurrentStretch {
            motion: Motion::Rising,
            time_s: rows.iter().map(|r| r.0).collect(),
            voltage_v: Some(vec![12.0; rows.len()]),
            clipped: vec![false; rows.len()],
            quantisation_step_a: None,
            start_s: Some(0.0),
            current_a: rows.into_iter().map(|r| r.1).collect(),
        }
    }

    /// What a person would foresee with a resistance `wrong` times the true one.
    fn foreseen(stretch: &CurrentStretch, wrong: f64) -> Foreseen {
        Foreseen {
            back_emf_v: stretch
                .current_a
                .iter()
                .map(|i| 12.0 - wrong * R * i)
                .collect(),
            back_emf_constant_v_s_per_rad: K,
            relative_uncertainty: 0.03,
        }
    }

    fn anchor(stretch: &CurrentStretch, wrong: f64) -> Result<Option<SpeedAnchor>, Unreadable> {
        let foreseen = foreseen(stretch, wrong);
        let found = speed_in_current(
            stretch,
            Some(&foreseen),
            Some(CYCLES),
            &RippleOptions::default(),
        )?;
        Ok(found.sharpest(CYCLES))
    }

    #[test]
    fn the_anchor_of_a_start_holds_the_true_speed_though_the_resistance_is_off() {
        let stretch = start(0.02);
        let anchor = anchor(&stretch, 1.02).expect("readable").expect("a line");
        let truth = 500.0 * (1.0 - (-anchor.time_s / 0.02).exp());
        let sd = anchor.standard_uncertainty_rad_per_s;
        assert!(
            (anchor.speed_rad_per_s - truth).abs() < 4.0 * sd && sd < 2e-3 * truth,
            "{} ± {sd} against {truth}",
            anchor.speed_rad_per_s
        );
    }

    #[test]
    fn without_ripple_there_is_no_anchor() {
        let stretch = start(0.0);
        let anchor = anchor(&stretch, 1.0);
        assert_eq!(anchor, Ok(None));
    }
}
