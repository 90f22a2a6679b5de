//! From the fitted vector to the parameters a person asks for, with intervals, status and budget.

use super::monomial::{Monomial, monomials};
use crate::bench::Stated;
use crate::fit::estimate::{Estimate, ProfileToWaldRatio};
use crate::fit::unknowns::{Entry, ParameterKind};
use crate::motor::temperature::{REFERENCE_C, copper_coefficient_per_k, copper_ratio};
use crate::stats::quantiles::normal_quantile;
use crate::stats::truncated::TruncatedNormal;
use nalgebra::DVector;

/// What the data say of a parameter.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Status {
    /// Determined by captures and readings.
    Measured,
    /// Hardly more than its prior.
    FromPrior,
    /// Not determined; there is no value.
    Undetermined,
}

/// A value with its uncertainty.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Interval {
    /// In SI units, as all of these.
    pub value: f64,
    /// One standard deviation of the state of knowledge.
    pub standard_uncertainty: f64,
    /// Lower bound.
    pub lower: f64,
    /// Upper bound.
    pub upper: f64,
}

/// One parameter of the result.
#[derive(Clone, Debug)]
pub struct Reported {
    /// Key in the motor file.
    pub name: &'static str,
    /// UCUM code.
    pub unit: &'static str,
    /// What the data say of it.
    pub status: Status,
    /// Absent when undetermined.
    pub estimate: Option<Interval>,
    /// True where the interval ends at a physical bound.
    pub one_sided: bool,
    /// True where the ends are those of the profile likelihood, since the plain ones are off by more than 5 % of the width.
    pub profiled: bool,
    /// Winding temperature to which the value belongs, °C.
    pub temperature_c: Option<f64>,
    /// The same at 25 °C, where it differs and the temperature is known.
    pub at_25_c: Option<Interval>,
    /// Share of the variance by source, adding up to 1.
    pub budget: Vec<(String, f64)>,
    /// Derivative with respect to the fitted vector, for the covariance among reported parameters.
    pub gradient: Option<DVector<f64>>,
    /// For an undetermined parameter: what would settle it.
    pub settled_by: Option<String>,
}

/// A value with the standard uncertainty of the covariance.
struct Plain {
    value: f64,
    standard_uncertainty: f64,
    /// Reach of the interval below and above over `z σ`.
    reach: [f64; 2],
}

/// Relative standard uncertainty above which a parameter that must be positive counts as not determined.
pub const LARGEST_RELATIVE: f64 = 0.5;

impl Estimate {
    /// Every parameter of the result, in the motor file's order.
    pub fn reported(&self) -> Vec<Reported> {
        monomials().iter().map(|m| self.report(m)).collect()
    }

    fn report(&self, m: &Monomial) -> Reported {
        let mut out = Reported {
            name: m.name,
            unit: m.unit,
            status: Status::Undetermined,
            estimate: None,
            one_sided: false,
            profiled: false,
            temperature_c: self.temperature_c.map(|t| t.value),
            at_25_c: None,
            budget: Vec::new(),
            gradient: None,
            settled_by: None,
        };
        if !self.inductance_seen
            && m.logs
                .iter()
                .any(|(kind, _)| *kind == ParameterKind::LogInductance)
        {
            out.settled_by = Some(settled_by(m.name, false));
            return out;
        }
        let Some(placed) = m.place(&self.problem.layout) else {
            out.settled_by = Some(settled_by(m.name, true));
            return out;
        };
        let (value, gradient) = placed.value(&self.solution.x);
        let variance = (gradient.transpose() * &self.covariance.total * &gradient)[(0, 0)].max(0.0);
        let reach = self.profiles.iter().find(|p| p.parameter == m.name);
        out.profiled = reach.is_some();
        let reach = self.profile_to_wald(reach, &gradient, variance);
        let plain = Plain {
            value,
            standard_uncertainty: variance.sqrt(),
            reach,
        };
        let factor = placed.factor(&self.solution.x);
        let (interval, one_sided) = match placed.linear {
            Some(entry) => self.not_negative(&plain, entry, factor),
            None => (self.positive(&plain), false),
        };
        // Whatever nothing touches comes out without any spread, which is no measurement either.
        let u = interval.standard_uncertainty;
        let unbounded = self
            .largest_possible(m)
            .is_some_and(|most| interval.upper > most * factor);
        let vague = placed.linear.is_none() && u > LARGEST_RELATIVE * value;
        if vague || unbounded || !u.is_finite() || u <= 0.0 {
            out.settled_by = Some(settled_by(m.name, false));
            return out;
        }
        out.one_sided = one_sided;
        out.status = Status::Measured;
        out.estimate = Some(interval);
        out.budget = self.budget(&gradient, variance);
        out.at_25_c = self.at_reference(m.name, &interval);
        out.gradient = Some(gradient);
        out
    }

    /// Normal quantile of the stated level.
    fn z(&self) -> f64 {
        normal_quantile(0.5 + 0.5 * self.options.level)
    }

