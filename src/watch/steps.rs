//! The next shots as the page shows them: from the plan of the first ones, or from what a fit asks for.

use crate::bench::Bench;
use crate::drive::cautions::Caution;
use crate::fit::Estimate;
use crate::next::advice::Advice;
use crate::next::text::first::bench as bench_rows;
use crate::next::text::ranking::{changes, helpful};
use crate::next::text::shot;
use crate::next::{
    Goal, Known, Question, Size, driven_v, first_plan, rank, refusal, resistance_given,
    resistance_of,
};
use crate::quantity::{FlagUnits, engineering};
use serde::Deserialize;
use serde_json::{Value, json};

/// Candidates that are shown.
const SHOWN: usize = 5;

/// What the person knows before the first capture, as typed, e.g. `24V`; empty where unknown.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Typed {
    supply: String,
    resistance: String,
    four_wire: bool,
    diameter: String,
    length: String,
    mass: String,
    segments: Option<u32>,
    tachometer: bool,
}

/// The first shots, from the sheet and from what was typed beside it.
///
/// # Errors
/// What was typed cannot be read, or no supply voltage is known.
pub fn first(bench: Option<&Bench>, typed: &Typed) -> Result<Value, String> {
    let read = |text: &str, units: FlagUnits| match text.trim() {
        "" => Ok(None),
        text => units.parse(text).map(Some).map_err(|e| e.to_string()),
    };
    let supply_v = read(&typed.supply, FlagUnits::VOLTAGE)?;
    let supply_v = supply_v.or_else(|| bench?.motor.supply_v);
    let supply_v = supply_v.filter(|v| *v > 0.0).ok_or(
        "state the supply voltage, and the ohmmeter reading and size of the motor if you can: the first shots follow from them",
    )?;
    if let Some(reason) = refusal(supply_v) {
        return Err(reason);
    }
    let size = Size {
        diameter_m: read(&typed.diameter, FlagUnits::LENGTH)?,
        length_m: read(&typed.length, FlagUnits::LENGTH)?,
        mass_kg: read(&typed.mass, FlagUnits::MASS)?,
    };
    size.check().map_err(|e| e.to_string())?;
    let resistance = read(&typed.resistance, FlagUnits::RESISTANCE)?.filter(|r| *r > 0.0);
    let plan = first_plan(&Known {
        name: bench.map(|b| b.motor.name.clone()),
        supply_v,
        resistance_ohm: resistance
            .map(resistance_given)
            .or_else(|| resistance_of(bench?)),
        four_wire: typed.four_wire,
        size,
        segments: typed
            .segments
            .filter(|s| *s >= 3)
            .or_else(|| bench?.motor.commutator_segments),
        tachometer: typed.tachometer,
    });
    let shunt_ohm = plan.shunt.map(|s| s.resistance_ohm);
    let facts: Vec<String> = bench_rows(&plan)
        .into_iter()
        .filter_map(|(what, short, _)| Some(format!("{what}: {}", short?)))
        .collect();
    let steps: Vec<Value> = plan
        .captures
        .iter()
        .map(|advice| {
            let title = format!(
                "{} at {}",
                shot::title(advice.role),
                engineering(advice.voltage_v, "V")
            );
            step(&title, "", Some(advice), shunt_ohm, &advice.cautions, None)
        })
        .collect();
    let cautions: Vec<&str> = Caution::OF_FIRST_CAPTURES
        .iter()
        .map(|c| c.text())
        .collect();
    Ok(json!({
        "kind": "first",
        "facts": facts,
        "missing": plan.lost,
        "steps": steps,
        "cautions": cautions,
    }))
}

/// What narrows the intervals of a fitted bench most.
pub fn after_a_fit(bench: &Bench, estimate: &Estimate) -> Value {
    let supply_v = bench.motor.supply_v.or_else(|| driven_v(estimate));
    let Some(supply_v) = supply_v else {
        return json!({"kind": "none", "missing": ["neither sheet nor captures give the supply voltage"], "steps": []});
    };
    if let Some(reason) = refusal(supply_v) {
        return json!({"kind": "none", "missing": [reason], "steps": []});
    }
    let question = Question {
        goal: Goal::All,
        supply_v,
        size: Size::default(),
    };
    let ranking = rank(bench, estimate, &question);
    let steps: Vec<Value> = helpful(&ranking)
        .take(SHOWN)
        .map(|ranked| {
            let (c, gain) = (&ranked.candidate, changes(&ranked.after, &ranking));
            let how = c.how.as_deref().or(c.needs.as_deref());
            step(&c.title, &gain, c.advice.as_ref(), None, &c.cautions, how)
        })
        .collect();
    json!({
        "kind": "ranking",
        "facts": [],
        "missing": ranking.remarks,
        "steps": steps,
        "cautions": [Caution::Codes.text()],
    })
}

fn step(
    title: &str,
    gain: &str,
    advice: Option<&Advice>,
    shunt_ohm: Option<f64>,
    cautions: &[String],
    how: Option<&str>,
) -> Value {
    let mut lines: Vec<[String; 2]> = Vec::new();
    lines.extend(advice.into_iter().flat_map(|a| shot::lines(a, shunt_ohm)));
    lines.extend(how.map(|how| ["how".to_owned(), how.to_owned()]));
    json!({
        "title": title,
        "gain": gain,
        "drawing": advice.map(|a| drawing(a.role)),
        "lines": lines,
        "cautions": cautions,
    })
}

/// The drawing of docs/wiring for a role.
fn drawing(role: &str) -> &'static str {
    match role {
        "run-down" => "run_down",
        "brake" => "brake",
        "locked-rotor" => "locked_rotor",
        "turn-off" => "turn_off",
        "pwm" | "pwm-locked" => "pwm",
        "steady" => "steady",
        _ => "start",
    }
}
