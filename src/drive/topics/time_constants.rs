//! Electrical and mechanical time constants, alone and with the loop of the order (`docs/drive.md`, section 2).

use crate::drive::Note;
use crate::drive::sample::Sample;
use crate::drive::section::{Known, Section, Why};
use crate::drive::setting::Setting;

/// Time constants of the two modes of `L di/dt = −R i − e`, `C_m de/dt = i − G e`: s² + (R/L + G/C)s + (1 + R G)/(L C) = 0.
/// `None` where they form one oscillation. Slower first, s.
pub fn modes(r_ohm: f64, l_h: f64, c_f: f64, g_s: f64) -> Option<(f64, f64)> {
    let half = 0.5 * (r_ohm / l_h + g_s / c_f);
    let product = (1.0 + r_ohm * g_s) / (l_h * c_f);
    let square = half * half - product;
    if square < 0.0 {
        return None;
    }
    let fast = half + square.sqrt();
    Some((fast / product, 1.0 / fast))
}

/// Fills the topic.
pub fn fill(setting: &Setting, m: &Sample, out: &mut Section) {
    let order = &setting.order;
    let series = order.source_resistance_ohm + order.lead_resistance_ohm;
    let electrical = |series: f64| -> Known { Ok(m.inductance_h? / (m.resistance_ohm? + series)) };
    let mechanical = |series: f64| -> Known { Ok(m.capacitance_f? * (m.resistance_ohm? + series)) };
    let pair = || -> Known<(f64, f64)> {
        modes(
            m.resistance_ohm? + series,
            m.inductance_h?,
            m.capacitance_f?,
            m.conductance_s?,
        )
        .ok_or(Why::Moot(
            "the two modes form one damped oscillation: current and speed swing after a step",
        ))
    };
    out.row("electrical_time_constant", electrical(0.0));
    out.row("electrical_time_constant_loop", electrical(series));
    out.row("mechanical_time_constant", mechanical(0.0));
    out.row("mechanical_time_constant_loop", mechanical(series));
    out.row("slow_mode", pair().map(|pair| pair.0));
    out.row("fast_mode", pair().map(|pair| pair.1));
    out.row(
        "separation",
        mechanical(series).and_then(|m| Ok(m / electrical(series)?)),
    );
    if let (Ok(slow), Ok(fast)) = (mechanical(series), electrical(series))
        // A factor of ten: common practice, no source.
        && slow < 10.0 * fast
    {
        out.remark(|| Note::TimeConstantsNear);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::motor::{Condition, Constants, State, TerminalParameters, advance};
    use approx::assert_relative_eq;

    /// Control Tutorials (Michigan, Carnegie Mellon, Detroit Mercy). Speed example: poles −9.997499218 and
    /// −2.002500782; position example: −1454487.315 and −59.22603849 (recomputed from the published parameters).
    #[test]
    fn val_poles_of_the_course_motors() {
        let poles = |r, l, k: f64, j: f64, b: f64| {
            let (slow, fast) = modes(r, l, j / (k * k), b / (k * k)).expect("real");
            (1.0 / fast, 1.0 / slow)
        };
        let (fast, slow) = poles(1.0, 0.5, 0.01, 0.01, 0.1);
        assert_relative_eq!(fast, 9.997_499_218, max_relative = 1e-9);
        assert_relative_eq!(slow, 2.002_500_782, max_relative = 1e-9);
        let (fast, slow) = poles(4.0, 2.75e-6, 0.0274, 3.2284e-6, 3.5077e-6);
        assert_relative_eq!(fast, 1_454_487.315, max_relative = 1e-8);
        assert_relative_eq!(slow, 59.226_038_49, max_relative = 1e-8);
    }

    /// The slow mode is what the simulation's tail decays with.
    #[test]
    fn the_slow_mode_is_that_of_the_simulation() {
        let (r, l, c, g) = (3.2, 2.4e-3, 3.6e-3, 3e-3);
        let constants = Constants::<f64>::new(&TerminalParameters::plain(r, l, c, 0.0, g));
        let (slow, _) = modes(r, l, c, g).expect("real");
        let mut s = State::at(0.0, 20.0);
        s = advance(&constants, s, Condition::Voltage(0.0), 0.03, false).end;
        let first = s.back_emf;
        s = advance(&constants, s, Condition::Voltage(0.0), slow, false).end;
        assert_relative_eq!(first / s.back_emf, 1f64.exp(), max_relative = 1e-5);
        assert_eq!(modes(0.1, 1.0, 1.0, 0.0), None);
    }
}
