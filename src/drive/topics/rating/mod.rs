//! What the winding can carry for how long, from the thermal model of the motor file (`docs/drive.md`, section 10).
//!
//! Duty types of IEC 60034-1, clause 4: S1 continuous, S2 short-time from room temperature, S3 intermittent with cycles of 10 minutes.
//! The heat of a current I is I² R(T) + V_b I with the resistance of a winding at its limit T, which is the safe side at lower temperatures; what
//! friction takes warms the housing.

pub mod regions;

use crate::drive::Note;
use crate::drive::sample::Sample;
use crate::drive::section::{Known, Section, Unit, Why, Worst, column, given};
use crate::drive::setting::Setting;
use crate::drive::topics::inrush::{HELD, running, series_ohm};
use crate::motor::temperature::REFERENCE_C;
use crate::motor::thermal::{Heat, Rise, ThermalNetwork};

/// Preferred durations of S2 and cyclic duration factors of S3 (IEC 60034-1, 4.2.2 and 4.2.3).
const SHORT_TIMES_MIN: [f64; 4] = [10.0, 30.0, 60.0, 90.0];
const DUTY_FACTORS: [f64; 4] = [0.15, 0.25, 0.40, 0.60];
/// Length of a cycle of S3, s (IEC 60034-1, 4.2.3).
const CYCLE_S: f64 = 600.0;
/// Steps of the heating of a held rotor.
const STEPS: usize = 400;

/// One motor with its limit.
pub(super) struct Rated<'a> {
    motor: &'a Sample,
    network: ThermalNetwork,
    ambient_c: f64,
    /// Permissible rise, K.
    rise_k: f64,
    /// At the limit, Ω.
    pub(super) hot_ohm: f64,
    brush_drop_v: f64,
}

const ONE_WATT: Heat = Heat::new(1.0, 0.0);

