//! Stretches of a capture in which the current's ripple shows the speed: upright and under one terminal condition.

use crate::bench::{Role, Waveform};
use crate::events::phase::{EventKind, Phase, PhaseKind};
use crate::events::timeline::Timeline;
use std::fmt;

/// What the speed does during a stretch.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Motion {
    /// Rises from rest.
    Rising,
    /// Hardly changes.
    Steady,
    /// Falls towards rest.
    Falling,
}

impl fmt::Display for Motion {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Motion::Rising => "start",
            Motion::Steady => "steady running",
            Motion::Falling => "brake",
        })
    }
}

/// Rows of a capture while current flows and the rotor turns.
#[derive(Clone, Debug, PartialEq)]
pub struct CurrentStretch {
    /// How the speed changes during the stretch.
    pub motion: Motion,
    /// Time of each row, s.
    pub time_s: Vec<f64>,
    /// Current, A, positive into the motor as recorded.
    pub current_a: Vec<f64>,
    /// Terminal voltage, V; `None` where it was not recorded.
    pub voltage_v: Option<Vec<f64>>,
    /// Rows at the end of the converter's range.
    pub clipped: Vec<bool>,
    /// Step between converter codes, A.
    pub quantisation_step_a: Option<f64>,
    /// For a start the instant of the switch-on, s.
    pub start_s: Option<f64>,
}

/// Fewest rows worth reading; below, the ripple analysis refuses anyhow.
const FEWEST_ROWS: usize = 256;

/// The stretches of one capture: of a start from the current's peak on, of a brake likewise, of steady running whole. The
/// running before a release counts as steady. Switched supplies give none: their current's lines are the switching's.
pub fn current_stretches(
    waveform: &Waveform,
    timeline: &Timeline,
    role: Role,
) -> Vec<CurrentStretch> {
    let phases = &timeline.phases;
    let longest = |kind: PhaseKind, until: usize| {
        phases
            .iter()
            .filter(|p| p.kind == kind && p.end <= until)
            .max_by_key(|p| p.end.saturating_sub(p.first))
    };
    let end = waveform.time.len();
    let chosen: Vec<(Motion, &Phase)> = match role {
        Role::Start => longest(PhaseKind::Driven, end)
            .map(|p| (Motion::Rising, p))
            .into_iter()
            .collect(),
        Role::Steady => longest(PhaseKind::Driven, end)
            .map(|p| (Motion::Steady, p))
            .into_iter()
            .collect(),
        Role::RunDown | Role::Brake => {
            let slowing = phases
                .iter()
                .find(|p| matches!(p.kind, PhaseKind::Open | PhaseKind::Shorted))
                .map_or(0, |p| p.first);
            let before = longest(PhaseKind::Driven, slowing).map(|p| (Motion::Steady, p));
            let brake = (role == Role::Brake)
                .then(|| longest(PhaseKind::Shorted, end))
                .flatten()
                .map(|p| (Motion::Falling, p));
            before.into_iter().chain(brake).collect()
        }
        Role::LockedRotor | Role::TurnOff | Role::Pwm | Role::PwmLocked | Role::Driven => {
            Vec::new()
        }
    };
    let switch_on = timeline.first_time_of(EventKind::SwitchOn);
    chosen
        .into_iter()
        .filter_map(|(motion, phase)| stretch(waveform, motion, phase, switch_on))
        .collect()
}

fn stretch(
    waveform: &Waveform,
    motion: Motion,
    phase: &Phase,
    switch_on_s: Option<f64>,
) -> Option<CurrentStretch> {
    let trace = waveform.current_a.as_ref()?;
    let values = trace.values.get(phase.first..phase.end)?;
    let first = match motion {
        Motion::Steady => phase.first,
        // Before the peak the current rises with the electrical time constant, and no ripple stands out of that.
        Motion::Rising | Motion::Falling => {
            let peak = values
                .iter()
                .enumerate()
                .filter(|(_, v)| v.is_finite())
                .max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()))?
                .0;
            phase.first + peak
        }
    };
    let rows = first..phase.end;
    if rows.len() < FEWEST_ROWS {
        return None;
    }
    Some(CurrentStretch {
        motion,
        time_s: rows
            .clone()
            .map(|row| waveform.time.at(row))
            .collect::<Option<_>>()?,
        current_a: trace.values.get(rows.clone())?.to_vec(),
        voltage_v: waveform
            .voltage_v
            .as_ref()
            .and_then(|v| Some(v.values.get(rows.clone())?.to_vec())),
        clipped: trace.clipped_in(rows)?,
        quantisation_step_a: trace.quantisation_step,
        start_s: (motion == Motion::Rising).then_some(switch_on_s).flatten(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bench::Trace;
    use crate::capture::TimeAxis;
    use crate::events::Event;

    fn capture(rows: usize) -> Waveform {
        let trace = |value: fn(usize) -> f64| {
            Some(Trace {
                values: (0..rows).map(value).collect(),
                quantisation_step: Some(0.01),
                clipped: vec![false; rows],
            })
        };
        Waveform {
            time: TimeAxis::Uniform {
                start_s: 0.0,
                step_s: 1e-4,
                len: rows,
            },
            voltage_v: trace(|_| 12.0),
            current_a: trace(|row| {
                if row < 100 {
                    0.05 * row as f64
                } else {
                    5.0 / (row as f64 - 98.0)
                }
            }),
        }
    }

    fn timeline(phases: &[(PhaseKind, usize, usize)]) -> Timeline {
        Timeline {
            phases: phases
                .iter()
                .map(|(kind, first, end)| Phase {
                    kind: *kind,
                    first: *first,
                    end: *end,
                })
                .collect(),
            events: vec![Event {
                kind: EventKind::SwitchOn,
                time_s: 2e-3,
            }],
            remarks: Vec::new(),
            capture_warnings: Vec::new(),
        }
    }

    #[test]
    fn a_start_is_read_from_the_peak_of_its_current_on() {
        let found = current_stretches(
            &capture(1000),
            &timeline(&[(PhaseKind::Rest, 0, 20), (PhaseKind::Driven, 20, 1000)]),
            Role::Start,
        );
        assert_eq!(found.len(), 1);
        assert_eq!(found[0].motion, Motion::Rising);
        assert_eq!(found[0].time_s[0], 99.0 * 1e-4);
        assert_eq!(found[0].start_s, Some(2e-3));
        assert_eq!(found[0].voltage_v.as_ref().map(Vec::len), Some(901));
    }

    #[test]
    fn the_running_before_a_release_is_steady_and_a_short_end_of_it_is_none() {
        let run_down = |driven| {
            current_stretches(
                &capture(1000),
                &timeline(&[
                    (PhaseKind::Driven, 0, driven),
                    (PhaseKind::Open, driven, 1000),
                ]),
                Role::RunDown,
            )
        };
        assert_eq!(run_down(400)[0].motion, Motion::Steady);
        assert!(run_down(100).is_empty());
        let switched = timeline(&[(PhaseKind::Driven, 0, 1000)]);
        assert!(current_stretches(&capture(1000), &switched, Role::Pwm).is_empty());
    }
}
