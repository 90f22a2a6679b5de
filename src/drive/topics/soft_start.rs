//! A duty that rises so that the current stays under a limit (`docs/drive.md`, section 4).
//!
//! The schedule is made from the estimate, turning the model round: for a current `i = I (1 − e^{−t/τ_e})` the back-EMF
//! follows from the mechanical side alone, and the mean voltage needed is `R I + V_b + e`, since `R i + L di/dt = R I`.
//! Then every drawn motor is driven by it, and I is lowered until the upper end of their peaks, half the switching
//! ripple added, stays under the limit.

use super::inrush::{running, started};
use crate::drive::Note;
use crate::drive::circuit::{RUN_UP_SHARE, constants};
use crate::drive::sample::Sample;
use crate::drive::section::{Column, Known, Section, Unit, Why, Worst, column, given};
use crate::drive::setting::{Schedule, Setting};
use crate::motor::{Condition, State, advance};
use rayon::prelude::*;

/// Pieces that a schedule is divided into, about.
const PIECES: f64 = 160.0;
/// Pieces after which full duty is out of reach.
const MOST_PIECES: usize = 1600;

const BELOW_FRICTION: Why = Why::Physics(
    "the limit, ripple taken off, leaves no current above what friction and load take",
);
const NEVER_FULL: Why = Why::Physics(
    "the limit is below the running current, so full duty is never reached: raise it, or lower load or supply",
);

/// Half the largest switching ripple on the way, at half duty: (V + V_d)/(8 f L), L at the limit.
pub fn half_ripple_a(setting: &Setting, m: &Sample) -> Known {
    let order = &setting.order;
    let inductance_h =
        m.inductance_at_h(order.current_limit_a.unwrap_or(0.0), order.frequency_hz)?;
    Ok((order.supply_v + order.diode_drop_v) / (8.0 * order.frequency_hz * inductance_h))
}

/// The schedule at which a motor draws `current_a`.
fn schedule(setting: &Setting, m: &Sample, current_a: f64) -> Known<Schedule> {
    let order = &setting.order;
    let p = m.machine(0.0)?;
    if current_a <= 1.02 * p.friction_current_a {
        return Err(BELOW_FRICTION);
    }
    let c = constants(&p);
    let tau = p.electrical_time_constant_s();
    let piece_s =
        p.inertia_capacitance_f * order.supply_v / (current_a - p.friction_current_a) / PIECES;
    let drop = p.terminal_resistance_ohm * current_a + p.brush_drop_v;
    let mut state = State::<f64>::rest();
    let mut duty = Vec::new();
    while duty.len() < MOST_PIECES {
        let e = state.back_emf * (1.0 - p.armature_reaction_per_a * current_a);
        // d V − d² R_s i = R_lead i + R i + V_b + e, the bus capacitor smoothing the source's current to d i.
        let needed = drop + e + order.lead_resistance_ohm * current_a;
        let root: f64 =
            order.supply_v.powi(2) - 4.0 * order.source_resistance_ohm * current_a * needed;
        let next = if root >= 0.0 {
            2.0 * needed / (order.supply_v + root.sqrt())
        } else {
            1.0
        };
        if next >= 1.0 {
            return Ok(Schedule {
                piece_s,
                duty,
                current_a,
            });
        }
        duty.push(next);
        let t = (duty.len() as f64 - 0.5) * piece_s;
        let current = current_a * -(-t / tau).exp_m1();
        state = advance(&c, state, Condition::Current(current), piece_s, false).end;
    }
    Err(NEVER_FULL)
}

/// What a schedule does to a motor.
#[derive(Clone, Debug)]
pub struct Driven {
    /// Largest mean current, ripple left out, A.
    pub peak_a: f64,
    pub run_up_s: f64,
    /// Current at the end of each piece.
    pub current_a: Vec<f64>,
}

