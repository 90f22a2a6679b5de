//! The gear ratio that costs the least RMS current and that the supply still reaches.

use crate::drive::circuit::bisect;
use crate::drive::order::Load;
use crate::drive::profile::{Asked, Geared, Profile};
use crate::drive::sample::Sample;
use crate::drive::section::{Known, Section, Why};
use crate::drive::setting::Setting;

/// Ratios tried: from the order's to this many times as much, and as little.
const RANGE: f64 = 50.0;
/// Steps of the golden section: the ratio to a thousandth.
const STEPS: usize = 18;

const NO_LOAD: Why = Why::Moot("a gear changes nothing where neither inertia nor torque is driven");
const NO_MOVE: Why =
    Why::Moot("a gear is only sized for a profile with a speed and without a current");
const OUT_OF_REACH: Why = Why::Physics("no gear ratio brings it under the supply voltage");

/// RMS current and supply voltage behind a gear of a ratio.
fn costs(setting: &Setting, profile: &Profile, m: &Sample, ln_ratio: f64) -> Known<[f64; 2]> {
    let geared = Geared::new(
        profile,
        &setting.order,
        m,
        ln_ratio.exp(),
        m.resistance_ohm?,
    )?;
    let (mut square, mut needed_v) = (0.0, 0.0f64);
    for piece in &profile.pieces {
        let demand = geared.demand(profile, piece)?;
        square += demand.length_s * demand.mean(|p| p.current_a * p.current_a);
        for point in &demand.points {
            needed_v = needed_v.max(geared.supply_v(point, demand.slope_a_per_s())?);
        }
    }
    Ok([(square / profile.length_s()).sqrt(), needed_v])
}

/// Least of a function with one valley, by golden section.
fn least(mut from: f64, mut to: f64, of: impl Fn(f64) -> f64) -> f64 {
    let golden = 0.5 * (5f64.sqrt() - 1.0);
    let (mut a, mut b) = (to - golden * (to - from), from + golden * (to - from));
    let (mut at_a, mut at_b) = (of(a), of(b));
    for _ in 0..STEPS {
        if at_a < at_b {
            (to, b, at_b) = (b, a, at_a);
            a = to - golden * (to - from);
            at_a = of(a);
        } else {
            (from, a, at_a) = (a, b, at_b);
            b = from + golden * (to - from);
            at_b = of(b);
        }
    }
    0.5 * (from + to)
}

/// The ratio with its RMS current.
pub(super) fn best(setting: &Setting, profile: &Profile, m: &Sample) -> Known<(f64, f64)> {
    let order = &setting.order;
    if !profile.moves || profile.asked == Asked::Current {
        return Err(NO_MOVE);
    }
    let torque = profile.asked == Asked::Torque || matches!(order.load, Load::Torque(t) if t > 0.0);
    if !torque && order.load_inertia_kg_m2.unwrap_or(0.0) == 0.0 {
        return Err(NO_LOAD);
    }
    // What is not determined is so at every ratio.
    let middle = order.gear.unwrap_or(1.0).ln();
    costs(setting, profile, m, middle)?;
    let cost = |place: usize| {
        move |ln: f64| costs(setting, profile, m, ln).map_or(f64::INFINITY, |costs| costs[place])
    };
    let (from, to) = (middle - RANGE.ln(), middle + RANGE.ln());
    let mut ln = least(from, to, cost(0));
    if cost(1)(ln) > order.supply_v {
        let slowest = least(from, to, cost(1));
        if cost(1)(slowest) > order.supply_v {
            return Err(OUT_OF_REACH);
        }
        let share = bisect(0.0, 1.0, |share| {
            cost(1)(slowest + share * (ln - slowest)) <= order.supply_v
        });
        ln = slowest + share * (ln - slowest);
    }
    Ok((ln.exp(), cost(0)(ln)))
}

/// Fills the rows.
pub(super) fn fill(
    setting: &Setting,
    profile: &Profile,
    m: &Sample,
    out: &mut Section,
    now_a: Known,
) {
    let best = best(setting, profile, m);
    out.row("profile_best_ratio", best.map(|(ratio, _)| ratio));
    out.row("profile_best_rms", best.map(|(_, rms_a)| rms_a));
    out.row(
        "profile_best_heat",
        best.and_then(|(_, rms_a)| Ok((rms_a / now_a?).powi(2))),
    );
}
