//! Captures without noise, straight from the model.

use rundown::bench::{
    Bench, Capture, ChannelChain, MotorFacts, Reading, Role, Stated, Trace, Waveform,
};
use rundown::capture::TimeAxis;
use rundown::motor::{Condition, Constants, State, TerminalParameters, advance};

/// Sizes of one unit of each quantity in a bench.
#[derive(Clone, Copy, Debug)]
pub struct Scale {
    pub volts: f64,
    pub amperes: f64,
    pub seconds: f64,
}

impl Scale {
    /// SI.
    #[allow(dead_code, reason = "not every test that shares this file uses it")]
    pub const SI: Scale = Scale {
        volts: 1.0,
        amperes: 1.0,
        seconds: 1.0,
    };
}

/// Time between two samples, s.
#[allow(dead_code, reason = "not every test that shares this file uses it")]
pub const STEP_S: f64 = 1e-5;

/// What holds for how long, and the voltage that is recorded; `None` records the back-EMF.
pub type Stretch = (f64, Condition<f64>, Option<f64>);

/// A capture without noise: the recorded values are the model's means over each sample's interval.
pub fn simulated(
    name: &str,
    role: Role,
    p: &TerminalParameters,
    from: State<f64>,
    plan: &[Stretch],
    scale: Scale,
) -> Capture {
    let step_s = STEP_S * scale.seconds;
    let c = Constants::<f64>::new(p);
    let held = role == Role::LockedRotor;
    let (mut voltage, mut current) = (Vec::new(), Vec::new());
    let mut state = from;
    for &(span_s, condition, volts) in plan {
        if matches!(condition, Condition::Open) {
            (state.current, state.eddy_current) = (0.0, 0.0);
        }
        for _ in 0..(span_s / step_s).round() as usize {
            let next = advance(&c, state, condition, step_s, held);
            voltage.push(volts.unwrap_or(next.mean_back_emf));
            current.push(next.mean_current);
            state = next.end;
        }
    }
    let len = voltage.len();
    let trace = |values: Vec<f64>, unit: f64| Trace {
        clipped: vec![false; values.len()],
        values,
        // Nothing else limits these values, and a row without any uncertainty would have an infinite weight.
        quantisation_step: Some(1e-5 * unit),
    };
    let chain = |column: &str, unit: f64| {
        Some(ChannelChain {
            instruments: Vec::new(),
            gains: Vec::new(),
            column: column.into(),
            zero_uncertainty: 1e-6 * unit,
        })
    };
    Capture {
        name: name.into(),
        path: format!("{name}.csv").into(),
        further_files: Vec::new(),
        sha256: String::new(),
        role,
        waveform: Waveform {
            time: TimeAxis::Uniform {
                start_s: -plan[0].0,
                step_s,
                len,
            },
            voltage_v: Some(trace(voltage, scale.volts)),
            current_a: Some(trace(current, scale.amperes)),
        },
        voltage_chain: chain("CH1", scale.volts),
        current_chain: chain("CH2", scale.amperes),
        series_in_voltage: None,
        series_diode_sd_v: None,
        loop_resistance_ohm: None,
        source_v: None,
        coasting: None,
        winding_temperature_c: None,
        added_inertia_kg_m2: None,
        load_torque_nm: None,
        driven_speed_rad_s: None,
        speed: None,
        ac_coupled: false,
        by_hand: Default::default(),
    }
}

/// The state four seconds after the supply was switched on.
#[allow(dead_code, reason = "not every test that shares this file uses it")]
pub fn running_freely(p: &TerminalParameters, supply_v: f64, scale: Scale) -> State<f64> {
    let c = Constants::<f64>::new(p);
    (0..4000).fold(State::rest(), |s, _| {
        advance(
            &c,
            s,
            Condition::Voltage(supply_v),
            1e-3 * scale.seconds,
            false,
        )
        .end
    })
}

/// Start, run-down, brake and held step of a motor that obeys the model to the last digit; K from an exact reading.
pub fn noise_free_bench(p: &TerminalParameters, constant: f64, scale: Scale) -> Bench {
    let supply = 24.0 * scale.volts;
    let s = |seconds: f64| seconds * scale.seconds;
    let held_v = 6.0 * scale.volts;
    let running = running_freely(p, supply, scale);
    let on = (Condition::Voltage(supply), Some(supply));
    let short = (Condition::Voltage(0.0), Some(0.0));
    let still = (Condition::Current(0.0), Some(0.0));
    let captures = vec![
        simulated(
            "start",
            Role::Start,
            p,
            State::rest(),
            &[(s(5e-3), still.0, still.1), (s(0.1), on.0, on.1)],
            scale,
        ),
        simulated(
            "rundown",
            Role::RunDown,
            p,
            running,
            &[(s(0.02), on.0, on.1), (s(0.6), Condition::Open, None)],
            scale,
        ),
        simulated(
            "brake",
            Role::Brake,
            p,
            running,
            &[
                (s(5e-3), on.0, on.1),
                (s(2e-3), Condition::Open, None),
                (s(0.06), short.0, short.1),
            ],
            scale,
        ),
        simulated(
            "held",
            Role::LockedRotor,
            p,
            State::rest(),
            &[
                (s(2e-3), still.0, still.1),
                (s(0.01), Condition::Voltage(held_v), Some(held_v)),
            ],
            scale,
        ),
    ];
    Bench {
        path: None,
        sha256: None,
        motor: MotorFacts {
            name: "noise-free".into(),
            supply_v: Some(supply),
            ..MotorFacts::default()
        },
        instruments: Vec::new(),
        certificates: Vec::new(),
        captures,
        heat: Vec::new(),
        tables: Vec::new(),
        readings: vec![Reading::SpunBackEmf {
            voltage_v: Stated {
                value: 100.0 * constant,
                standard_uncertainty: 1e-5 * constant,
            },
            speed_rad_s: Stated {
                value: 100.0,
                standard_uncertainty: 1e-5,
            },
            meter: None,
        }],
        warnings: Vec::new(),
        notes: Vec::new(),
        capture_warnings: Vec::new(),
    }
}
