//! A profile of speed, torque or current: what it takes, and which limit it meets first (`docs/drive.md`, section 11).

mod gear;

use crate::drive::Note;
use crate::drive::profile::{Demand, Geared, Point, Profile, Warming};
use crate::drive::sample::Sample;
use crate::drive::section::{Column, Known, Section, Unit, Why, Worst, column, given};
use crate::drive::setting::Setting;
use crate::drive::topics::braking::raised_v;
use crate::motor::temperature::REFERENCE_C;
use crate::motor::thermal::Rise;

/// Stretches of the temperatures, a round and a winding time constant.
const STRETCHES: f64 = 200.0;
const STRETCHES_OF_TIME_CONSTANT: f64 = 20.0;
/// Lines of the course.
const LINES: usize = 500;

const NO_HEAT_RUN: Why = Why::NotGiven("a heat run ([[heat]] in the bench sheet)");
const NO_SPEED: Why = Why::NotGiven("a speed or position in the profile");

/// The profile in pieces short enough for the temperatures of the estimate.
pub fn divided(profile: &Profile, estimate: &Sample) -> Profile {
    let whole_s = profile.length_s();
    let by_winding_s = estimate.thermal.map_or(f64::INFINITY, |network| {
        network.winding_to_housing_k_per_w * network.winding_j_per_k / STRETCHES_OF_TIME_CONSTANT
    });
    profile.divided((whole_s / STRETCHES).min(by_winding_s))
}

/// A motor in the profile.
struct Driven<'a> {
    geared: Known<Geared<'a>>,
    demands: Known<Vec<Demand>>,
    warming: Known<Warming>,
    once: Known<Vec<(f64, f64)>>,
    repeated: Known<Vec<(f64, f64)>>,
}

fn peak(course: &Known<Vec<(f64, f64)>>) -> Known {
    let all = course.as_ref().map_err(|why| *why)?;
    Ok(all.iter().map(|at| at.1).fold(f64::MIN, f64::max))
}

impl<'a> Driven<'a> {
    fn new(setting: &'a Setting, profile: &Profile, m: &'a Sample) -> Driven<'a> {
        let order = &setting.order;
        let ratio = order.gear.unwrap_or(1.0);
        let from_c = setting.winding_c.unwrap_or(REFERENCE_C);
        let demands = Geared::new(profile, order, m, ratio, 0.0).and_then(|geared| {
            let pieces = profile.pieces.iter();
            pieces
                .map(|piece| geared.demand(profile, piece))
                .collect::<Known<Vec<Demand>>>()
        });
        let warming = m.thermal.ok_or(NO_HEAT_RUN).and_then(|network| {
            Ok(Warming::new(
                network,
                order.ambient_c,
                (m.resistance_ohm?, from_c),
                m.brush_drop_v?,
                demands.as_ref().map_err(|why| *why)?,
                profile.length_s() / (10.0 * STRETCHES),
            ))
        });
        let with = |from: Known<Rise>| {
            let from = from?;
            warming
                .as_ref()
                .map(|warming| warming.course(from))
                .map_err(|why| *why)
        };
        let steady = warming
            .as_ref()
            .map_err(|why| *why)
            .and_then(Warming::steady);
        let (once, repeated) = (with(Ok(Rise::default())), with(steady));
        // The hotter winding needs more voltage.
        let hot_c = peak(&repeated).or(peak(&once)).unwrap_or(from_c);
        let geared = m.resistance_ohm.and_then(|ohm| {
            let ohm = ohm * m.warmer(from_c, hot_c.max(from_c));
            Geared::new(profile, order, m, ratio, ohm)
        });
        Driven {
            geared,
            demands,
            warming,
            once,
            repeated,
        }
    }

    /// The largest of something over all points, given with the slope of the current.
    fn largest(&self, of: impl Fn(&Point, f64) -> Known) -> Known {
        let demands = self.demands.as_ref().map_err(|why| *why)?;
        let mut most = f64::MIN;
        for demand in demands {
            for point in &demand.points {
                most = most.max(of(point, demand.slope_a_per_s())?);
            }
        }
        Ok(most)
    }

    /// Mean over the profile.
    fn mean(&self, of: impl Fn(&Point) -> f64) -> Known {
        let demands = self.demands.as_ref().map_err(|why| *why)?;
        let whole_s: f64 = demands.iter().map(|demand| demand.length_s).sum();
        let sum: f64 = demands
            .iter()
            .map(|demand| demand.length_s * demand.mean(&of))
            .sum();
        Ok(sum / whole_s)
    }

    fn geared(&self) -> Known<&Geared<'a>> {
        self.geared.as_ref().map_err(|why| *why)
    }

    fn supply_v(&self, moves: bool) -> Known {
        if !moves {
            return Err(NO_SPEED);
        }
        let geared = self.geared()?;
        self.largest(|point, slope| geared.supply_v(point, slope))
    }

    /// Voltage of the sign that a half bridge has not, V; 0 where it needs none.
    fn reversed_v(&self, half_bridge: bool, moves: bool) -> Known {
        if !half_bridge {
            return Err(Why::Moot("a full bridge reverses the voltage"));
        }
        if !moves {
            return Err(NO_SPEED);
        }
        let geared = self.geared()?;
        let forward = |sign: f64| self.largest(|p, slope| Ok(sign * geared.bridge_v(p, slope)?));
        // The motor is connected the way in which it needs more.
        Ok(forward(1.0)?.min(forward(-1.0)?).max(0.0))
    }

    /// Power from the supply: the largest, W, and the energy that comes back, J.
    fn power(&self, moves: bool) -> Known<(f64, f64)> {
        if !moves {
            return Err(NO_SPEED);
        }
        let geared = self.geared()?;
        let power_w = |p: &Point, slope| Ok(geared.bridge_v(p, slope)? * p.current_a);
        let largest = self.largest(power_w)?;
        let mut back_j = 0.0;
        for demand in self.demands.as_ref().map_err(|why| *why)? {
            let slope = demand.slope_a_per_s();
            let back = |p: &Point| (-power_w(p, slope).unwrap_or(f64::NAN)).max(0.0);
            back_j += demand.length_s * demand.mean(back);
        }
        Ok((largest, back_j))
    }
}

