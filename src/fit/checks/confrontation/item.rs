//! What the fit takes from outside its captures, one item each: a reading or speed reference, and the stated accuracy of an instrument.

use super::deletion::{Dropped, Point, leverage};
use crate::bench::Bench;
use crate::fit::confrontation::EvidenceKind;
use crate::fit::problem::Problem;
use crate::fit::references::{Group, ReadingTerm, Term};
use crate::fit::unknowns::{ParameterKind, ShaftUnknown};

/// Standard uncertainty (relative) of what the others predict of a reading above which they do not know it.
const KNOWN: f64 = 0.3;

/// Share of a stated accuracy that the others must be able to narrow it by before they predict anything of it.
const NARROWED: f64 = 1e-3;

/// Standard uncertainty of what the others predict of a gain above which they do not know it: then only the priors of the model and weak readings
/// do, and to first order they put it anywhere (common practice, no source).
const KNOWN_GAIN: f64 = 0.1;

/// Name of a capture in the table.
pub fn capture_item(name: &str) -> String {
    format!("capture {name}")
}

/// What is confronted, with its place in the problem.
#[derive(Clone, Debug)]
pub struct Item {
    pub dropped: Dropped,
    pub kind: EvidenceKind,
    /// E.g. `tachometer (coast)`.
    pub name: String,
    /// The reading of a [`Dropped::Reading`].
    pub term: Option<ReadingTerm>,
    /// The residuals of a [`Dropped::Group`].
    pub members: Vec<ReadingTerm>,
}

/// Every item of a problem.
pub fn items(problem: &Problem, bench: &Bench) -> Vec<Item> {
    let alone = problem.readings.iter().enumerate();
    let alone = alone.filter(|(_, term)| term.group().is_none());
    let readings = alone.map(|(k, term)| Item {
        dropped: Dropped::Reading(k),
        kind: match term {
            ReadingTerm::Resistance(_) | ReadingTerm::Inductance(_) => EvidenceKind::Reading,
            _ => EvidenceKind::SpeedReference,
        },
        name: term.item(&problem.models),
        term: Some(term.clone()),
        members: Vec::new(),
    });
    let groups = groups(problem);
    let priors = problem.layout.entries().filter_map(|(entry, parameter)| {
        let (kind, name) = stated_entry(&parameter.kind, bench)?;
        (parameter.prior.is_some() && !problem.frozen(entry)).then_some(Item {
            dropped: Dropped::Prior(entry),
            kind,
            name,
            term: None,
            members: Vec::new(),
        })
    });
    readings.chain(groups).chain(priors).collect()
}

/// One item for each group of residuals.
fn groups(problem: &Problem) -> Vec<Item> {
    let mut out: Vec<Item> = Vec::new();
    for term in &problem.readings {
        let Some(group) = term.group() else {
            continue;
        };
        let dropped = Dropped::Group(group);
        match out.iter_mut().find(|item| item.dropped == dropped) {
            Some(item) => item.members.push(term.clone()),
            None => out.push(Item {
                dropped,
                kind: match group {
                    Group::Table(_) => EvidenceKind::Reading,
                    Group::Shaft(_) => EvidenceKind::SpeedReference,
                },
                name: term.item(&problem.models),
                term: None,
                members: vec![term.clone()],
            }),
        }
    }
    out
}

/// Kind and name of an entry that an instrument's or a person's statement limits.
fn stated_entry(kind: &ParameterKind, bench: &Bench) -> Option<(EvidenceKind, String)> {
    let capture = |k: usize| bench.captures.get(k).map_or("", |c| &c.name);
    let instrument = |k: usize| bench.instruments.get(k).map_or("", |i| &i.name);
    let name = match kind {
        ParameterKind::Attached { capture: k } => {
            let what = format!("load or inertia ({})", capture(*k));
            return Some((EvidenceKind::SpeedReference, what));
        }
        ParameterKind::LogBrushScale => {
            return Some((EvidenceKind::Contact, "contact of the brushes".to_owned()));
        }
        ParameterKind::Gain {
            instrument: k,
            column,
        } => match column {
            Some(column) => format!("gain of {}, {column}", instrument(*k)),
            None => format!("gain of {}", instrument(*k)),
        },
        ParameterKind::MeterError { quantity, meter } => {
            let meter = meter.as_deref().unwrap_or("the meter");
            format!("{meter}, every {}", quantity.name())
        }
        ParameterKind::MeterZero { quantity, meter } => {
            let meter = meter.as_deref().unwrap_or("the meter");
            format!("zero of {meter}, {}", quantity.name())
        }
        ParameterKind::Shaft { channel, of } => match of {
            ShaftUnknown::Gain => format!("constant of {channel}"),
            ShaftUnknown::Delay => format!("delay of {channel}"),
        },
        ParameterKind::ProbeLag { instrument: k } => format!("bandwidth of {}", instrument(*k)),
        ParameterKind::Skew { instrument: k } => format!("delay of {}", instrument(*k)),
        ParameterKind::Source { capture: k } => format!("source voltage ({})", capture(*k)),
        ParameterKind::Duty { capture: k } => format!("duty of the bridge ({})", capture(*k)),
        ParameterKind::SeriesDiode { capture: k } => format!("diode ({})", capture(*k)),
        ParameterKind::Loop { capture: k } => format!("loop resistance ({})", capture(*k)),
        _ => return None,
    };
    Some((EvidenceKind::Instrument, name))
}

