//! What the fitted motor foresees of a capture's back-EMF: the recorded voltage less the drop over resistance and brushes.
//!
//! `e = (v − v₀)/g_v − R (i − i₀)/g_i − V_b sgn i`, v and i as recorded (V, A), v₀ and i₀ the fitted zeros, g the fitted gains, R the
//! resistance of winding and spanned shunt (Ω), V_b the brush drop (V). The inductance is left out: where ripple is read the
//! current changes slowly against it.

use crate::bench::{Bench, ChannelChain};
use crate::events::CurrentStretch;
use crate::fit::problem::Problem;
use crate::fit::unknowns::ParameterKind;
use crate::ripple::Foreseen;
use nalgebra::DVector;

/// Relative standard uncertainty of the foreseen speed beside that of K: gains of the channels and resistance (common
/// practice, no source). It only says how far the line is looked for.
const FORESEEN: f64 = 0.02;

/// Back-EMF in a stretch of capture `k` at the fitted vector `x`, with the relative standard uncertainty of K. `None` without a
/// voltage, a resistance or a constant.
pub fn voltage_balance(
    bench: &Bench,
    problem: &Problem,
    x: &DVector<f64>,
    k: usize,
    stretch: &CurrentStretch,
    constant_relative_uncertainty: f64,
) -> Option<Foreseen> {
    let at = |kind: ParameterKind| problem.layout.find(&kind).map(|entry| x[entry]);
    let constant = at(ParameterKind::LogBackEmfConstant)?.exp();
    let capture = bench.captures.get(k)?;
    let r = at(ParameterKind::LogResistance)?.exp()
        + capture.series_in_voltage.map_or(0.0, |(ohm, _)| ohm);
    let drop = at(ParameterKind::BrushDrop).unwrap_or(0.0);
    let voltage = stretch.voltage_v.as_ref()?;
    let channels = [
        (
            &capture.voltage_chain,
            ParameterKind::VoltageZero { capture: k },
        ),
        (
            &capture.current_chain,
            ParameterKind::CurrentZero { capture: k },
        ),
    ];
    let [(gain_v, zero_v), (gain_i, zero_i)] = channels.map(|(chain, kind)| {
        let gain = chain.as_ref().map_or(1.0, |c| gain(bench, c, problem, x));
        (gain, zero(k, &kind, problem, x))
    });
    Some(Foreseen {
        back_emf_v: voltage
            .iter()
            .zip(&stretch.current_a)
            .map(|(v, i)| {
                let (v, i) = ((v - zero_v) / gain_v, (i - zero_i) / gain_i);
                v - r * i - drop * i.signum()
            })
            .collect(),
        back_emf_constant_v_s_per_rad: constant,
        relative_uncertainty: constant_relative_uncertainty.hypot(FORESEEN),
    })
}

/// Fitted gain of a channel.
fn gain(bench: &Bench, chain: &ChannelChain, problem: &Problem, x: &DVector<f64>) -> f64 {
    let fitted = |&k: &usize| {
        let per_channel = bench.instruments.get(k)?.gain_per_channel;
        let kind = ParameterKind::Gain {
            instrument: k,
            column: per_channel.then(|| chain.column.clone()),
        };
        Some(x[problem.layout.find(&kind)?])
    };
    chain.gains.iter().filter_map(fitted).sum::<f64>().exp()
}

/// Fitted zero of a channel: its own part in this capture and whatever the model adds to that.
fn zero(k: usize, kind: &ParameterKind, problem: &Problem, x: &DVector<f64>) -> f64 {
    let own = problem.layout.find(kind);
    let Some(model) = problem.models.get(k) else {
        return 0.0;
    };
    model
        .links
        .each()
        .find(|link| link.iter().any(|(entry, _)| Some(*entry) == own))
        .into_iter()
        .flatten()
        .map(|(entry, factor)| factor * x[*entry])
        .sum()
}