/// Fills the topic.
pub fn fill(setting: &Setting, m: &Sample, out: &mut Section) {
    let (Some(profile), Some(as_read)) = (&setting.divided, &setting.profile) else {
        return;
    };
    let driven = Driven::new(setting, profile, m);
    let rms_a = driven.mean(|p| p.current_a * p.current_a).map(f64::sqrt);
    currents(setting, &driven, rms_a, out);
    supply(setting, m, profile.moves, &driven, out);
    temperatures(setting, &driven, out);
    gear::fill(setting, as_read, m, out, rms_a);
    course(profile, setting.order.gear.unwrap_or(1.0), &driven, out);
    remarks(setting, profile, out);
}

fn currents(setting: &Setting, driven: &Driven<'_>, rms_a: Known, out: &mut Section) {
    let peak_a = driven.largest(|point, _| Ok(point.current_a.abs()));
    let limit = given(setting.order.current_limit_a, "--current-limit");
    for (key, value) in [
        ("profile_peak_current", peak_a),
        ("profile_rms_current", rms_a),
        (
            "profile_current_share",
            limit.and_then(|limit| Ok(peak_a? / limit)),
        ),
    ] {
        out.row(key, value);
    }
}

fn supply(setting: &Setting, m: &Sample, moves: bool, driven: &Driven<'_>, out: &mut Section) {
    let order = &setting.order;
    let speed = match moves {
        true => m
            .back_emf_constant_v_s_per_rad
            .and_then(|k| driven.largest(|point, _| Ok(point.back_emf_v.abs() / k))),
        false => Err(NO_SPEED),
    };
    let needed_v = driven.supply_v(moves);
    let power = driven.power(moves);
    let capacitance = given(order.bus_capacitance_f, "--bus-capacitance");
    out.row("profile_peak_speed", speed);
    for (key, value) in [
        ("profile_supply_voltage", needed_v),
        (
            "profile_voltage_share",
            needed_v.map(|needed| needed / order.supply_v),
        ),
        (
            "profile_reversed_voltage",
            driven.reversed_v(order.half_bridge, moves),
        ),
        ("profile_peak_power", power.map(|power| power.0)),
        ("profile_returned_energy", power.map(|power| power.1)),
        (
            "profile_bus_voltage",
            capacitance.and_then(|c| Ok(raised_v(order.supply_v, power?.1, c))),
        ),
    ] {
        out.row(key, value);
    }
}

