//! Where the energy of a step went, per second of back-EMF one-port: all in terms that the terminals see.

use rundown::motor::{Condition, Constants, State, TerminalParameters, advance};

/// Energy stored in the magnetic field and in the turning rotor, J.
///
/// `∫ L(i) i di` for the saturating inductance `L₀/(1 + (i/I_s)²)` and `C_m e²/2` for the rotor (`J ω²/2`).
pub fn stored_j(p: &TerminalParameters, s: &State<f64>) -> f64 {
    let field = |henry: f64, current: f64| {
        let bend = (p.saturation_per_a * current).powi(2);
        if bend < 1e-6 {
            0.5 * henry * current * current * (1.0 - 0.5 * bend)
        } else {
            0.5 * henry / (p.saturation_per_a * p.saturation_per_a) * bend.ln_1p()
        }
    };
    let screened_h = p.armature_inductance_h * p.eddy_share;
    let magnetic = field(p.armature_inductance_h - screened_h, s.current);
    let screened = field(screened_h, s.eddy_current);
    magnetic + screened + 0.5 * p.inertia_capacitance_f * s.back_emf * s.back_emf
}

/// Power turned into heat at a state: copper, brushes, eddy branch and friction, W.
pub fn loss_w(p: &TerminalParameters, s: &State<f64>) -> f64 {
    let e = s.back_emf;
    let copper = p.terminal_resistance_ohm * s.current * s.current;
    let brushes = p.brush_drop_v * (s.current / p.brush_scale_a).tanh() * s.current;
    let eddy = p.eddy_resistance_ohm * (s.current - s.eddy_current).powi(2);
    let friction = p.friction_current_a * e.abs()
        + p.viscous_conductance_s * e * e
        + p.windage_a_per_v2 * e * e * e.abs();
    copper + brushes + eddy + friction
}

/// Input = heat + stored, to 1e-6 of the input, over a start, an open run-down and a short-circuit brake.
#[test]
fn energy_balances_over_start_run_down_and_brake() {
    let p = TerminalParameters {
        windage_a_per_v2: 2e-5,
        brush_drop_v: 0.7,
        brush_scale_a: 0.07,
        saturation_per_a: 1.0 / 20.0,
        armature_reaction_per_a: 0.002,
        eddy_share: 0.2,
        eddy_resistance_ohm: 8.0,
        ..TerminalParameters::plain(3.2, 2.3e-3, 3.7e-3, 0.13, 3e-3)
    };
    let c = Constants::<f64>::new(&p);
    let mut s = State::rest();
    let (mut input, mut heat) = (0.0, 0.0);
    let step = 2e-7;
    for k in 0..600_000 {
        let t = k as f64 * step;
        let (condition, voltage) = match t {
            t if t < 0.06 => (Condition::Voltage(24.0), 24.0),
            // The current is left to a diode-like source until it has died down, then the terminals open.
            t if t < 0.07 => (Condition::Voltage(s.back_emf + 0.0), s.back_emf),
            t if t < 0.09 => (Condition::Open, 0.0),
            _ => (Condition::Voltage(0.0), 0.0),
        };
        if matches!(condition, Condition::Open) && s.current != 0.0 {
            // What the field still holds is burnt in the switch.
            let before = stored_j(&p, &s);
            s.current = 0.0;
            s.eddy_current = 0.0;
            heat += before - stored_j(&p, &s);
        }
        let next = advance(&c, s, condition, step, false);
        input += voltage * next.mean_current * step;
        heat += 0.5 * (loss_w(&p, &s) + loss_w(&p, &next.end)) * step;
        s = next.end;
    }
    let balance = input - heat - stored_j(&p, &s);
    assert!(input > 1.0, "{input}");
    assert!(
        (balance / input).abs() < 1e-6,
        "balance {balance} J of {input} J"
    );
}
