//! A start behind a switched bridge whose current may die in the off time, of which only the current is recorded.

use crate::bench::DrawnBench;
use crate::chance::Dice;
use crate::files::FolderError;
use crate::motor::Machine;
use crate::rig::CurrentSensor;
use std::f64::consts::TAU;
use std::fmt::Write as _;
use std::fs;
use std::path::Path;

/// A bridge in the off time, and how its current was recorded.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CoastingStart {
    /// Two diodes lead the current back into the supply; else one around it.
    pub into_supply: bool,
    pub duty: f64,
    /// Switching period over L/R of the motor.
    pub period_share: f64,
    /// Samples in a period; may be less than one.
    pub samples: f64,
}

/// Stated limits: of the duty and of the supply, relative, and of one diode's drop about what is stated, V.
const DUTY_LIMIT: f64 = 0.01;
const SUPPLY_LIMIT: f64 = 0.005;
const DIODE_V: f64 = 0.8;
const DIODE_LIMIT_V: f64 = 0.3;

/// True values of one such start.
struct Bridge {
    start: CoastingStart,
    period_s: f64,
    duty: f64,
    supply_v: f64,
    diode_v: f64,
    outside_ohm: f64,
    /// Angle at which the rotor rests.
    angle: f64,
}

/// Adds the record and gives what the sheet says of it.
pub fn add(
    drawn: &DrawnBench,
    start: CoastingStart,
    folder: &Path,
    dice: &mut Dice,
) -> Result<String, FolderError> {
    let (truth, rig) = (&drawn.truth, &drawn.truth.rig);
    let machine = &truth.machine_at_25_c;
    let resistance = machine.resistance_at(truth.winding_c);
    let period_s = start.period_share * machine.armature_inductance_h / resistance;
    let frequency_hz = format!("{:.0}", 1.0 / period_s);
    let outside_ohm = rig.source_resistance_ohm + truth.shunt_ohm.unwrap_or(0.0);
    let mut off = |limit: f64| dice.uniform(-limit, limit);
    let bridge = Bridge {
        start,
        period_s: 1.0 / frequency_hz.parse::<f64>().unwrap_or(1.0 / period_s),
        duty: start.duty * (1.0 + off(DUTY_LIMIT)),
        supply_v: rig.supply_v * (1.0 + off(SUPPLY_LIMIT)),
        diode_v: DIODE_V + off(DIODE_LIMIT_V),
        outside_ohm: outside_ohm * (1.0 + off(0.05)),
        angle: off(TAU),
    };
    let (step_s, current) = bridge.record(machine, resistance, truth.magnets_c, truth.winding_c);
    let gain = truth.instrument_errors.current_gain();
    let largest = current.iter().fold(0.0_f64, |most, i| most.max(i.abs()));
    // Eight divisions.
    let per_division = largest / 6.0;
    let zero_a = match rig.sensor {
        CurrentSensor::Clamp { .. } => truth.instrument_errors.sensor_zero_a,
        CurrentSensor::Shunt { .. } => 0.0,
    } + per_division * dice.uniform(-1.0, 1.0) * truth.instruments.zero_limit_div;
    let noise_a = truth.instruments.noise_div * per_division;
    let code = 10.0 * per_division / 4096.0;
    let mut text = String::from("Time (s),CH2 (A)\n");
    for (row, i) in current.iter().enumerate() {
        let shown = gain * i + zero_a + noise_a * dice.normal();
        let time_s = (row as f64 - 0.1 * current.len() as f64) * step_s;
        let _ = writeln!(text, "{time_s:.9},{:.6}", code * (shown / code).round());
    }
    let path = folder.join("coasting.csv");
    fs::write(&path, text).map_err(FolderError::at(&path))?;
    let off_time = if start.into_supply {
        "coasts"
    } else {
        "freewheels"
    };
    Ok(format!(
        "\n[[captures]]\nfile = \"coasting.csv\"\nrole = \"pwm\"\nvoltage.recorded = false\ncurrent.per_division = {per_division}\nsource = {{ v = {:?}, limit_percent = {} }}\nloop_resistance = {{ ohm = {outside_ohm:?}, limit_percent = 5 }}\nbridge = {{ duty_percent = {}, limit_percent = {}, off_time = \"{off_time}\", frequency_hz = {frequency_hz}, diode_drop = {{ v = {DIODE_V}, limit_v = {DIODE_LIMIT_V} }} }}\n",
        rig.supply_v,
        100.0 * SUPPLY_LIMIT,
        100.0 * start.duty,
        100.0 * DUTY_LIMIT,
    ))
}

