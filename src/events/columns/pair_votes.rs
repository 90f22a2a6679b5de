//! Which of two channels is the voltage: evidence from units, names and behaviour.

use super::candidate::Candidate;
use super::column_kind::stated;
use super::computed::{Computed, is_constant};
use super::ground::ColumnGround as Ground;
use crate::events::trace::series::Series;
use crate::events::trace::shape::Shape;

/// So many channels are compared two by two: the effort and the chance of a wrong pair grow with the square of their number.
const MOST_COMPARED: usize = 12;

/// Weight of the behaviour that shows a current without any word for it, at the least.
const CONVINCING: f64 = 1.0;

/// The ordered pair with the highest vote. The current is left out where neither unit nor name nor behaviour shows it.
pub(crate) fn best_pair<'a, 'b>(
    several: &'b [Candidate<'a>],
    reasons: &mut Vec<Ground>,
) -> (Option<&'b Candidate<'a>>, Option<&'b Candidate<'a>>, f64) {
    let compared = worth_comparing(several);
    if compared.len() < 2 {
        let channels = several.len();
        reasons.push(Ground::TooMany { channels });
        return (None, None, 0.0);
    }
    let computed = Computed::find(&compared);
    let mut best: Option<(f64, &Candidate, &Candidate, Vec<Ground>)> = None;
    for (a, voltage) in compared.iter().enumerate() {
        for (b, current) in compared.iter().enumerate() {
            let forbidden = computed
                .as_ref()
                .is_some_and(|c| c.forbids(&compared, a, b));
            let still = is_constant(current) && current.channel.unit.as_deref() != Some("A");
            if a == b || forbidden || still {
                continue;
            }
            let mut grounds = Vec::new();
            let vote = pair_vote(voltage, current, &mut grounds);
            if best.as_ref().is_none_or(|x| vote > x.0) {
                best = Some((vote, voltage, current, grounds));
            }
        }
    }
    let voltage_alone = computed.as_ref().map(|c| compared[c.channel]);
    reasons.extend(computed.as_ref().map(|c| c.reason(&compared)));
    let Some((vote, voltage, current, grounds)) = best else {
        let changes = || compared.iter().copied().find(|c| !is_constant(c));
        return (voltage_alone.or_else(changes), None, 0.4);
    };
    let confidence = 1.0 / (1.0 + (-vote).exp());
    let (v, i) = (voltage.channel, current.channel);
    let shown = stated(i) > 0.0 || vote - stated(i) + stated(v) >= CONVINCING;
    if shown || i.unit.is_some() && computed.is_none() {
        reasons.extend(grounds);
        return (Some(voltage), Some(current), confidence);
    }
    reasons.push(Ground::NoCurrent {
        name: i.name.clone(),
        column: i.column,
    });
    let confidence = if stated(v) < 0.0 { 0.7 } else { 0.4 };
    (voltage_alone.or(Some(voltage)), None, confidence)
}

/// All, where they are few. Among many, unlike ones would look like voltage and current by chance: only those that a unit or a
/// name tells apart from the others.
fn worth_comparing<'a, 'b>(several: &'b [Candidate<'a>]) -> Vec<&'b Candidate<'a>> {
    let told = |least: f64| -> Vec<&Candidate> {
        several
            .iter()
            .filter(|c| stated(c.channel).abs() >= least)
            .collect()
    };
    [0.0, 0.5, 2.0]
        .into_iter()
        .map(told)
        .find(|compared| compared.len() <= MOST_COMPARED)
        .unwrap_or_default()
}

/// Weight of evidence, in natural units of a log ratio by judgement, that `v` is the voltage and `i` the current.
fn pair_vote(v: &Candidate, i: &Candidate, grounds: &mut Vec<Ground>) -> f64 {
    let words = stated(i.channel) - stated(v.channel);
    if words.abs() >= 2.0 {
        let unit = |c: &Candidate| c.channel.unit.as_deref().unwrap_or("no unit").to_owned();
        let (voltage, current) = names(v, i);
        let (voltage_unit, current_unit) = (unit(v), unit(i));
        grounds.push(Ground::Stated {
            voltage,
            voltage_unit,
            current,
            current_unit,
        });
    }
    words + behaviour(v, i, grounds) - behaviour(i, v, &mut Vec::new())
}

/// One-sided behaviour votes that `v` is the voltage and `i` the current; each looks at one trait that the physics gives.
fn behaviour(v: &Candidate, i: &Candidate, grounds: &mut Vec<Ground>) -> f64 {
    [
        source_holds_voltage(v, i),
        current_brakes(v, i),
        current_is_inrush(v, i),
        current_rises_slowly(v, i),
        voltage_jumps(v, i),
        current_ends_first(v, i),
    ]
    .into_iter()
    .flatten()
    .map(|(vote, ground)| {
        grounds.push(ground);
        vote
    })
    .sum()
}

fn names(v: &Candidate, i: &Candidate) -> (String, String) {
    (v.channel.name.clone(), i.channel.name.clone())
}

