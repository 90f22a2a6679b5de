//! Voltage and current guessed among the channels of a record.

use super::candidate::Candidate;
use super::column_kind::{OtherColumn, other_kind, pulses_by_shape, stated};
use super::computed::is_constant;
use super::ground::ColumnGround;
use super::kind::ColumnKind;
use super::pair_votes::best_pair;
use crate::bench::{RecordGuess, Role, SpeedSignal, Trace, Waveform};
use crate::capture::{self, Codes, Record};
use crate::events::find::find_in;
use crate::events::roles::{RoleGuess, guess_role_in};
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
    /// Channels that hold something else.
    pub others: Vec<OtherColumn>,
    /// What shows voltage and current.
    pub reasons: Vec<ColumnGround>,
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
    /// The chosen columns.
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

/// Guesses voltage and current among the channels of a record by unit, name and behaviour.
///
/// A channel that holds something else by its unit, its name or its numbers is taken out. Amplitude alone decides nothing.
pub fn guess_columns(record: &Record) -> ColumnGuess {
    guess(record).columns
}

/// As [`guess_columns`], for a caller that asks for the events too.
pub fn guess(record: &Record) -> Guessed<'_> {
    let kinds: Vec<_> = record.channels.par_iter().map(other_kind).collect();
    let candidates: Vec<Candidate> = record
        .channels
        .par_iter()
        .zip(&kinds)
        .enumerate()
        .filter(|(_, (_, other))| other.is_none())
        .filter_map(|(index, (channel, _))| Candidate::of(index, channel))
        .collect();
    let others = kinds.into_iter().enumerate();
    let mut others: Vec<OtherColumn> = others
        .filter_map(|(index, found)| found.map(|(kind, why)| OtherColumn { index, kind, why }))
        .collect();
    let mut reasons = Vec::new();
    let (voltage, current, confidence) = match candidates.as_slice() {
        [] => {
            let named = |other: &OtherColumn| {
                let channel = &record.channels[other.index];
                (channel.column, channel.name.trim().to_owned(), other.kind)
            };
            reasons.push(ColumnGround::NoneElectrical {
                column: record.channels.first().map_or(2, |channel| channel.column),
                others: others.iter().map(named).collect(),
            });
            (None, None, 0.0)
        }
        [only] => single(only, &mut reasons),
        several => best_pair(several, &mut reasons),
    };
    others.extend(further_pulses(&candidates, [voltage, current]));
    let (current, role) = role_of(record, voltage, current, &mut reasons);
    let reversed = turned(voltage, current, role.role, &mut reasons);
    let current_in_volts = current.is_some_and(|c| c.channel.unit.as_deref() == Some("V"));
    if let (true, Some(c)) = (current_in_volts, current) {
        let name = c.channel.name.clone();
        reasons.push(ColumnGround::CurrentInVolts { name });
    }
    Guessed {
        columns: ColumnGuess {
            voltage: voltage.map(|c| c.index),
            current: current.map(|c| c.index),
            voltage_reversed: reversed[0],
            current_reversed: reversed[1],
            current_in_volts,
            confidence,
            others,
            reasons,
            role,
        },
        record,
        voltage: voltage.map(|c| c.series.clone()),
        current: current.map(|c| c.series.clone()),
    }
}

/// The pulses among the candidates that were not chosen.
fn further_pulses(
    candidates: &[Candidate],
    chosen: [Option<&Candidate>; 2],
) -> impl Iterator<Item = OtherColumn> {
    let taken = chosen.map(|c| c.map(|c| c.index));
    let rest = candidates
        .iter()
        .filter(move |c| !taken.contains(&Some(c.index)));
    rest.filter_map(|c| {
        let (kind, why) = pulses_by_shape(c.channel)?;
        let index = c.index;
        Some(OtherColumn { index, kind, why })
    })
}

