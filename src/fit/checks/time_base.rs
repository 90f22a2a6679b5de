//! Time axes held against each other and against any motor, before the fit: a time column in the wrong unit is off by a thousand.
//!
//! Every capture shows time constants in closed form, some within a factor of a few: the rise of a current L/R (s), and the
//! equivalent capacitance `J/K²` (F) from the charge of a start or a brake or from the slope of a run-down, which scales with time.

use crate::bench::Bench;
use crate::fit::data::{Hints, Segment, middle, read_hints};
use crate::fit::wording::{Remark, RemarkKind};

/// Ratio from which two captures cannot be of one motor and one unit of time. Closed forms miss by a factor of ten at most, and
/// units differ by a thousand.
const LEAST_RATIO: f64 = 100.0;
/// Electrical time constants of brushed motors, from ironless coin-size ones to traction, s (common practice, no source).
const ELECTRICAL_S: (f64, f64) = (2e-6, 60e-3);
/// Mechanical time constants, likewise, with what may hang on the shaft.
const MECHANICAL_S: (f64, f64) = (0.4e-3, 20.0);

/// One capture's clock.
struct Clock {
    capture: usize,
    /// L/R, s.
    rise_s: Option<f64>,
    /// J/K², F.
    capacitance_f: Option<f64>,
}

/// The clocks of all captures, and the resistance they show, Ω.
fn read(bench: &Bench, segments: &[Vec<Segment>]) -> (Vec<Clock>, Option<f64>) {
    let hints: Vec<Hints> = bench
        .captures
        .iter()
        .zip(segments)
        .map(|(capture, segments)| {
            let mut hints = Hints::default();
            read_hints(capture, segments, &mut hints);
            hints
        })
        .collect();
    let all = |of: fn(&Hints) -> &Vec<f64>| {
        middle(
            &mut hints
                .iter()
                .flat_map(|h| of(h).clone())
                .collect::<Vec<f64>>(),
        )
    };
    let no_load_a = all(|h| &h.no_load_current);
    let clocks = hints
        .iter()
        .enumerate()
        .map(|(capture, h)| Clock {
            capture,
            rise_s: middle(&mut h.resolved_rise_time_s.clone()),
            capacitance_f: middle(&mut h.capacitance.clone())
                .or_else(|| Some(no_load_a? / middle(&mut h.slowing.clone())?))
                .filter(|c| *c > 0.0)
                // A heavy disc on a small rotor is no error of time.
                .filter(|_| bench.captures[capture].added_inertia_kg_m2.is_none()),
        })
        .collect();
    (clocks, all(|h| &h.resistance))
}

/// Two captures whose time axes cannot both be right: no joint fit can follow them.
pub fn between(bench: &Bench, segments: &[Vec<Segment>]) -> Option<Remark> {
    let (clocks, _) = read(bench, segments);
    let name = |k: usize| bench.captures[k].name.as_str();
    type Constant = fn(&Clock) -> Option<f64>;
    let kinds: [(&str, &str, Constant); 2] = [
        ("J/K²", "F", |c| c.capacitance_f),
        ("L/R", "s", |c| c.rise_s),
    ];
    for (what, unit, of) in kinds {
        let known: Vec<(usize, f64)> = clocks
            .iter()
            .filter_map(|c| Some((c.capture, of(c)?)))
            .collect();
        for &(capture, value) in &known {
            let mut others = known.iter().filter(|(k, _)| *k != capture).peekable();
            let Some(&&(beside, other)) = others.peek() else {
                continue;
            };
            let near = LEAST_RATIO.recip()..=LEAST_RATIO;
            if others.any(|(_, other)| near.contains(&(value / other))) {
                continue;
            }
            let kind = RemarkKind::TimeAxesDisagree {
                captures: [name(capture), name(beside)].map(str::to_owned),
                quantity: what,
                unit,
                values: [value, other],
                only_two: known.len() == 2,
            };
            return Some(kind.of_bench());
        }
    }
    None
}

/// All captures together against what motors are like.
pub fn against_any_motor(bench: &Bench, segments: &[Vec<Segment>]) -> Option<Remark> {
    let (clocks, resistance_ohm) = read(bench, segments);
    let median = |of: fn(&Clock) -> Option<f64>| {
        middle(&mut clocks.iter().filter_map(of).collect::<Vec<f64>>())
    };
    let electrical_s = median(|c| c.rise_s);
    let mechanical_s = median(|c| c.capacitance_f)
        .zip(resistance_ohm)
        .map(|(c, r)| r * c);
    let outside =
        |value: Option<f64>, (low, high): (f64, f64)| value.is_some_and(|v| v < low || v > high);
    if !outside(electrical_s, ELECTRICAL_S) && !outside(mechanical_s, MECHANICAL_S) {
        return None;
    }
    let kind = RemarkKind::TimeConstantsOff {
        electrical_s,
        mechanical_s,
        usual_electrical_s: ELECTRICAL_S,
        usual_mechanical_s: MECHANICAL_S,
    };
    Some(kind.of_bench())
}