/// What the others predict of an item.
#[derive(Clone, Copy, Debug)]
pub struct Predicted {
    /// Stated less predicted over the standard uncertainty of the difference.
    pub deviation: f64,
    /// Residual of the item where it has no part in the fit, in units of its own standard uncertainty.
    pub residual: f64,
    /// Standard uncertainty of that.
    pub spread: f64,
}

impl Item {
    /// The row of this item at a point, whether or not it took part there.
    pub fn row(&self, problem: &Problem, at: &Point) -> Option<Term> {
        match (&self.term, self.dropped) {
            (Some(term), _) => term.evaluate(&at.x, &at.predictions),
            (None, Dropped::Prior(entry)) => {
                let (mean, sd) = problem.layout[entry].prior?;
                Some(Term {
                    residual: (at.x[entry] - mean) / sd,
                    gradient: vec![(entry, 1.0 / sd)],
                })
            }
            _ => None,
        }
    }

    /// Stated standard uncertainty of a gain.
    fn gain_sd(&self, problem: &Problem) -> Option<f64> {
        let Dropped::Prior(entry) = self.dropped else {
            return None;
        };
        let parameter = &problem.layout[entry];
        let is_gain = matches!(parameter.kind, ParameterKind::Gain { .. });
        parameter.prior.filter(|_| is_gain).map(|(_, sd)| sd)
    }

    /// To first order, at a minimum that the item has helped to make. `departure`: share of a voltage by which the model departs from the records.
    pub fn predicted_within(
        &self,
        problem: &Problem,
        at: &Point,
        departure: f64,
    ) -> Option<Predicted> {
        let row = self.row(problem, at)?;
        let left = 1.0 - leverage(&at.covariance, &row.gradient);
        let residual = row.residual / left;
        self.compared(problem, residual, 1.0 / left - 1.0, departure)
    }

    /// At a minimum without the item.
    pub fn predicted_without(
        &self,
        problem: &Problem,
        at: &Point,
        departure: f64,
    ) -> Option<Predicted> {
        let row = self.row(problem, at)?;
        if row
            .gradient
            .iter()
            .any(|(entry, _)| at.unseen.contains(entry))
        {
            return None;
        }
        let variance = leverage(&at.covariance, &row.gradient);
        self.compared(problem, row.residual, variance, departure)
    }

    /// `variance`: of what the others predict, in that of the item.
    fn compared(
        &self,
        problem: &Problem,
        residual: f64,
        variance: f64,
        departure: f64,
    ) -> Option<Predicted> {
        // A drop that is flat from a smaller current on acts as the usual one.
        if self.kind == EvidenceKind::Contact && residual < 0.0 {
            return None;
        }
        let sd = self.term.as_ref().map(ReadingTerm::relative_sd);
        // One less the leverage.
        let left = 1.0 / (1.0 + variance);
        let known = match (sd, self.gain_sd(problem)) {
            (Some(sd), _) => left > 1e-9 && variance.sqrt() * sd < KNOWN,
            (None, Some(sd)) => left > NARROWED && variance.sqrt() * sd < KNOWN_GAIN,
            (None, None) => left > NARROWED,
        };
        if !known {
            return None;
        }
        let departs = match self.kind {
            EvidenceKind::SpeedReference => sd.map_or(0.0, |sd| departure / sd),
            _ => 0.0,
        };
        let spread = (1.0 + variance + departs * departs).sqrt();
        let sign = self.term.as_ref().map_or(1.0, |term| term.value().1);
        Some(Predicted {
            deviation: -sign * residual / spread,
            residual,
            spread,
        })
    }
}