/// Drives a motor by a schedule, then by full duty until the start is done.
pub fn drive(setting: &Setting, m: &Sample, schedule: &Schedule) -> Known<Driven> {
    let order = &setting.order;
    let goal = RUN_UP_SHARE * running(setting, m)?.back_emf_v;
    let mut c = constants(&m.machine(0.0)?);
    let motor_ohm = c.resistance;
    let mut driven = Driven {
        peak_a: 0.0,
        run_up_s: f64::NAN,
        current_a: Vec::with_capacity(schedule.duty.len()),
    };
    let mut state = State::<f64>::rest();
    for piece in 0..8 * MOST_PIECES {
        let duty = schedule.duty.get(piece).copied().unwrap_or(1.0);
        c.resistance =
            motor_ohm + order.lead_resistance_ohm + duty * duty * order.source_resistance_ohm;
        let source = Condition::Voltage(duty * order.supply_v);
        // Four steps a piece, so that the peak within it is not missed.
        for part in 0..4 {
            let before = state.back_emf;
            state = advance(&c, state, source, 0.25 * schedule.piece_s, false).end;
            driven.peak_a = driven.peak_a.max(state.current);
            if driven.run_up_s.is_nan() && state.back_emf >= goal {
                let inside = (goal - before) / (state.back_emf - before);
                driven.run_up_s = schedule.piece_s * (piece as f64 + 0.25 * (part as f64 + inside));
            }
        }
        if piece < schedule.duty.len() {
            driven.current_a.push(state.current);
        } else if !driven.run_up_s.is_nan() {
            return Ok(driven);
        }
    }
    Err(Why::Physics(
        "the start is not done in eight times the usual time",
    ))
}

/// The schedule that keeps 97.5 % of the drawn motors under the limit.
///
/// # Errors
/// [`Why`].
pub fn design(setting: &Setting, estimate: &Sample, draws: &[Sample]) -> Known<Schedule> {
    let limit = given(setting.order.current_limit_a, "--current-limit")?;
    let room = |m: &Sample| -> Known { Ok(limit - half_ripple_a(setting, m)?) };
    if limit >= started(setting, estimate)?.peak_a {
        return Err(Why::Moot(
            "the inrush peak of a plain start is already under the limit: no ramp is needed",
        ));
    }
    let mut current = room(estimate)?;
    let mut plan = schedule(setting, estimate, current)?;
    // A tenth of the draws places the upper end to a few percent of its distance, which two rounds then use.
    let some: Vec<&Sample> = draws.iter().step_by((draws.len() / 200).max(1)).collect();
    for _ in 0..2 {
        let mut excess: Vec<f64> = some
            .par_iter()
            .filter_map(|m| Some(drive(setting, m, &plan).ok()?.peak_a / room(m).ok()?))
            .collect();
        excess.push(drive(setting, estimate, &plan)?.peak_a / room(estimate)?);
        excess.sort_by(f64::total_cmp);
        let upper = excess[((0.985 * excess.len() as f64) as usize).min(excess.len() - 1)];
        current /= upper;
        plan = schedule(setting, estimate, current)?;
    }
    Ok(plan)
}

const COLUMNS: [Column; 3] = [
    column("time", Unit::Second, Worst::Neither),
    column("duty", Unit::Share, Worst::Neither),
    column("mean current", Unit::Ampere, Worst::High),
];