/// Ripple: the source holds the voltage, commutation modulates the current.
fn source_holds_voltage(v: &Candidate, i: &Candidate) -> Option<(f64, Ground)> {
    let relative = |s: &Shape| {
        (s.head_mean.abs() > 4.0 * s.sigma && s.head_mean.abs() > 0.003 * s.top())
            .then(|| (s.head_ripple.powi(2) - s.sigma.powi(2)).max(0.0).sqrt() / s.head_mean.abs())
    };
    let (rv, ri) = (relative(&v.shape)?, relative(&i.shape)?);
    let holds =
        ri > 0.02_f64.max(2.0 * rv) && (i.shape.jumps < 8 || i.shape.jump < 3.0 * v.shape.jump);
    let (voltage, current) = names(v, i);
    let ground = Ground::SourceHolds {
        voltage,
        voltage_ripple: rv,
        current,
        current_ripple: ri,
    };
    holds.then_some((2.0, ground))
}

/// How far a trace goes against its first direction for a while, as a share of its size.
fn against(s: &Shape, x: &Series) -> f64 {
    let low = x.quantile(0, x.len(), 0.12).unwrap_or(0.0) * s.head_mean.signum();
    -low / s.top().max(f64::MIN_POSITIVE)
}

/// Braking: only a current turns against its first direction and stays there a while.
fn current_brakes(v: &Candidate, i: &Candidate) -> Option<(f64, Ground)> {
    let brakes = v.shape.head_mean.abs() > 0.5 * v.shape.top()
        && against(&i.shape, &i.series) > 0.1
        && against(&v.shape, &v.series) < 0.05;
    let (voltage, current) = names(v, i);
    brakes.then_some((2.5, Ground::Brakes { voltage, current }))
}

fn begin_at_rest(v: &Candidate, i: &Candidate) -> bool {
    let rests = |s: &Shape| s.head.abs() < 0.1 * s.top();
    rests(&v.shape) && rests(&i.shape)
}

/// Last level as a share of the peak's.
fn stays(s: &Shape) -> f64 {
    (s.tail / s.peak_level()).abs()
}

/// Step: after a contact closes the voltage stays and the current peaks and fades.
fn current_is_inrush(v: &Candidate, i: &Candidate) -> Option<(f64, Ground)> {
    let inrush = begin_at_rest(v, i) && stays(&v.shape) > 0.6 && stays(&i.shape) < 0.5;
    let (voltage, current) = names(v, i);
    let kept = stays(&i.shape);
    let ground = Ground::Inrush {
        voltage,
        current,
        kept,
    };
    inrush.then_some((3.0, ground))
}

/// The source steps at once, the current rises with the electrical time constant.
fn current_rises_slowly(v: &Candidate, i: &Candidate) -> Option<(f64, Ground)> {
    if !(begin_at_rest(v, i) && stays(&v.shape) > 0.4 && stays(&i.shape) > 0.4) {
        return None;
    }
    let rise = |c: &Candidate| {
        let (zero, top) = (c.shape.head, c.shape.peak_from(c.shape.head));
        let part = |k: usize| (c.series.at(k) - zero) / top;
        let reached = (0..c.series.len()).find(|&k| part(k) > 0.7).unwrap_or(0);
        let left = (0..reached).rev().find(|&k| part(k) < 0.2).unwrap_or(0);
        reached - left
    };
    let (rows_v, rows_i) = (rise(v), rise(i));
    let (voltage, current) = names(v, i);
    let ground = Ground::RisesSlowly {
        voltage,
        voltage_rows: rows_v,
        current,
        current_rows: rows_i,
    };
    (rows_i > 3 * rows_v + 3).then_some((2.5, ground))
}

/// Inductance keeps the current from jumping, except where its lead is opened.
fn voltage_jumps(v: &Candidate, i: &Candidate) -> Option<(f64, Ground)> {
    let (vs, is) = (&v.shape, &i.shape);
    let (jv, ji) = (vs.jump, is.jump);
    let ends_at_zero =
        is.tail.abs() < 0.02 * is.top().max(is.head.abs()) || is.tail.abs() < 4.0 * is.sigma;
    let opened = vs.head_mean.abs() > 0.5 * vs.top() && ends_at_zero && !begin_at_rest(v, i);
    let jumps = jv > 0.5 && jv > 3.0 * ji && !(opened && against(is, &i.series) < 0.1 && ji > 0.3);
    let (voltage, current) = names(v, i);
    let ground = Ground::Jumps {
        voltage,
        voltage_jump: jv,
        current,
        current_jump: ji,
    };
    jumps.then_some((1.5, ground))
}

/// Run-down: the current is gone at once, the back-EMF fades.
fn current_ends_first(v: &Candidate, i: &Candidate) -> Option<(f64, Ground)> {
    let quarter = |x: &Series| {
        let n = x.len();
        (
            x.median(n / 4, n / 2).unwrap_or(0.0),
            x.median(n - n / 10 - 1, n).unwrap_or(0.0),
        )
    };
    let is = &i.shape;
    let ((va, vb), (ia, ib)) = (quarter(&v.series), quarter(&i.series));
    let v_moves = (va - vb).abs() > 0.1 * v.shape.top() && va.abs() > vb.abs();
    let i_rests = (ia - ib).abs() < 1.5 * is.sigma.max(0.01 * is.top())
        && ia.abs() < 0.7 * is.head_mean.abs()
        && (is.head_mean - ia).abs() > 2.0 * is.sigma;
    let (voltage, current) = names(v, i);
    (v_moves && i_rests).then_some((3.0, Ground::EndsFirst { voltage, current }))
}
