//! From the fitted vector to the parameters a person asks for, with intervals, status and budget.

use super::monomial::{Monomial, Placed, at_back_emf, monomials};
use super::settled_by::{settled_by, speed_reference};
use crate::bench::{Role, Stated};
use crate::fit::confrontation::Disputed;
use crate::fit::data::{Segment, SegmentKind};
use crate::fit::estimate::{Estimate, ProfileToWaldRatio};
use crate::fit::references::ReadingTerm;
use crate::fit::unknowns::{Entry, ParameterKind, Source};
use crate::motor::temperature::{REFERENCE_C, copper_coefficient_per_k, copper_ratio};
use crate::stats::quantiles::normal_quantile;
use nalgebra::DVector;

/// What the data say of a parameter.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Status {
    /// Determined by captures and readings.
    Measured,
    /// Hardly more than its prior.
    FromPrior,
    /// Evidence contradicts other evidence; the interval holds both sides.
    InConflict,
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
    /// Its standard uncertainty over the linearised one.
    pub spread: f64,
    /// Back-EMF at which it is taken, V, where it depends on the speed.
    pub at_back_emf_v: Option<f64>,
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

/// Whether a parameter is a part of the loop's impedance.
fn is_electrical(m: &Monomial) -> bool {
    let logs = m.logs.iter().map(|(kind, _)| kind);
    let sums = m.sum.iter().map(|(kind, _)| kind);
    logs.chain(sums).any(|kind| {
        matches!(
            kind,
            ParameterKind::LogResistance | ParameterKind::LogInductance | ParameterKind::BrushDrop
        )
    })
}

/// Whether a parameter is friction or a part of it.
fn is_friction(m: &Monomial) -> bool {
    m.sum.iter().any(|(kind, _)| {
        matches!(
            kind,
            ParameterKind::FrictionCurrent
                | ParameterKind::ViscousConductance
                | ParameterKind::Windage
        )
    })
}

/// A value with the standard uncertainty of the covariance.
struct Plain {
    value: f64,
    standard_uncertainty: f64,
    /// Reach of the interval below and above over `z σ`.
    reach: [f64; 2],
}

impl Plain {
    /// Standard uncertainty that goes with the reach: the mean of both sides' standard deviations.
    fn spread(&self) -> f64 {
        self.standard_uncertainty * 0.5 * (self.reach[0] + self.reach[1])
    }
}

/// Relative standard uncertainty above which a parameter that must be positive counts as not determined.
pub const LARGEST_RELATIVE: f64 = 0.5;

/// How far the drop at large currents departs from what another law of the contact makes of the same captures, relative standard uncertainty
/// (common practice, no source). The drop at the currents of the captures is known better than this, and with it whatever the motor does there.
const CONTACT_LAW: f64 = 0.1;

impl Estimate {
    /// Every parameter of the result, in the motor file's order.
    pub fn reported(&self) -> Vec<Reported> {
        self.monomials().iter().map(|m| self.report(m)).collect()
    }

    /// What [`Estimate::reported`] reports, in its order.
    pub(crate) fn monomials(&self) -> Vec<Monomial> {
        let running = self.running_back_emf_v().into_iter().flat_map(at_back_emf);
        monomials().into_iter().chain(running).collect()
    }

    /// Largest back-EMF at which a capture shows the motor running freely on the supply, V.
    pub fn running_back_emf_v(&self) -> Option<f64> {
        let running = self.predictions.iter().filter_map(|p| p.back_emf(None));
        let emf = running.map(|(emf, _)| emf.abs());
        emf.filter(|emf| emf.is_finite() && *emf > 0.0)
            .reduce(f64::max)
    }

    fn report(&self, m: &Monomial) -> Reported {
        let mut out = Reported {
            name: m.name,
            unit: m.unit,
            status: Status::Undetermined,
            estimate: None,
            one_sided: false,
            profiled: false,
            spread: 1.0,
            at_back_emf_v: m.at_back_emf_v,
            temperature_c: self.temperature_c.map(|t| t.value),
            at_25_c: None,
            budget: Vec::new(),
            gradient: None,
            settled_by: None,
        };
        let Some(placed) = m.place(&self.problem.layout) else {
            out.settled_by = Some(speed_reference(&self.ripple));
            return out;
        };
        let Some((mut interval, one_sided)) = self.interval(m, &placed) else {
            out.settled_by = Some(settled_by(m.name, &self.problem.models));
            return out;
        };
        let (_, gradient) = placed.value(&self.solution.x);
        out.profiled = self.profile_of(m).is_some();
        out.one_sided = one_sided;
        if out.profiled && !one_sided {
            out.spread = interval.standard_uncertainty / self.variance(&gradient).sqrt();
        }
        out.status =
            if is_electrical(m) && self.leans_on_a_prior(&placed, interval.value, &gradient) {
                out.settled_by = Some(settled_by(m.name, &self.problem.models));
                Status::FromPrior
            } else {
                Status::Measured
            };
        if let Some(disputed) = self.disputed.iter().find(|d| d.parameter == m.name) {
            interval = self.holding_both_sides(&interval, disputed);
            out.status = Status::InConflict;
            out.one_sided = false;
        }
        out.budget = self.budget(&gradient, self.variance(&gradient));
        if m.name == "brush_drop" && !one_sided {
            interval = self.with_contact_law(&interval, &mut out.budget);
        }
        out.estimate = Some(interval);
        out.at_25_c = self.at_reference(m.name, &interval);
        out.gradient = Some(gradient);
        out
    }

