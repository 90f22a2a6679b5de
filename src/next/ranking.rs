//! The candidates in the order of what they bring to a goal, and the best few on top of each other.
//!
//! A candidate's score is the mean of ln(bound after / bound now) over the goal's parameters, given as its exponential: 0.7 means
//! that the bounds shrink to 0.7 of today's in the geometric mean. A parameter that is undetermined now counts as uncertain by
//! its own size, so what settles it counts for much; one that stays undetermined counts as unchanged.

use super::candidates::{Candidate, Context, candidates};
use super::goal::Goal;
use crate::bench::{Bench, Reading, Role};
use crate::fit::{
    Addition, Estimate, ExpectedUncertainty, ExperimentDesign, Reported, Segment, SegmentKind,
    Status,
};
use crate::motor_file::ParameterName;
use crate::next::assumptions::machine::Machine;
use crate::next::assumptions::size::Size;
use crate::next::rig::{CaptureKind, Rig};
use crate::stats::quantiles::normal_quantile;
use rayon::prelude::*;
use serde::Serialize;

/// Scores above which a candidate is not worth the shot.
pub const LITTLE: f64 = 0.98;
/// Steps of the plan.
const STEPS: usize = 3;
/// Least that a parameter undetermined now may count as known to afterwards.
const SMALLEST: f64 = 1e-4;

/// One parameter as it is now.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Now {
    pub parameter: &'static str,
    pub unit: &'static str,
    /// Whether the goal asks for it.
    pub wanted: bool,
    /// Where its value comes from.
    pub status: &'static str,
    pub value: Option<f64>,
    pub standard_uncertainty: Option<f64>,
    pub lower: Option<f64>,
    pub upper: Option<f64>,
    /// True where only the upper bound counts.
    pub one_sided: bool,
    /// Share of the variance by source, largest first, adding up to 1.
    pub budget: Vec<Share>,
    /// The measurement that would help most.
    pub settled_by: Option<String>,
}

/// One source of uncertainty.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Share {
    pub source: String,
    /// Its share of the variance.
    pub share: f64,
}

/// A candidate with what it brings.
#[derive(Clone, Debug, Serialize)]
pub struct Ranked {
    #[serde(flatten)]
    pub candidate: Candidate,
    /// Geometric mean of the bounds' ratios over the goal.
    pub score: f64,
    /// Expected uncertainties afterwards.
    pub after: Vec<ExpectedUncertainty>,
    /// The noise of a channel was assumed, no capture shows it.
    pub noise_assumed: bool,
}

impl Ranked {
    /// In the bench sheet, of a capture.
    pub fn role(&self) -> Option<&'static str> {
        self.candidate.advice.as_ref().map(|advice| advice.role)
    }
}

/// One step of the plan, on top of those before it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Step {
    pub key: String,
    pub title: String,
    /// Of all steps so far against now.
    pub score: f64,
    /// Expected uncertainties afterwards.
    pub after: Vec<ExpectedUncertainty>,
}

/// What to measure next.
#[derive(Clone, Debug, Serialize)]
#[non_exhaustive]
pub struct Ranking {
    /// The motor's name.
    pub motor: String,
    /// What is wanted.
    pub goal: String,
    /// Level of the intervals.
    pub level: f64,
    /// The fitted motor.
    pub machine: Machine,
    /// The parameters as they are.
    pub now: Vec<Now>,
    /// What could be done, the best first.
    pub candidates: Vec<Ranked>,
    /// The best few one after the other.
    pub plan: Vec<Step>,
    /// Why candidates are missing.
    pub remarks: Vec<String>,
    /// What the expected intervals cannot show.
    pub notes: Vec<String>,
}

impl Ranking {
    /// Factor from standard uncertainty to the half width of an interval.
    pub fn coverage_factor(&self) -> f64 {
        normal_quantile(0.5 + 0.5 * self.level)
    }
}

/// What is asked.
#[derive(Clone, Debug, PartialEq)]
pub struct Question {
    /// What is wanted.
    pub goal: Goal,
    /// Supply voltage in V.
    pub supply_v: f64,
    /// Outer size.
    pub size: Size,
}

/// Largest voltage that drove the motor in a capture, inductive spikes left aside.
pub fn driven_v(estimate: &Estimate) -> Option<f64> {
    estimate
        .segments
        .iter()
        .flatten()
        .filter(|segment| segment.kind == SegmentKind::Connected)
        .flat_map(|segment| &segment.bins)
        .map(|bin| bin.voltage_v.abs())
        .filter(|v| v.is_finite() && *v > 0.0)
        .reduce(f64::max)
}

/// Ranks what could come next for a fitted bench.
pub fn rank(bench: &Bench, estimate: &Estimate, question: &Question) -> Ranking {
    let design = ExperimentDesign::new(bench, estimate);
    let rig = Rig::new(bench, design.motor());
    let machine = Machine::fitted(
        question.supply_v,
        &design,
        &rig,
        &question.size,
        bench.motor.commutator_segments,
    );
    let context = Context {
        bench,
        estimate,
        design: &design,
        rig: &rig,
        machine: &machine,
    };
    let reported = design.reported();
    let mut ranked: Vec<Ranked> = candidates(&context)
        .into_par_iter()
        .filter_map(|candidate| {
            let expected = design.expect(&candidate.addition)?;
            Some(Ranked {
                score: score(&expected.uncertainties, reported, &question.goal),
                after: expected.uncertainties,
                noise_assumed: expected.noise_assumed,
                candidate,
            })
        })
        .collect();
    ranked.sort_by(|a, b| {
        let by_score = a.score.total_cmp(&b.score);
        by_score.then_with(|| a.candidate.key.cmp(&b.candidate.key))
    });
    let plan = plan(&design, &ranked, &question.goal);
    let mut remarks = Vec::new();
    let further = rig.capture("trial", CaptureKind::Steady, question.supply_v, None);
    if further.is_none() {
        remarks.push(
            "no recorded capture has both voltage and current, so no further capture can be foreseen; record both at the motor"
                .into(),
        );
    }
    Ranking {
        motor: bench.motor.name.clone(),
        goal: question.goal.label(),
        level: estimate.options.level,
        machine,
        now: reported.iter().map(|r| now(r, &question.goal)).collect(),
        candidates: ranked,
        plan,
        remarks,
        notes: one_direction(estimate).into_iter().collect(),
    }
}

