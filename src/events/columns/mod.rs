//! Which channel of a record is the motor's voltage, which its current, and which way round they stand.

use crate::bench::{Role, Trace, Waveform};
use crate::capture::{self, Channel, Codes, Record};
use crate::events::find::find_in;
use crate::events::roles::guess::{RoleGuess, guess_role_in};
use crate::events::stretches::{OpenStretch, open_rows};
use crate::events::timeline::Timeline;
use crate::events::trace::series::Series;
use crate::events::trace::shape::Shape;
use crate::events::trace::view::{View, sampling_interval};
use rayon::prelude::*;

/// A guess which columns to use, with its grounds.
#[derive(Clone, Debug, PartialEq)]
pub struct ColumnGuess {
    /// Index into [`Record::channels`] of the terminal voltage.
    pub voltage: Option<usize>,
    /// Index into [`Record::channels`] of the current (perhaps still in volts across a shunt).
    pub current: Option<usize>,
    /// The voltage is negative while the source drives.
    pub voltage_reversed: bool,
    /// The current is negative while the source drives (or positive while the motor brakes).
    pub current_reversed: bool,
    /// The current column states volts: a shunt or probe factor is still to be applied.
    pub current_in_volts: bool,
    /// Between 0 and 1; a judgement by margins, no probability.
    pub confidence: f64,
    /// One sentence a ground, with names and numbers.
    pub reasons: Vec<String>,
    /// The role that the chosen columns show.
    pub role: RoleGuess,
}

impl ColumnGuess {
    /// The chosen columns of `record` as they were recorded: no polarity turned, no scale applied.
    pub fn waveform(&self, record: &Record) -> Waveform {
        let trace = |index: Option<usize>| {
            let channel = record.channels.get(index?)?;
            let codes = capture::codes(&channel.values, &channel.overrange);
            Some(Trace {
                clipped: codes.clipped,
                quantisation_step: codes.step,
                values: channel.values.clone(),
            })
        };
        Waveform {
            time: record.time.clone(),
            voltage_v: trace(self.voltage),
            current_a: trace(self.current),
        }
    }
}

/// A guess of the columns of one record with what was worked out for it.
pub struct Guessed<'a> {
    /// The chosen columns with their signs and grounds.
    pub columns: ColumnGuess,
    record: &'a Record,
    voltage: Option<Series<'a>>,
    current: Option<Series<'a>>,
}

impl<'a> Guessed<'a> {
    /// The events in the chosen columns, as [`crate::events::find()`] finds them in [`ColumnGuess::waveform`], without a copy of the
    /// columns. `codes` are those of the record's channels, in their order.
    pub fn events(&self, codes: &'a [Codes], role: Role) -> Timeline {
        let raw = |index: Option<usize>| Some(self.record.channels.get(index?)?.values.as_slice());
        let series = |series: &Option<Series<'a>>, index: Option<usize>| {
            let codes = codes.get(index?)?;
            Some(series.clone()?.with(codes.step, &codes.clipped))
        };
        let ColumnGuess {
            voltage, current, ..
        } = self.columns;
        let view = View {
            time: &self.record.time,
            rows: self.record.time.len(),
            step_s: sampling_interval(&self.record.time),
            raw_v: raw(voltage),
            raw_i: raw(current),
            v: series(&self.voltage, voltage),
            i: series(&self.current, current),
        };
        find_in(view, role)
    }

    /// The guess alone, without what was worked out on the way.
    pub fn into_columns(self) -> ColumnGuess {
        self.columns
    }

    /// The open stretch of the chosen voltage, as [`crate::events::open_stretch()`] finds it in [`ColumnGuess::waveform`], without a copy
    /// of the columns.
    pub fn open_stretch(&self, codes: &[Codes], timeline: &Timeline) -> Option<OpenStretch<'a>> {
        let index = self.columns.voltage?;
        let (record, codes) = (self.record, codes.get(index)?);
        let values = &record.channels.get(index)?.values;
        let mut open = open_rows(&record.time, values, &codes.clipped, timeline)?;
        open.quantisation_step_v = codes.step;
        Some(open)
    }
}

/// A channel that holds numbers.
struct Candidate<'a> {
    index: usize,
    channel: &'a Channel,
    series: Series<'a>,
    shape: Shape,
}

/// Guesses voltage and current among the channels of a record by unit, name and behaviour.
///
/// A stated unit other than volt or ampere takes a channel out. Amplitude alone decides nothing.
pub fn guess_columns(record: &Record) -> ColumnGuess {
    guess(record).columns
}