    /// The brush drop with what its law leaves open, in its interval and its budget.
    fn with_contact_law(&self, at: &Interval, budget: &mut Vec<(String, f64)>) -> Interval {
        let of_law = CONTACT_LAW * at.value;
        let u = at.standard_uncertainty.hypot(of_law);
        let share = (of_law / u).powi(2);
        budget.iter_mut().for_each(|(_, own)| *own *= 1.0 - share);
        let model = Source::Model.label();
        match budget.iter_mut().find(|(source, _)| *source == model) {
            Some((_, own)) => *own += share,
            None => budget.push((model, share)),
        }
        budget.sort_by(|a, b| b.1.total_cmp(&a.1));
        let reach = |end: f64| (end - at.value).hypot(self.z() * of_law);
        Interval {
            value: at.value,
            standard_uncertainty: u,
            lower: (at.value - reach(at.lower)).max(0.0),
            upper: at.value + reach(at.upper),
        }
    }

    /// The interval of a parameter and whether it is one-sided; `None` where the parameter is not determined.
    fn interval(&self, m: &Monomial, placed: &Placed) -> Option<(Interval, bool)> {
        let needs = |sought| m.logs.iter().any(|(kind, _)| *kind == sought);
        let unseen = needs(ParameterKind::LogInductance) && !self.inductance_seen
            || needs(ParameterKind::LogCapacitance) && !self.inertia_seen()
            || is_electrical(m) && !self.resistance_known()
            || is_friction(m) && !self.friction_seen();
        // A first guess that nothing touches must not pass for knowledge by way of what it is multiplied with.
        if unseen
            || !placed
                .entries()
                .all(|entry| self.covariance.is_touched(entry))
        {
            return None;
        }
        let (value, gradient) = placed.value(&self.solution.x);
        let variance = self.variance(&gradient);
        let plain = Plain {
            value,
            standard_uncertainty: variance.sqrt(),
            reach: self.profile_to_wald(self.profile_of(m), &gradient, variance),
        };
        let factor = placed.factor(&self.solution.x);
        let (interval, one_sided) = match placed.may_be_zero() {
            Some(entry) => self.not_negative(&plain, entry, factor)?,
            None => (self.positive(&plain), false),
        };
        let u = interval.standard_uncertainty;
        let unbounded = self
            .largest_possible(m)
            .is_some_and(|most| interval.upper > most * factor);
        let vague = placed.may_be_zero().is_none()
            && u.max(plain.standard_uncertainty) > LARGEST_RELATIVE * value;
        let known = u.is_finite() && u > 0.0 && !vague && !unbounded;
        known.then_some((interval, one_sided))
    }

    /// Whether a capture shows the speed change. The ripple of the speed within a switching period is no such change: it is smaller than what
    /// the iron does to the current, and would be taken for that.
    fn inertia_seen(&self) -> bool {
        self.problem.models.iter().any(|model| match model.role {
            Role::Start | Role::Brake | Role::RunDown => true,
            Role::Pwm => model.segments.first().map(|s| s.kind) == Some(SegmentKind::Rest),
            _ => false,
        })
    }

    /// Whether a capture shows the current of the free run, or friction follows from how the speed falls with an inertia that is known. A
    /// run-down alone gives friction over inertia only.
    fn friction_seen(&self) -> bool {
        let has_current =
            |s: &Segment| matches!(s.kind, SegmentKind::Connected | SegmentKind::Carried);
        let runs =
            |role: Role| matches!(role, Role::Start | Role::RunDown | Role::Steady | Role::Pwm);
        let mut models = self.problem.models.iter();
        models.any(|m| runs(m.role) && !m.held && m.segments.iter().any(has_current))
            || (self.inertia_seen() && self.is_known(&ParameterKind::LogCapacitance))
    }

    /// Whether what is positive by nature is known to less than half of itself.
    fn is_known(&self, logarithm: &ParameterKind) -> bool {
        let entry = self.problem.layout.find(logarithm);
        entry.is_some_and(|k| self.covariance.total[k.diagonal()].sqrt() <= LARGEST_RELATIVE)
    }

    /// Whether the resistance is known to less than half of itself. Where it is not, winding, contact and inductance share one voltage between
    /// them, and no small departure from the solution shows how they could. An inductance meter measures its share apart.
    fn resistance_known(&self) -> bool {
        let metered = |r: &ReadingTerm| matches!(r, ReadingTerm::Inductance(_));
        self.is_known(&ParameterKind::LogResistance) || self.problem.readings.iter().any(metered)
    }