/// A note where every driven capture turns the motor the same way: brushes beside neutral show only in the other direction, by currents that
/// magnetise there and demagnetise here.
fn one_direction(estimate: &Estimate) -> Option<String> {
    let of_capture = |segments: &Vec<Segment>| {
        let connected = segments
            .iter()
            .filter(|s| s.kind == SegmentKind::Connected)
            .flat_map(|s| &s.bins);
        let sum: f64 = connected.map(|bin| bin.voltage_v * bin.width_s).sum();
        (sum.is_finite() && sum != 0.0).then_some(sum > 0.0)
    };
    let models = estimate.problem.models.iter().zip(&estimate.segments);
    let driven = models.filter(|(model, _)| matches!(model.role, Role::Start | Role::Steady));
    let mut ways = driven.filter_map(|(_, segments)| of_capture(segments));
    let first = ways.next()?;
    ways.all(|way| way == first).then(|| {
        "every start turns the motor the same way. Brushes beside neutral give another K under load in the other direction: a start with the two motor leads exchanged, probes left where they are, would show it"
            .into()
    })
}

/// Geometric mean of what becomes of the goal's bounds.
pub fn score(uncertainties: &[ExpectedUncertainty], reported: &[Reported], goal: &Goal) -> f64 {
    let logs: Vec<f64> = uncertainties
        .iter()
        .zip(reported)
        .filter(|(o, _)| ParameterName::from_key(o.name).is_some_and(|name| goal.wants(name)))
        .map(|(o, now)| match (o.ratio, now.status) {
            (Some(ratio), _) => ratio.ln(),
            (None, Status::Measured) => 0.0,
            (None, _) if o.newly_determined => o.relative.unwrap_or(1.0).clamp(SMALLEST, 1.0).ln(),
            (None, _) => 0.0,
        })
        .collect();
    (logs.iter().sum::<f64>() / logs.len().max(1) as f64).exp()
}

/// The best few, each on top of those before it.
fn plan(design: &ExperimentDesign<'_>, ranked: &[Ranked], goal: &Goal) -> Vec<Step> {
    let reported = design.reported();
    let mut steps: Vec<Step> = Vec::new();
    let mut so_far = Addition::default();
    let mut reached = 1.0;
    while steps.len() < STEPS {
        let best = ranked
            .par_iter()
            .map(|r| &r.candidate)
            .filter(|c| steps.iter().all(|s| s.key != c.key))
            .filter_map(|c| {
                let together = joined(&so_far, &c.addition, steps.len());
                let after = design.expect(&together)?.uncertainties;
                Some((score(&after, reported, goal), c, together, after))
            })
            .min_by(|a, b| a.0.total_cmp(&b.0).then_with(|| a.1.key.cmp(&b.1.key)));
        let Some((score, candidate, together, after)) = best.filter(|b| b.0 <= LITTLE * reached)
        else {
            break;
        };
        reached = score;
        so_far = together;
        steps.push(Step {
            key: candidate.key.clone(),
            title: candidate.title.clone(),
            score,
            after,
        });
    }
    steps
}

/// Both additions; captures of the second get names of their own.
fn joined(first: &Addition, second: &Addition, step: usize) -> Addition {
    let mut out = first.clone();
    out.assumed_constant_v_s_per_rad = second.assumed_constant_v_s_per_rad;
    let named = |name: &str| format!("{name} (step {})", step + 1);
    for planned in &second.captures {
        let mut planned = planned.clone();
        planned.capture.name = named(&planned.capture.name);
        out.captures.push(planned);
    }
    for reading in &second.readings {
        let mut reading = reading.clone();
        if let Reading::Speed {
            capture: Some(name),
            ..
        } = &mut reading
            && second.captures.iter().any(|c| c.capture.name == *name)
        {
            *name = named(name);
        }
        out.readings.push(reading);
    }
    out.tables.extend_from_slice(&second.tables);
    out.gains.extend_from_slice(&second.gains);
    out.ripple.extend_from_slice(&second.ripple);
    out
}

fn now(r: &Reported, goal: &Goal) -> Now {
    let name = ParameterName::from_key(r.name);
    let at = r.estimate;
    Now {
        parameter: r.name,
        unit: name.map_or("", ParameterName::si),
        wanted: name.is_some_and(|n| goal.wants(n)),
        status: match r.status {
            Status::Measured => "measured",
            Status::FromPrior => "from_prior",
            Status::InConflict => "in_conflict",
            Status::Undetermined => "undetermined",
        },
        value: at.map(|a| a.value),
        standard_uncertainty: at.map(|a| a.standard_uncertainty),
        lower: at.map(|a| a.lower),
        upper: at.map(|a| a.upper),
        one_sided: r.one_sided,
        budget: r
            .budget
            .iter()
            .map(|(source, share)| Share {
                source: source.clone(),
                share: *share,
            })
            .collect(),
        settled_by: r.settled_by.clone(),
    }
}
