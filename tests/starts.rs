//! Nobody gives start values: motors of any size, in whatever units they come out, are found, and records that no motor of the model
//! follows are named.

#[path = "common/load.rs"]
mod load;
#[path = "common/noise_free.rs"]
mod noise_free;

use load::load;
use noise_free::{Scale, noise_free_bench};
use rundown::bench::Bench;
use rundown::events;
use rundown::fit::{Estimate, FitError, FitOptions, estimate};
use rundown::motor::{MechanicalParameters, TerminalParameters};
use std::fmt::Write;
use testbench::{draw, presets};

fn fitted(bench: &Bench) -> Result<Estimate, FitError> {
    let timelines: Vec<_> = bench
        .captures
        .iter()
        .map(|c| events::find(&c.waveform, c.role))
        .collect();
    estimate(bench, &timelines, &FitOptions::default())
}

/// A motor of 24 V and some 8 A.
fn motor() -> TerminalParameters {
    let mechanical = MechanicalParameters {
        back_emf_constant_v_s_per_rad: 0.0418,
        rotor_inertia_kg_m2: 6.4e-6,
        coulomb_friction_nm: 5.6e-3,
        viscous_friction_nm_s_per_rad: 6.2e-6,
        windage_nm_s2_per_rad2: 0.0,
    };
    mechanical.to_terminal(3.18, 2.35e-3, 0.0, 0.1)
}

/// The same motor where volts, amperes and seconds are other units.
fn scaled(p: &TerminalParameters, to: Scale) -> TerminalParameters {
    let ohm = to.volts / to.amperes;
    TerminalParameters {
        brush_scale_a: p.brush_scale_a * to.amperes,
        ..TerminalParameters::plain(
            p.terminal_resistance_ohm * ohm,
            p.armature_inductance_h * ohm * to.seconds,
            p.inertia_capacitance_f * to.seconds / ohm,
            p.friction_current_a * to.amperes,
            p.viscous_conductance_s / ohm,
        )
    }
}

#[test]
fn a_motor_in_other_units_is_the_same_motor() {
    let mut failures = String::new();
    for (volts, amperes, seconds) in [
        (1.0, 1.0, 1.0),
        (1.0001, 0.9999, 1.0),
        (0.06, 0.02, 0.3),
        (1.0, 1e-3, 0.1),
        (0.05, 1.0, 1.0),
        (10.0, 30.0, 10.0),
        (20.0, 0.5, 3.0),
    ] {
        let to = Scale {
            volts,
            amperes,
            seconds,
        };
        let truth = scaled(&motor(), to);
        let constant = 0.0418 * volts * seconds;
        let found = match fitted(&noise_free_bench(&truth, constant, to)) {
            Ok(found) => found.reported(),
            Err(why) => {
                let _ = writeln!(failures, "{to:?}: {why}");
                continue;
            }
        };
        for (name, truth) in [
            ("terminal_resistance", truth.terminal_resistance_ohm),
            ("armature_inductance", truth.armature_inductance_h),
            ("inertia_capacitance", truth.inertia_capacitance_f),
            ("friction_current", truth.friction_current_a),
        ] {
            let one = found.iter().find(|r| r.name == name);
            let value = one.and_then(|r| r.estimate).map_or(f64::NAN, |e| e.value);
            let off = value / truth - 1.0;
            if off.is_nan() || off.abs() > 1e-3 {
                let _ = writeln!(failures, "{to:?}: {name} {off:+.1e}");
            }
        }
    }
    assert!(failures.is_empty(), "\n{failures}");
}

/// A voltage spike that clips cuts a start just after it has begun: the piece before it is far too short to show a motor, and no
/// closed form may be read from it.
#[test]
fn a_start_cut_into_pieces_by_a_clipped_spike_is_fitted_like_a_whole_one() {
    let drawn = draw(&presets::label_peeler(), 3).expect("the preset describes a real bench");
    let whole = load(&drawn).expect("the sheet can be read");
    let mut cut = whole.clone();
    let start = &mut cut.captures[0].waveform;
    let on = drawn.truth.captures[0].contacts_s.last().copied();
    let on = on.unwrap_or(drawn.truth.captures[0].event_s);
    let rows: Vec<usize> = (0..start.time.len())
        .filter(|&k| start.time.at(k).is_some_and(|t| t > on))
        .skip(8)
        .take(5)
        .collect();
    for trace in [&mut start.voltage_v, &mut start.current_a]
        .into_iter()
        .flatten()
    {
        trace.clipped.resize(trace.values.len(), false);
        for &row in &rows {
            trace.clipped[row] = true;
        }
    }
    let (whole, cut) = (fitted(&whole), fitted(&cut));
    let whole = whole.expect("a sound bench").reported();
    let cut = cut
        .expect("the rest of the start shows the motor")
        .reported();
    for (whole, cut) in whole.iter().zip(&cut) {
        let (Some(a), Some(b)) = (whole.estimate, cut.estimate) else {
            continue;
        };
        let apart = (a.value - b.value).abs();
        let allowed = a.standard_uncertainty.max(b.standard_uncertainty);
        assert!(
            apart <= allowed,
            "{}: {} and {}",
            whole.name,
            a.value,
            b.value
        );
    }
}