    /// Reach of an interval below and above over its plain reach. The profile shapes what the fit itself spreads; what entries held at a bound may
    /// still do comes on top.
    fn profile_to_wald(
        &self,
        profile: Option<&ProfileToWaldRatio>,
        gradient: &DVector<f64>,
        variance: f64,
    ) -> [f64; 2] {
        let fitted = (gradient.transpose() * self.covariance.conditional() * gradient)[(0, 0)];
        let reached = |ratio: f64| {
            let share = (fitted / variance).clamp(0.0, 1.0);
            (ratio * ratio * share + 1.0 - share).sqrt()
        };
        profile.map_or([1.0; 2], |p| [reached(p.below), reached(p.above)])
    }

    /// Interval of a parameter that is not negative, and whether it is one-sided: the plain interval where it stays clear of zero, else that of the
    /// truncated normal. `factor`: of the parameter over its entry.
    fn not_negative(&self, plain: &Plain, entry: Entry, factor: f64) -> (Interval, bool) {
        let Plain {
            value,
            standard_uncertainty: u,
            reach: [below, above],
        } = *plain;
        let z = self.z();
        let free = self.covariance.is_free(entry);
        let (centre, spread) = if free {
            (value, u)
        } else {
            let (centre, spread) = self.covariance.bound_moments(entry);
            (factor * centre, factor * spread)
        };
        if free && centre - z * spread > 0.0 {
            let two_sided = Interval {
                value,
                standard_uncertainty: u,
                lower: (value - below * z * u).max(0.0),
                upper: value + above * z * u,
            };
            return (two_sided, false);
        }
        let tail = TruncatedNormal::above_zero(centre, spread);
        let one_sided = Interval {
            value,
            standard_uncertainty: tail.standard_deviation(),
            lower: 0.0,
            upper: tail.quantile(self.options.level),
        };
        (one_sided, true)
    }

    /// Interval of a parameter that is positive by nature and fitted in log: it is symmetric there.
    fn positive(&self, plain: &Plain) -> Interval {
        let Plain {
            value,
            standard_uncertainty: u,
            reach: [below, above],
        } = *plain;
        let z = self.z();
        let relative = u / value;
        Interval {
            value,
            standard_uncertainty: u,
            lower: value * (-below * z * relative).exp(),
            upper: value * (above * z * relative).exp(),
        }
    }

    /// Size that a parameter of the terminal domain which may be zero cannot exceed: friction takes less current than the largest
    /// seen, a brush drops less than the largest voltage. An interval that reaches beyond says nothing at all.
    pub(crate) fn largest_possible(&self, m: &Monomial) -> Option<f64> {
        let (current_a, voltage_v) = (self.largest_current_a, self.largest_voltage_v);
        match m.linear.as_ref()? {
            ParameterKind::FrictionCurrent => Some(current_a),
            ParameterKind::ViscousConductance => Some(current_a / voltage_v),
            ParameterKind::BrushDrop => Some(voltage_v),
            _ => None,
        }
    }

    /// Share of a quantity's variance by source.
    fn budget(&self, gradient: &DVector<f64>, variance: f64) -> Vec<(String, f64)> {
        if variance <= 0.0 {
            return Vec::new();
        }
        let mut shares: Vec<(String, f64)> = self
            .covariance
            .parts
            .iter()
            .map(|(source, part)| {
                (
                    source.label(),
                    ((gradient.transpose() * part * gradient)[(0, 0)] / variance).max(0.0),
                )
            })
            .collect();
        let sum: f64 = shares.iter().map(|s| s.1).sum();
        shares.iter_mut().for_each(|s| s.1 /= sum);
        shares.retain(|s| s.1 >= 5e-4);
        let kept: f64 = shares.iter().map(|s| s.1).sum();
        shares.iter_mut().for_each(|s| s.1 /= kept);
        shares.sort_by(|a, b| b.1.total_cmp(&a.1));
        shares
    }

    /// The value at 25 °C: copper for the resistance; the correction's uncertainty is part of the bound.
    fn at_reference(&self, name: &str, at: &Interval) -> Option<Interval> {
        let Stated {
            value: temperature,
            standard_uncertainty: u_temperature,
        } = self.temperature_c?;
        let (ratio, relative_u) = match name {
            "terminal_resistance" => (
                copper_ratio(temperature, REFERENCE_C),
                copper_coefficient_per_k(temperature) * u_temperature,
            ),
            _ => return None,
        };
        let value = at.value * ratio;
        let u = value * (at.standard_uncertainty / at.value).hypot(relative_u);
        let z = self.z();
        Some(Interval {
            value,
            standard_uncertainty: u,
            lower: value * (-z * u / value).exp(),
            upper: value * (z * u / value).exp(),
        })
    }
}

/// Which measurement would settle a parameter that the captures leave open.
fn settled_by(name: &str, no_speed: bool) -> String {
    if no_speed {
        return "a speed: one tachometer reading while running freely, the commutator's segment count with a run-down whose ripple shows, \
                or the terminal voltage while the shaft is driven at a known speed"
            .into();
    }
    match name {
        "armature_inductance" | "electrical_time_constant" => {
            "a voltage step onto the locked rotor, sampled at least ten times within L/R".into()
        }
        "terminal_resistance" => {
            "a locked-rotor step, or a brake whose beginning shows the open-terminal voltage".into()
        }
        "inertia_capacitance" | "rotor_inertia" | "mechanical_time_constant" => {
            "a start from rest with voltage and current recorded until the speed is steady".into()
        }
        _ => "a run-down with open terminals from full speed to standstill".into(),
    }
}