/// Fills the topic.
pub fn fill(setting: &Setting, m: &Sample, out: &mut Section) {
    let plan = setting.schedule.as_ref().map_err(|why| *why);
    let driven = plan.and_then(|plan| drive(setting, m, plan));
    let driven = driven.as_ref().map_err(|why| *why);
    let direct = started(setting, m);
    out.row(
        "soft_peak",
        driven.and_then(|driven| Ok(driven.peak_a + half_ripple_a(setting, m)?)),
    );
    out.row(
        "soft_first_duty",
        plan.map(|plan| plan.duty.first().copied().unwrap_or(1.0)),
    );
    out.row("soft_ramp_time", plan.map(Schedule::length_s));
    out.row("soft_run_up_time", driven.map(|driven| driven.run_up_s));
    out.row(
        "soft_cost",
        driven.and_then(|driven| Ok(driven.run_up_s - direct?.run_up_s)),
    );
    let Ok(plan) = plan else { return };
    out.table(
        "soft_start",
        || "duty against time; straight lines between, full duty after the last".to_owned(),
        "4",
        &COLUMNS,
    );
    let count = plan.duty.len();
    for tenth in 0..=10_usize {
        let Some(piece) = (count * tenth / 10).checked_sub(usize::from(tenth == 10)) else {
            continue;
        };
        if piece >= count {
            continue;
        }
        out.line(&[piece as f64 * plan.piece_s, plan.duty[piece]]);
        let before = piece.checked_sub(1);
        out.cell(driven.map(|driven| before.map_or(0.0, |place| driven.current_a[place])));
    }
    out.remark(|| Note::RampFor {
        current_a: plan.current_a,
    });
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::drive::order::Order;
    use crate::drive::sample::tests::plain as sample;
    use crate::motor::TerminalParameters;
    use approx::assert_relative_eq;

    fn ordered(limit: f64) -> Setting {
        let mut order = Order::usual(24.0);
        order.current_limit_a = Some(limit);
        order.lead_resistance_ohm = 0.1;
        order.source_resistance_ohm = 0.3;
        Setting::of(order)
    }

    /// The simulation under the ramp holds its current flat, within the limit, from L/R on; the ramp's length is C_m ΔE/(I − I_c).
    #[test]
    fn the_current_stays_flat_under_the_limit() {
        let p = TerminalParameters::plain(3.2, 2.4e-3, 3.6e-3, 0.13, 0.0);
        let (setting, motor) = (ordered(3.0), sample(p, 0.042));
        let plan = design(&setting, &motor, &[]).expect("a plan");
        let driven = drive(&setting, &motor, &plan).expect("starts");
        let half = half_ripple_a(&setting, &motor).expect("known");
        assert_relative_eq!(driven.peak_a + half, 3.0, max_relative = 5e-3);
        let settled = &driven.current_a[30..];
        for current in settled {
            assert_relative_eq!(*current, plan.current_a, max_relative = 0.02);
        }
        // C_m ΔE/(I − I_c), and later by what the current's own rise costs, I τ_e/(I − I_c).
        let i = plan.current_a;
        let rise = 24.0 - 3.6 * i;
        assert_relative_eq!(
            plan.length_s(),
            (3.6e-3 * rise + i * 2.4e-3 / 3.2) / (i - 0.13),
            max_relative = 0.015
        );
    }

    /// A motor of less resistance than the estimate draws more: the ramp of the estimate alone would exceed the limit.
    #[test]
    fn the_ramp_is_lowered_for_motors_that_draw_more() {
        let p = TerminalParameters::plain(3.2, 2.4e-3, 3.6e-3, 0.13, 0.0);
        let (setting, motor) = (ordered(3.0), sample(p, 0.042));
        let hungry = sample(
            TerminalParameters {
                terminal_resistance_ohm: 2.9,
                ..p
            },
            0.042,
        );
        let draws = [hungry; 9];
        let alone = design(&setting, &motor, &[]).expect("a plan");
        let both = design(&setting, &motor, &draws).expect("a plan");
        let half = half_ripple_a(&setting, &motor).expect("known");
        let peak = |plan| drive(&setting, &hungry, plan).expect("starts").peak_a + half;
        assert!(peak(&alone) > 3.1, "{}", peak(&alone));
        assert_relative_eq!(peak(&both), 3.0, max_relative = 0.01);
    }

    #[test]
    fn limits_that_cannot_be_kept_are_told() {
        let p = TerminalParameters::plain(3.2, 2.4e-3, 3.6e-3, 1.0, 0.0);
        let motor = sample(p, 0.042);
        assert_eq!(design(&ordered(0.5), &motor, &[]), Err(BELOW_FRICTION));
        let dragging = sample(
            TerminalParameters {
                viscous_conductance_s: 0.1,
                ..p
            },
            0.042,
        );
        assert_eq!(design(&ordered(1.8), &dragging, &[]), Err(NEVER_FULL));
        assert!(matches!(
            design(&ordered(30.0), &motor, &[]),
            Err(Why::Moot(_))
        ));
    }
}