impl<'a> Rated<'a> {
    fn new(setting: &Setting, motor: &'a Sample) -> Known<Rated<'a>> {
        let order = &setting.order;
        let network = motor
            .thermal
            .ok_or(Why::NotGiven("a heat run ([[heat]] in the bench sheet)"))?;
        let limit_c = given(order.winding_limit_c, "--winding-limit")?;
        if limit_c <= order.ambient_c {
            return Err(Why::Physics(
                "the room is as hot as the winding may be: raise --winding-limit",
            ));
        }
        let from_c = setting.winding_c.unwrap_or(REFERENCE_C);
        Ok(Rated {
            motor,
            network,
            ambient_c: order.ambient_c,
            rise_k: limit_c - order.ambient_c,
            hot_ohm: motor.resistance_ohm? * motor.warmer(from_c, limit_c),
            brush_drop_v: motor.brush_drop_v?,
        })
    }

    /// Current that sets `heat_w` free in a winding at its limit: R I² + V_b I.
    pub(super) fn current_a(&self, heat_w: f64) -> f64 {
        let half = 0.5 * self.brush_drop_v / self.hot_ohm;
        (half * half + heat_w / self.hot_ohm).sqrt() - half
    }

    /// Torque at the shaft of a rotor that turns with a back-EMF.
    pub(super) fn torque_nm(&self, current_a: f64, emf_v: f64) -> Known {
        let k = self.motor.back_emf_constant_v_s_per_rad?;
        let share = 1.0 - self.motor.armature_reaction_per_a() * current_a;
        Ok((k * (share * current_a - self.motor.friction_current_a(emf_v)?)).max(0.0))
    }

    /// S1 with heat of friction in the housing.
    pub(super) fn continuous_w(&self, friction_w: f64) -> f64 {
        self.network.continuous_w(self.rise_k, friction_w)
    }

    /// S2 of `time_s`, with heat of friction in the housing.
    pub(super) fn short_time_w(&self, time_s: f64, friction_w: f64) -> f64 {
        let after = |heat: Heat| self.network.after(Rise::default(), heat, time_s).winding_k;
        let by_friction = after(Heat::new(0.0, friction_w));
        ((self.rise_k - by_friction) / after(ONE_WATT)).max(0.0)
    }

    /// S3: the peak of the winding once every cycle is like the one before.
    fn intermittent_w(&self, factor: f64) -> f64 {
        let cycle = |from: Rise, heat: Heat| {
            let on = self.network.after(from, heat, factor * CYCLE_S);
            self.network
                .after(on, Heat::default(), (1.0 - factor) * CYCLE_S)
        };
        let unit = |winding_k, housing_k| cycle(Rise::new(winding_k, housing_k), Heat::default());
        let (a, b, c) = (
            unit(1.0, 0.0),
            unit(0.0, 1.0),
            cycle(Rise::default(), ONE_WATT),
        );
        // x = M x + c.
        let (m11, m12, m21, m22) = (
            1.0 - a.winding_k,
            -b.winding_k,
            -a.housing_k,
            1.0 - b.housing_k,
        );
        let determinant = m11 * m22 - m12 * m21;
        let begin = Rise::new(
            (c.winding_k * m22 - c.housing_k * m12) / determinant,
            (c.housing_k * m11 - c.winding_k * m21) / determinant,
        );
        let peak = self.network.after(begin, ONE_WATT, factor * CYCLE_S);
        self.rise_k / peak.winding_k
    }

    /// Time for which a rotor held at `supply_v` behind `series_ohm` stays below the limit, from a rise; endless where it never comes there.
    fn held_s(&self, supply_v: f64, series_ohm: f64, from: Rise) -> f64 {
        let limit_c = self.ambient_c + self.rise_k;
        let volts = (supply_v - self.brush_drop_v).max(0.0);
        let current_a =
            |c: f64| volts / (series_ohm + self.hot_ohm * self.motor.warmer(limit_c, c));
        let heat_w = |c: f64| {
            let i = current_a(c);
            i * (supply_v - i * series_ohm)
        };
        let at = |rise: Rise| self.ambient_c + rise.winding_k;
        let (mut rise, mut time_s) = (from, 0.0);
        // Steps of equal rise while the winding takes up all of the heat, which it does in a stall.
        let left_k = self.rise_k - from.winding_k;
        if left_k <= 0.0 {
            return 0.0;
        }
        for _ in 0..100 * STEPS {
            let heat = Heat::new(heat_w(at(rise)), 0.0);
            let step_s = left_k / STEPS as f64 * self.network.winding_j_per_k / heat.winding_w;
            let next = self.network.after(rise, heat, step_s);
            if next.winding_k >= self.rise_k {
                let part = (self.rise_k - rise.winding_k) / (next.winding_k - rise.winding_k);
                return time_s + part * step_s;
            }
            if next.winding_k - rise.winding_k < 1e-3 * left_k / STEPS as f64 {
                break;
            }
            (rise, time_s) = (next, time_s + step_s);
        }
        f64::INFINITY
    }
}

const HOT_ALREADY: Why =
    Why::Physics("running under this load alone takes the winding to its limit");
const ENDLESS: Why = Why::Moot("held at this supply, the winding never reaches its limit");

/// Fills the topic.
pub fn fill(setting: &Setting, m: &Sample, out: &mut Section) {
    let order = &setting.order;
    let rated = || Rated::new(setting, m);
    let slow = || rated().map(|rated| rated.current_a(rated.continuous_w(0.0)));
    out.row("continuous_current", slow());
    out.row(
        "continuous_torque",
        slow().and_then(|current| rated()?.torque_nm(current, 0.0)),
    );
    let full = at_supply(setting, m);
    out.row(
        "continuous_torque_at_supply",
        full.map(|(torque, _)| torque),
    );
    out.row("continuous_speed_at_supply", full.map(|(_, speed)| speed));
    let held = |from: fn(&Rated<'_>, Heat) -> Rise| {
        let rated = rated()?;
        // A motor that ran for long.
        let begun = from(&rated, running_heat(setting, m).unwrap_or_default());
        if begun.winding_k >= rated.rise_k {
            return Err(HOT_ALREADY);
        }
        let time_s = rated.held_s(order.supply_v, series_ohm(setting), begun);
        if time_s.is_finite() {
            Ok(time_s)
        } else {
            Err(ENDLESS)
        }
    };
    out.row("stall_time_from_cold", held(|_, _| Rise::default()));
    out.row(
        "stall_time_from_warm",
        held(|rated, running| rated.network.steady(running)),
    );
    duties(&rated, out);
    if rated().is_ok() {
        regions::fill(setting, m, &rated, out);
    }
    out.remark(|| Note::CoolsAsInHeatRun {
        ambient_c: order.ambient_c,
    });
}

/// Tables of S2 and S3.
fn duties<'a>(rated: &impl Fn() -> Known<Rated<'a>>, out: &mut Section) {
    let columns = |words| {
        [
            column(
                words,
                if words == "minutes" {
                    Unit::One
                } else {
                    Unit::Share
                },
                Worst::Neither,
            ),
            column("current", Unit::Ampere, Worst::Low),
            column("torque", Unit::NewtonMetre, Worst::Low),
        ]
    };
    if let Err(why) = rated() {
        // One line in place of two tables of dashes.
        out.row("duty_types", Err(why));
        return;
    }
    let line = |exact: f64, heat_w: &dyn Fn(&Rated<'a>) -> f64, out: &mut Section| {
        out.line(&[exact]);
        let current = rated().map(|rated| rated.current_a(heat_w(&rated)));
        out.cell(current);
        out.cell(current.and_then(|current| rated()?.torque_nm(current, 0.0)));
    };
    out.table(
        "short_time",
        || "Short-time duty S2, from room temperature, rotor slow".to_owned(),
        "10",
        &columns("minutes"),
    );
    for minutes in SHORT_TIMES_MIN {
        line(
            minutes,
            &|rated| rated.short_time_w(60.0 * minutes, 0.0),
            out,
        );
    }
    out.table(
        "intermittent",
        || "Intermittent duty S3, cycles of 10 min, rotor slow".to_owned(),
        "10",
        &columns("on for"),
    );
    for factor in DUTY_FACTORS {
        line(factor, &|rated| rated.intermittent_w(factor), out);
    }
}