    /// Whether a part of the loop's impedance that is positive by nature would not be determined were the priors of model terms (screening,
    /// saturation, the contact's current scale) ten times as wide.
    fn leans_on_a_prior(&self, placed: &Placed, value: f64, gradient: &DVector<f64>) -> bool {
        let variance = gradient.dot(&(self.covariance.weak_model_priors() * gradient));
        placed.may_be_zero().is_none() && variance.max(0.0).sqrt() > LARGEST_RELATIVE * value
    }

    fn variance(&self, gradient: &DVector<f64>) -> f64 {
        gradient.dot(&(&self.covariance.total * gradient)).max(0.0)
    }

    fn profile_of(&self, m: &Monomial) -> Option<&ProfileToWaldRatio> {
        self.profiles.iter().find(|p| p.parameter == m.name)
    }

    /// Normal quantile of the stated level.
    fn z(&self) -> f64 {
        normal_quantile(0.5 + 0.5 * self.options.level)
    }

    /// The interval of a parameter in conflict, with a standard uncertainty as wide.
    fn holding_both_sides(&self, at: &Interval, disputed: &Disputed) -> Interval {
        let (lower, upper) = (disputed.lower, disputed.upper);
        let half = (upper - at.value).max(at.value - lower);
        Interval {
            value: at.value,
            standard_uncertainty: at.standard_uncertainty.max(half / self.z()),
            lower,
            upper,
        }
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

    /// Interval of a parameter that is not negative, and whether it is one-sided: the plain interval where it stays clear of zero, else that of
    /// the part above zero of what everything else leaves it. `factor`: of the parameter over its entry.
    fn not_negative(&self, plain: &Plain, entry: Entry, factor: f64) -> Option<(Interval, bool)> {
        let Plain {
            value,
            standard_uncertainty: u,
            reach: [below, above],
        } = *plain;
        let z = self.z();
        let possible = self.covariance.possible();
        if self.covariance.is_free(entry) && possible.clearance(entry.index())? > z {
            let two_sided = Interval {
                value,
                standard_uncertainty: plain.spread(),
                lower: (value - below * z * u).max(0.0),
                upper: value + above * z * u,
            };
            return Some((two_sided, false));
        }
        let tail = possible.above_bound(entry.index())?;
        // Among several of which only the sum is known, the one that the solution gives it all may be all of it.
        let alone = self.covariance.conditional()[entry.diagonal()]
            .max(0.0)
            .sqrt();
        let all_of_it = value + factor * normal_quantile(self.options.level) * alone;
        let one_sided = Interval {
            value,
            standard_uncertainty: factor * tail.standard_deviation(),
            lower: 0.0,
            upper: (factor * tail.quantile(self.options.level)).max(all_of_it),
        };
        Some((one_sided, true))
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
            standard_uncertainty: plain.spread(),
            lower: value * (-below * z * relative).exp(),
            upper: value * (above * z * relative).exp(),
        }
    }

    /// Size that a parameter of the terminal domain which may be zero cannot exceed: friction takes less current than the largest
    /// seen, a brush drops less than the largest voltage. An interval that reaches beyond says nothing at all.
    pub(crate) fn largest_possible(&self, m: &Monomial) -> Option<f64> {
        let (current_a, voltage_v) = (self.largest_current_a, self.largest_voltage_v);
        match m.may_be_zero()? {
            ParameterKind::FrictionCurrent => Some(current_a),
            ParameterKind::ViscousConductance => Some(current_a / voltage_v),
            ParameterKind::Windage => Some(current_a / (voltage_v * voltage_v)),
            ParameterKind::BrushDrop => Some(voltage_v),
            _ => None,
        }
    }

    /// Share of a quantity's variance by source.
    fn budget(&self, gradient: &DVector<f64>, variance: f64) -> Vec<(String, f64)> {
        if variance <= 0.0 {
            return Vec::new();
        }
        let parts = self.covariance.parts(gradient).into_iter();
        let mut shares: Vec<(String, f64)> = parts
            .map(|(source, part)| (source.label(), (part / variance).max(0.0)))
            .collect();
        let sum: f64 = shares.iter().map(|s| s.1).sum();
        shares.iter_mut().for_each(|s| s.1 /= sum);
        shares.retain(|s| s.1 >= 5e-4);
        let kept: f64 = shares.iter().map(|s| s.1).sum();
        shares.iter_mut().for_each(|s| s.1 /= kept);
        shares.sort_by(|a, b| b.1.total_cmp(&a.1));
        shares
    }

    /// The value at 25 °C: copper for the resistance; the correction's uncertainty, and the share that is not copper, are part of the bound.
    fn at_reference(&self, name: &str, at: &Interval) -> Option<Interval> {
        let Stated {
            value: temperature,
            standard_uncertainty: u_temperature,
        } = self.temperature_c?;
        if name != "terminal_resistance" {
            return None;
        }
        let ratio = copper_ratio(temperature, REFERENCE_C);
        let relative_u = (copper_coefficient_per_k(temperature) * u_temperature)
            .hypot((ratio - 1.0) * self.other_share);
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
