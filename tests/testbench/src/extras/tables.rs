//! Tables of readings with two multimeters, a tachometer and a torque arm, whose errors the tables share.

use crate::bench::DrawnBench;
use crate::chance::Dice;
use crate::truth::Truth;
use std::f64::consts::TAU;
use std::fmt::Write as _;

/// Two standard deviations: gains of voltmeter, ammeter, tachometer, torque arm and inductance meter, relative.
const LIMITS: [f64; 5] = [5e-3, 1e-2, 5e-4, 2e-2, 3e-3];

/// Rows of each table.
const ROWS: usize = 6;

/// Most by which the winding warms along the load line, K.
const WARMED_K: f64 = 15.0;

/// One state of the motor: voltage, current, speed and load torque.
type State = [f64; 4];

/// Errors of the meters.
struct Meters {
    gains: [f64; 5],
    zero_a: f64,
    zero_limit_a: f64,
}

impl Meters {
    fn draw(largest_a: f64, dice: &mut Dice) -> Self {
        let zero_limit_a = 2e-3 * largest_a;
        Meters {
            gains: LIMITS.map(|limit| 1.0 + 0.5 * limit * dice.normal().clamp(-2.0, 2.0)),
            zero_a: 0.5 * zero_limit_a * dice.normal().clamp(-2.0, 2.0),
            zero_limit_a,
        }
    }

    /// What meter `k` shows, with digits of its own.
    fn read(&self, k: usize, value: f64, dice: &mut Dice) -> f64 {
        let zero = if k == 1 { self.zero_a } else { 0.0 };
        let digits = 0.1 * LIMITS[k] * value.abs() * dice.normal();
        format!("{:.4e}", value * self.gains[k] + zero + digits)
            .parse()
            .unwrap_or(value)
    }
}

/// The tables as the sheet holds them.
pub fn sheet(drawn: &DrawnBench, dice: &mut Dice) -> String {
    let truth = &drawn.truth;
    let supply_v = truth.rig.supply_v;
    let parameter = |name| truth.parameter(name).unwrap_or(0.0);
    let stall_a = supply_v / parameter("terminal_resistance");
    let meters = Meters::draw(0.3 * stall_a, dice);
    let stated_c = drawn.winding_temperature_c;
    let temperature = format!(
        "winding_temperature = {{ c = {}, standard_k = {} }}\n",
        stated_c.value, stated_c.standard_uncertainty
    );
    let no_load: Vec<State> = (0..ROWS)
        .filter_map(|k| {
            loaded(
                truth,
                supply_v * (0.3 + 0.7 * k as f64 / (ROWS - 1) as f64),
                0.0,
                0.0,
            )
        })
        .collect();
    let stall_nm = truth.operating_at(supply_v).map_or(0.0, |at| at[2].1);
    let warmed_k = dice.uniform(0.3, 1.0) * WARMED_K;
    let line: Vec<State> = (0..ROWS)
        .filter_map(|k| {
            let share = k as f64 / (ROWS - 1) as f64;
            loaded(truth, supply_v, 0.35 * stall_nm * share, warmed_k * share)
        })
        .collect();
    let held: Vec<State> = (1..=ROWS)
        .map(|k| {
            let current = 0.25 * stall_a * k as f64 / ROWS as f64;
            let position = truth.machine_at_25_c.commutator.resistance_variation;
            let position = 1.0 + 0.7 * position * dice.normal().clamp(-1.4, 1.4);
            let ohm = parameter("terminal_resistance") * position;
            let volts = ohm * current + truth.machine_at_25_c.contact_drop_v(current);
            let friction = dice.uniform(-1.0, 1.0) * truth.machine_at_25_c.breakaway_nm;
            let flux = 1.0 - truth.machine_at_25_c.armature_reaction_per_a * current;
            let torque = parameter("back_emf_constant") * flux * current - friction;
            [volts, current, 0.0, torque.max(0.0)]
        })
        .collect();
    let keys = [
        ("voltage", "v"),
        ("current", "a"),
        ("speed", "rad_s"),
        ("torque", "n_m"),
    ];
    let mut out = String::new();
    for (kind, states, columns) in [
        ("no-load", &no_load, &[0, 1, 2][..]),
        ("load-line", &line, &[0, 1, 2, 3][..]),
        ("held-rotor", &held, &[0, 1, 3][..]),
    ] {
        let _ = writeln!(out, "\n[[tables]]\nkind = \"{kind}\"");
        for &k in columns {
            let list: Vec<String> = states
                .iter()
                .map(|state| format!("{:e}", meters.read(k, state[k], dice)))
                .collect();
            let zero = match k {
                1 => format!(", coverage_95_a = {:e}", meters.zero_limit_a),
                _ => String::new(),
            };
            let (key, unit) = keys[k];
            let _ = writeln!(
                out,
                "{key} = {{ {unit} = [{}], coverage_95_percent = {:.4}{zero} }}",
                list.join(", "),
                100.0 * LIMITS[k]
            );
        }
        if kind == "load-line" {
            let _ = writeln!(out, "warmed_k = {WARMED_K}");
        }
        out.push_str(&temperature);
    }
    out.push_str(&impedance(truth, &meters, dice));
    out
}

/// Series inductance against frequency, with the eddy branch in parallel to its share.
fn impedance(truth: &Truth, meters: &Meters, dice: &mut Dice) -> String {
    let machine = &truth.machine_at_25_c;
    let (mut hertz, mut henry) = (Vec::new(), Vec::new());
    for hz in [100.0, 300.0, 1e3, 3e3, 10e3] {
        let whole = machine.armature_inductance_h;
        let left = machine.eddy.map_or(1.0, |eddy| {
            let q = TAU * hz * eddy.share * whole / eddy.parallel_ohm;
            1.0 - eddy.share + eddy.share / (1.0 + q * q)
        });
        hertz.push(format!("{hz}"));
        henry.push(format!("{:e}", meters.read(4, whole * left, dice)));
    }
    format!(
        "\n[[tables]]\nkind = \"impedance\"\nfrequency = {{ hz = [{}] }}\ninductance = {{ h = [{}], coverage_95_percent = 0.3 }}\n",
        hertz.join(", "),
        henry.join(", ")
    )
}

/// The steady state on `voltage` under a load torque, the winding so much warmer than in the captures; `None` where it does not turn.
fn loaded(truth: &Truth, voltage: f64, load_nm: f64, warmer_k: f64) -> Option<State> {
    let machine = &truth.machine_at_25_c;
    let resistance = machine.resistance_at(truth.winding_c + warmer_k);
    let constant = machine.back_emf_constant_at(truth.magnets_c);
    let flux = |current: f64| constant * (1.0 - machine.armature_reaction_per_a * current);
    // Both searches halve an interval over which their function rises.
    let root = |high: f64, of: &dyn Fn(f64) -> f64| {
        let (mut low, mut high) = (0.0, high);
        for _ in 0..100 {
            let middle = 0.5 * (low + high);
            if of(middle) < 0.0 {
                low = middle;
            } else {
                high = middle;
            }
        }
        high
    };
    let current = |omega: f64| {
        root(voltage / resistance, &|i| {
            resistance * i + machine.contact_drop_v(i) + flux(i) * omega - voltage
        })
    };
    let surplus = |omega: f64| {
        let i = current(omega);
        flux(i) * i - machine.running_friction_nm(omega) - load_nm
    };
    (surplus(0.0) > 0.0).then(|| {
        let omega = root(2.0 * voltage / constant, &|omega| -surplus(omega));
        [voltage, current(omega), omega, load_nm]
    })
}