/// As [`guess_columns`], for a caller that asks for the events too.
pub fn guess(record: &Record) -> Guessed<'_> {
    let candidates: Vec<Candidate> = record
        .channels
        .par_iter()
        .enumerate()
        .filter(|(_, c)| matches!(c.unit.as_deref(), None | Some("V" | "A")))
        .filter_map(|(index, channel)| {
            let series = Series::of(
                &channel.values,
                code_step(&channel.values),
                overrange_flags(channel).into(),
                channel.missing == 0,
            )?;
            (series.len() >= 8).then(|| Candidate {
                index,
                channel,
                shape: Shape::of(&series),
                series,
            })
        })
        .collect();
    let mut reasons = Vec::new();
    let (voltage, current, confidence) = match candidates.as_slice() {
        [] => {
            reasons.push("no channel in volts, amperes or without unit holds numbers".to_owned());
            (None, None, 0.0)
        }
        [only] => single(only, &mut reasons),
        several => best_pair(several, &mut reasons),
    };
    let role = guess_role_in(View {
        time: &record.time,
        rows: record.time.len(),
        step_s: sampling_interval(&record.time),
        raw_v: voltage.map(|c| c.channel.values.as_slice()),
        raw_i: current.map(|c| c.channel.values.as_slice()),
        v: voltage.map(|c| c.series.clone()),
        i: current.map(|c| c.series.clone()),
    });
    let voltage_reversed =
        voltage.is_some_and(|c| driving_sign(&c.shape, &c.series, role.role) < 0.0);
    let current_reversed = current.is_some_and(|c| current_sign(&c.shape, role.role) < 0.0);
    for (reversed, candidate, what) in [
        (voltage_reversed, voltage, "voltage"),
        (current_reversed, current, "current"),
    ] {
        if let (true, Some(c)) = (reversed, candidate) {
            reasons.push(format!(
                "the {what} in `{}` is negative while the source drives: turn its polarity",
                c.channel.name
            ));
        }
    }
    let current_in_volts = current.is_some_and(|c| c.channel.unit.as_deref() == Some("V"));
    if let (true, Some(c)) = (current_in_volts, current) {
        reasons.push(format!(
            "`{}` states volts but behaves as the current: divide by the shunt resistance or probe factor",
            c.channel.name
        ));
    }
    Guessed {
        columns: ColumnGuess {
            voltage: voltage.map(|c| c.index),
            current: current.map(|c| c.index),
            voltage_reversed,
            current_reversed,
            current_in_volts,
            confidence,
            reasons,
            role,
        },
        record,
        voltage: voltage.map(|c| c.series.clone()),
        current: current.map(|c| c.series.clone()),
    }
}

/// Rows with an overrange mark; empty where there is none.
fn overrange_flags(channel: &Channel) -> Vec<bool> {
    let mut clipped = Vec::new();
    for (row, _) in &channel.overrange {
        clipped.resize(channel.values.len(), false);
        if let Some(flag) = clipped.get_mut(*row) {
            *flag = true;
        }
    }
    clipped
}

/// Smallest difference between neighbours where few enough values occur; `None` for continuous data.
fn code_step(values: &[f64]) -> Option<f64> {
    let stride = values.len().div_ceil(20_000).max(1);
    let mut kept: Vec<f64> = values
        .iter()
        .step_by(stride)
        .copied()
        .filter(|v| v.is_finite())
        .collect();
    kept.sort_unstable_by(f64::total_cmp);
    let span = kept.last()? - kept.first()?;
    kept.dedup_by(|a, b| (*a - *b).abs() <= 1e-9 * span);
    if kept.len() < 2 || kept.len() > 1500 {
        return None;
    }
    // Text rounding makes some steps a little small: the 20 % quantile is a step that occurs.
    let mut steps: Vec<f64> = kept.windows(2).map(|w| w[1] - w[0]).collect();
    let place = steps.len() / 5;
    Some(*steps.select_nth_unstable_by(place, f64::total_cmp).1)
}

/// What unit and name say: above 0 for current, below 0 for voltage.
fn stated(channel: &Channel) -> f64 {
    let unit = match channel.unit.as_deref() {
        Some("A") => 6.0,
        Some("V") => -0.5,
        _ => 0.0,
    };
    let name = channel.name.to_lowercase();
    let has = |words: &[&str]| words.iter().any(|w| name.contains(w));
    let bare = name.trim();
    if has(&[
        "current",
        "strom",
        "courant",
        "corrente",
        "corriente",
        "amp",
        "shunt",
        "clamp",
    ]) || matches!(bare, "i" | "ia" | "i_a")
    {
        unit + 3.0
    } else if has(&["volt", "spannung", "tension", "tensione", "emf"])
        || matches!(bare, "u" | "v" | "ua" | "v_m")
    {
        unit - 3.0
    } else {
        unit
    }
}