/// The role that the chosen columns show, and the current. No current flows at open terminals; one that does not change where a source is
/// switched on was not recorded.
fn role_of<'a, 'b>(
    record: &Record,
    voltage: Option<&Candidate>,
    current: Option<&'b Candidate<'a>>,
    reasons: &mut Vec<ColumnGround>,
) -> (Option<&'b Candidate<'a>>, RoleGuess) {
    let shows = |current: Option<&Candidate>| {
        guess_role_in(View {
            time: &record.time,
            rows: record.time.len(),
            step_s: sampling_interval(&record.time),
            raw_v: voltage.map(|c| c.channel.values.as_slice()),
            raw_i: current.map(|c| c.channel.values.as_slice()),
            v: voltage.map(|c| c.series.clone()),
            i: current.map(|c| c.series.clone()),
        })
    };
    let role = shows(current);
    let silent = current.filter(|c| voltage.is_some() && is_constant(c));
    match silent {
        Some(c) if matches!(role.role, Role::Start | Role::LockedRotor) => {
            let name = c.channel.name.clone();
            reasons.push(ColumnGround::Silent { name });
            (None, shows(None))
        }
        _ => (current, role),
    }
}

/// Whether voltage and current are negative while the source drives.
fn turned(
    voltage: Option<&Candidate>,
    current: Option<&Candidate>,
    role: Role,
    reasons: &mut Vec<ColumnGround>,
) -> [bool; 2] {
    let reversed = [
        voltage.is_some_and(|c| driving_sign(&c.shape, &c.series, role) < 0.0),
        current.is_some_and(|c| current_sign(&c.shape, role) < 0.0),
    ];
    let named = [(voltage, "voltage"), (current, "current")];
    for (reversed, (candidate, what)) in reversed.into_iter().zip(named) {
        if let (true, Some(c)) = (reversed, candidate) {
            let name = c.channel.name.clone();
            reasons.push(ColumnGround::Negative { what, name });
        }
    }
    reversed
}

fn single<'a, 'b>(
    only: &'b Candidate<'a>,
    reasons: &mut Vec<ColumnGround>,
) -> (Option<&'b Candidate<'a>>, Option<&'b Candidate<'a>>, f64) {
    let vote = stated(only.channel);
    reasons.push(ColumnGround::OnlyOne {
        name: only.channel.name.clone(),
        current: vote > 0.0,
    });
    if vote > 0.0 {
        (None, Some(only), 0.9)
    } else {
        let confidence = if vote < 0.0 { 0.7 } else { 0.4 };
        (Some(only), None, confidence)
    }
}

/// Sign of the voltage while the source drives.
pub(crate) fn driving_sign(s: &Shape, x: &Series, role: Role) -> f64 {
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

/// Sign of the current in the direction of driving; positive where it does not stand out of noise.
pub(crate) fn current_sign(s: &Shape, role: Role) -> f64 {
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

/// Columns and role of a record, as `bench::guess_sheet` asks for them.
pub fn sheet_guess(record: &Record) -> RecordGuess {
    let guess = guess_columns(record);
    RecordGuess {
        voltage: guess.voltage,
        current: guess.current,
        voltage_reversed: guess.voltage_reversed,
        current_reversed: guess.current_reversed,
        current_in_volts: guess.current_in_volts,
        shaft: shaft_columns(&guess.others),
        column_reasons: guess.reasons.iter().map(ToString::to_string).collect(),
        role: guess.role.role,
        role_confidence: guess.role.confidence,
        role_reason: guess.role.reason.to_string(),
        alternatives: guess.role.alternatives.iter().map(|(r, _)| *r).collect(),
    }
}

/// The columns that show how the shaft turns.
fn shaft_columns(others: &[OtherColumn]) -> Vec<(usize, SpeedSignal, String)> {
    let signal = |kind| {
        Some(match kind {
            ColumnKind::Speed => SpeedSignal::Speed,
            ColumnKind::Position => SpeedSignal::Position,
            ColumnKind::Pulses => SpeedSignal::Pulses,
            _ => return None,
        })
    };
    let shown = others
        .iter()
        .filter_map(|o| Some((o.index, signal(o.kind)?, o.why.to_string())));
    shown.collect()
}