fn temperatures(setting: &Setting, driven: &Driven<'_>, out: &mut Section) {
    let order = &setting.order;
    let (once_c, repeated_c) = (peak(&driven.once), peak(&driven.repeated));
    let limit_c = given(order.winding_limit_c, "--winding-limit");
    out.row("profile_winding_once", once_c);
    out.row("profile_winding_repeated", repeated_c);
    out.row(
        "profile_margin",
        repeated_c.and_then(|peak_c| Ok(limit_c? - peak_c)),
    );
    out.row(
        "profile_limit_time",
        driven
            .warming
            .as_ref()
            .map_err(|why| *why)
            .and_then(|warming| {
                let time_s = warming.reaches_s(limit_c?);
                time_s.ok_or(Why::Moot("stays below the limit"))
            }),
    );
    out.row(
        "profile_heat_share",
        repeated_c.and_then(|peak_c| {
            let limit_c = limit_c?;
            if limit_c <= order.ambient_c {
                return Err(Why::Physics("the room is as hot as the winding may be"));
            }
            Ok((peak_c - order.ambient_c) / (limit_c - order.ambient_c))
        }),
    );
}

fn remarks(setting: &Setting, profile: &Profile, out: &mut Section) {
    out.remark(|| Note::Profile {
        name: profile.name.clone(),
        asked: profile.asked,
        length_s: profile.length_s(),
    });
    out.remark(|| Note::MeanTemperatures {
        ambient_c: setting.order.ambient_c,
    });
}

const COLUMNS: [Column; 6] = [
    column("time", Unit::Second, Worst::Neither),
    column("motor speed", Unit::Speed, Worst::Neither),
    column("current", Unit::Ampere, Worst::Neither),
    column("supply needed", Unit::Volt, Worst::High),
    column("winding, once", Unit::Celsius, Worst::High),
    column("winding, repeated", Unit::Celsius, Worst::High),
];

/// Everything over the time.
fn course(profile: &Profile, ratio: f64, driven: &Driven<'_>, out: &mut Section) {
    out.table(
        "profile_course",
        || format!("course of {}", profile.name),
        "11",
        &COLUMNS,
    );
    let stride = profile.pieces.len().div_ceil(LINES).max(1);
    let at_c = |course: &Known<Vec<(f64, f64)>>, time_s: f64| -> Known {
        let course = course.as_ref().map_err(|why| *why)?;
        let after = course
            .partition_point(|at| at.0 < time_s)
            .clamp(1, course.len() - 1);
        let (one, other) = (course[after - 1], course[after]);
        let share = ((time_s - one.0) / (other.0 - one.0)).clamp(0.0, 1.0);
        Ok(one.1 + share * (other.1 - one.1))
    };
    let ends = profile.pieces.len() - 1;
    for (number, piece) in profile.pieces.iter().enumerate() {
        if number % stride != 0 && number != ends {
            continue;
        }
        for end in [0, 2] {
            // Both ends of each piece where there are few, since what is asked may step there.
            if end == 2 && stride > 1 && number != ends {
                continue;
            }
            let time_s = piece.start_s + 0.5 * f64::from(end) * piece.length_s;
            let demand = driven
                .demands
                .as_ref()
                .map(|all| all[number])
                .map_err(|why| *why);
            let point = demand.map(|demand| demand.points[end as usize]);
            out.line(&[time_s, ratio * piece.speed_rad_s[end as usize / 2]]);
            out.cell(point.map(|point| point.current_a));
            out.cell(match profile.moves {
                true => point
                    .and_then(|point| driven.geared()?.supply_v(&point, demand?.slope_a_per_s())),
                false => Err(NO_SPEED),
            });
            out.cell(at_c(&driven.once, time_s));
            out.cell(at_c(&driven.repeated, time_s));
        }
    }
}

#[cfg(test)]
mod tests;