fn single<'a, 'b>(
    only: &'b Candidate<'a>,
    reasons: &mut Vec<String>,
) -> (Option<&'b Candidate<'a>>, Option<&'b Candidate<'a>>, f64) {
    let vote = stated(only.channel);
    let name = &only.channel.name;
    if vote > 0.0 {
        reasons.push(format!(
            "`{name}` is the only channel with numbers and states a current"
        ));
        (None, Some(only), 0.9)
    } else {
        let confidence = if vote < 0.0 { 0.7 } else { 0.4 };
        reasons.push(format!(
            "`{name}` is the only channel with numbers and states no current: taken as the voltage"
        ));
        (Some(only), None, confidence)
    }
}

/// The ordered pair with the highest vote.
fn best_pair<'a, 'b>(
    several: &'b [Candidate<'a>],
    reasons: &mut Vec<String>,
) -> (Option<&'b Candidate<'a>>, Option<&'b Candidate<'a>>, f64) {
    let mut best: Option<(f64, usize, usize, Vec<String>)> = None;
    for (a, voltage) in several.iter().enumerate() {
        for (b, current) in several.iter().enumerate() {
            if a == b {
                continue;
            }
            let mut grounds = Vec::new();
            let vote = pair_vote(voltage, current, &mut grounds);
            if best.as_ref().is_none_or(|x| vote > x.0) {
                best = Some((vote, a, b, grounds));
            }
        }
    }
    match best {
        Some((vote, a, b, grounds)) => {
            reasons.extend(grounds);
            (
                Some(&several[a]),
                Some(&several[b]),
                1.0 / (1.0 + (-vote).exp()),
            )
        }
        None => (None, None, 0.0),
    }
}

/// Weight of evidence, in natural units of a log ratio by judgement, that `v` is the voltage and `i` the current.
fn pair_vote(v: &Candidate, i: &Candidate, grounds: &mut Vec<String>) -> f64 {
    let words = stated(i.channel) - stated(v.channel);
    if words.abs() >= 2.0 {
        grounds.push(format!(
            "units and names: `{}` [{}] as voltage, `{}` [{}] as current",
            v.channel.name,
            v.channel.unit.as_deref().unwrap_or("no unit"),
            i.channel.name,
            i.channel.unit.as_deref().unwrap_or("no unit"),
        ));
    }
    words + behaviour(v, i, grounds) - behaviour(i, v, &mut Vec::new())
}