impl Bridge {
    /// Sampling interval, s, and the current at each sample, A.
    ///
    /// ```text
    /// L/(1 + (i/I_s)²) di/dt = u − (R + R_o) i − V_b(i) − K(θ) ω       J dω/dt = K(θ) i − T(ω)
    /// ```
    /// with u = V in the on time, and in the off time −V − 2 V_d or −V_d until the current is zero, where it stays. Steps of Euler far below the
    /// period and the electrical time constant; a screened share of the inductance is a loop of its own.
    fn record(
        &self,
        machine: &Machine,
        resistance: f64,
        magnets_c: f64,
        winding_c: f64,
    ) -> (f64, Vec<f64>) {
        let constant = machine.back_emf_constant_at(magnets_c);
        let (share, parallel) = machine
            .eddy
            .map_or((0.0, 0.0), |e| (e.share, e.parallel_ohm));
        let lead_h = machine.armature_inductance_h * (1.0 - share);
        let screened_h = machine.armature_inductance_h * share;
        let fastest = if share > 0.0 {
            lead_h.min(screened_h) / (parallel + resistance)
        } else {
            lead_h / resistance
        };
        let step_s = self.period_s / (400.0 * (self.period_s / fastest).max(1.0)).ceil();
        let span_s = 9.0 * resistance * machine.rotor_inertia_kg_m2 / (constant * constant);
        let sample_s = self.period_s / self.start.samples;
        let waves = f64::from(machine.lines_per_turn());
        let heating = machine.winding_heat_capacity_j_per_k;
        let off_v = if self.start.into_supply {
            -self.supply_v - 2.0 * self.diode_v
        } else {
            -self.diode_v
        };
        let (mut i, mut screened, mut omega, mut theta) = (0.0_f64, 0.0, 0.0_f64, self.angle);
        let (mut charge, mut next_s, mut warmed_k) = (Vec::new(), 0.0, 0.0);
        let mut step = 0_u64;
        loop {
            let t = step as f64 * step_s;
            step += 1;
            if t > 1.1 * span_s {
                return (sample_s, charge);
            }
            if t >= next_s {
                charge.push(i);
                next_s += sample_s;
            }
            // Switched on after a tenth of the record.
            let since = t - 0.1 * span_s;
            if since < 0.0 {
                continue;
            }
            let on = (since / self.period_s).fract() < self.duty;
            let shape = 1.0 + 0.5 * machine.commutator.emf_ripple * libm::cos(waves * theta);
            let k = constant * shape * machine.flux_share(i);
            let ohm = resistance
                * (1.0
                    + machine.copper_per_k * warmed_k
                        / (1.0 + machine.copper_per_k * (winding_c - 25.0)));
            let pull = (ohm + self.outside_ohm) * i
                + machine.contact_drop_v(i)
                + k * omega
                + parallel * (i - screened);
            let bend = |at: f64| {
                machine
                    .saturation_a
                    .map_or(1.0, |s| 1.0 + at * at / (s * s))
            };
            let source_v = if on { self.supply_v } else { off_v };
            let before = i;
            i += step_s * (source_v - pull) / lead_h * bend(i);
            if screened_h > 0.0 {
                screened += step_s * parallel * (before - screened) / screened_h * bend(screened);
            }
            // Diodes, and switches of which each carries one direction only.
            i = i.max(0.0);
            let torque = k * i;
            let friction = machine.running_friction_nm(omega);
            let held = omega <= 0.0 && torque <= machine.breakaway_nm;
            if !held {
                omega =
                    (omega + step_s * (torque - friction) / machine.rotor_inertia_kg_m2).max(0.0);
            }
            theta += omega * step_s;
            if let Some(capacity) = heating {
                warmed_k += step_s * ohm * i * i / capacity;
            }
        }
    }
}