/// Heat of a motor that runs: of the current in winding and brushes, what friction takes in the housing.
fn running_heat(setting: &Setting, m: &Sample) -> Known<Heat> {
    let run = running(setting, m)?;
    let winding_w = run.current_a * (run.current_a * m.resistance_ohm? + m.brush_drop_v?);
    Ok(Heat::new(
        winding_w,
        run.back_emf_v * m.friction_current_a(run.back_emf_v)?,
    ))
}

/// Torque and speed of S1 at the full supply: the load that warms the winding to its limit while it turns.
fn at_supply(setting: &Setting, m: &Sample) -> Known<(f64, f64)> {
    let rated = Rated::new(setting, m)?;
    let k = m.back_emf_constant_v_s_per_rad?;
    let series = series_ohm(setting);
    let machine = crate::motor::TerminalParameters {
        terminal_resistance_ohm: rated.hot_ohm + series,
        friction_current_a: m.friction_current_a(0.0)?,
        ..m.machine(series)?
    };
    let supply_v = setting.order.supply_v;
    machine.no_load(supply_v).ok_or(HELD)?;
    let point = rated
        .network
        .continuous(rated.rise_k, supply_v, &machine, series)
        .ok_or(Why::Physics(
            "the winding passes its limit even without a load",
        ))?;
    Ok((point.torque_nm(k), point.speed_rad_s(k)))
}

#[cfg(test)]
mod tests;