/// One-sided behaviour votes that `v` is the voltage and `i` the current; each looks at one trait that the physics gives.
fn behaviour(v: &Candidate, i: &Candidate, grounds: &mut Vec<String>) -> f64 {
    let (names, vs, is) = ((&v.channel.name, &i.channel.name), &v.shape, &i.shape);
    let mut vote = 0.0;
    // Ripple: the source holds the voltage, commutation modulates the current.
    let relative = |s: &Shape| {
        (s.head_mean.abs() > 4.0 * s.sigma && s.head_mean.abs() > 0.003 * s.top())
            .then(|| (s.head_ripple.powi(2) - s.sigma.powi(2)).max(0.0).sqrt() / s.head_mean.abs())
    };
    if let (Some(rv), Some(ri)) = (relative(vs), relative(is))
        && ri > 0.02_f64.max(2.0 * rv)
        && (is.jumps < 8 || is.jump < 3.0 * vs.jump)
    {
        vote += 2.0;
        grounds.push(format!(
            "in the first rows `{}` ripples by {:.1} % of its level and `{}` by {:.1} %: the source holds the first",
            names.0,
            100.0 * rv,
            names.1,
            100.0 * ri
        ));
    }
    // Braking: only a current turns against its first direction and stays there a while.
    let against = |s: &Shape, x: &Series| {
        let low = x.quantile(0, x.len(), 0.12).unwrap_or(0.0) * s.head_mean.signum();
        -low / s.top().max(f64::MIN_POSITIVE)
    };
    if vs.head_mean.abs() > 0.5 * vs.top()
        && against(is, &i.series) > 0.1
        && against(vs, &v.series) < 0.05
    {
        vote += 2.5;
        grounds.push(format!(
            "`{}` turns against its direction and comes back while `{}` falls to zero: braking current",
            names.1, names.0
        ));
    }
    // Step: after a contact closes the voltage stands and the current peaks and fades, or rises behind it.
    let begins_at_rest = vs.head.abs() < 0.1 * vs.top() && is.head.abs() < 0.1 * is.top();
    let stays = |s: &Shape| (s.tail / s.peak_level()).abs();
    if begins_at_rest && stays(vs) > 0.6 && stays(is) < 0.5 {
        vote += 3.0;
        grounds.push(format!(
            "`{}` steps up and stays, `{}` peaks and falls to {:.0} % of its peak: inrush",
            names.0,
            names.1,
            100.0 * stays(is)
        ));
    }
    // The source steps at once, the current rises with the electrical time constant.
    let rise = |c: &Candidate| {
        let (zero, top) = (c.shape.head, c.shape.peak_from(c.shape.head));
        let part = |k: usize| (c.series.at(k) - zero) / top;
        let reached = (0..c.series.len()).find(|&k| part(k) > 0.7).unwrap_or(0);
        let left = (0..reached).rev().find(|&k| part(k) < 0.2).unwrap_or(0);
        reached - left
    };
    if begins_at_rest && stays(vs) > 0.4 && stays(is) > 0.4 {
        let (rows_v, rows_i) = (rise(v), rise(i));
        if rows_i > 3 * rows_v + 3 {
            vote += 2.5;
            grounds.push(format!(
                "`{}` steps up within {rows_v} samples and `{}` rises over {rows_i}: voltage step and current of a held rotor",
                names.0, names.1
            ));
        }
    }
    let (jv, ji) = (vs.jump, is.jump);
    let ends_at_zero =
        |s: &Shape| s.tail.abs() < 0.02 * s.top().max(s.head.abs()) || s.tail.abs() < 4.0 * s.sigma;
    let let_go = vs.head_mean.abs() > 0.5 * vs.top() && ends_at_zero(is) && !begins_at_rest;
    if jv > 0.5 && jv > 3.0 * ji && !(let_go && against(is, &i.series) < 0.1 && ji > 0.3) {
        vote += 1.5;
        grounds.push(format!(
            "`{}` jumps by {:.0} % of its range between samples, `{}` by {:.0} %: inductance keeps the current from jumping",
            names.0,
            100.0 * jv,
            names.1,
            100.0 * ji
        ));
    }
    // Release: the current is gone at once, the back-EMF fades.
    let quarter = |x: &Series| {
        let n = x.len();
        (
            x.median(n / 4, n / 2).unwrap_or(0.0),
            x.median(n - n / 10 - 1, n).unwrap_or(0.0),
        )
    };
    let ((va, vb), (ia, ib)) = (quarter(&v.series), quarter(&i.series));
    let v_moves = (va - vb).abs() > 0.1 * vs.top() && va.abs() > vb.abs();
    let i_rests = (ia - ib).abs() < 1.5 * is.sigma.max(0.01 * is.top())
        && ia.abs() < 0.7 * is.head_mean.abs()
        && (is.head_mean - ia).abs() > 2.0 * is.sigma;
    if v_moves && i_rests {
        vote += 3.0;
        grounds.push(format!(
            "`{}` goes to zero at once and stays there while `{}` fades: current and back-EMF of a run-down",
            names.1, names.0
        ));
    }
    vote
}

/// Sign of the voltage while the source drives.
fn driving_sign(s: &Shape, x: &Series, role: Role) -> f64 {
    match role {
        Role::Start | Role::LockedRotor => s.tail,
        Role::RunDown | Role::Brake | Role::TurnOff if s.head.abs() > 6.0 * s.sigma => s.head,
        Role::RunDown | Role::Brake | Role::TurnOff => 1.0,
        Role::Pwm | Role::PwmLocked | Role::Steady | Role::Driven => {
            let middle = x.mean(0, x.len());
            if middle.abs() > 3.0 * s.sigma {
                middle
            } else {
                1.0
            }
        }
    }
}

/// Sign of the current in the direction of driving; positive where it cannot be told from noise.
fn current_sign(s: &Shape, role: Role) -> f64 {
    let level = match role {
        Role::Start | Role::LockedRotor => s.peak_from(s.head),
        Role::Brake => -(s.peak - s.tail),
        Role::RunDown | Role::TurnOff => s.head_mean - s.tail,
        Role::Pwm | Role::PwmLocked | Role::Steady | Role::Driven => s.head_mean,
    };
    if level.abs() > 2.0 * s.sigma {
        level
    } else {
        1.0
    }
}
