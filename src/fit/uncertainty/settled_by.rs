//! Which measurement would settle a parameter that the captures leave open.

use crate::bench::Role;
use crate::fit::model::CaptureModel;
use crate::fit::references::RippleFinding;
use crate::quantity::rounding::{Scale, write};

/// A capture that helps, and the roles under which it may already be there.
type Advice = (&'static str, &'static [Role]);

const LOCKED_STEP: Advice = (
    "a voltage step onto the locked rotor, sampled at least ten times within L/R",
    &[Role::LockedRotor],
);
const START: Advice = (
    "a start from rest with voltage and current recorded until the speed is steady",
    &[Role::Start],
);
const RUN_DOWN: Advice = (
    "a run-down with open terminals from full speed to standstill",
    &[Role::RunDown],
);
const BRAKE: Advice = (
    "a short-circuit brake whose beginning shows the open-terminal voltage",
    &[Role::Brake],
);
const STEADY: Advice = (
    "a steady run on another supply voltage, with voltage and current",
    &[Role::Steady],
);

/// For what a second capture of the same kind is the only help.
const ANOTHER: &str = "the same captures again with finer ranges or more accurate instruments (rundown next ranks what helps)";

/// What would settle `parameter` beside the captures that are there: the first capture that helps and is not among them.
pub fn settled_by(parameter: &str, there: &[CaptureModel]) -> String {
    let helpful: &[Advice] = match parameter {
        "armature_inductance" | "electrical_time_constant" => &[LOCKED_STEP, START],
        "terminal_resistance" | "brush_drop" => &[LOCKED_STEP, BRAKE, START],
        "inertia_capacitance" | "rotor_inertia" | "mechanical_time_constant" => {
            &[START, BRAKE, RUN_DOWN]
        }
        "friction_torque_at_speed" | "friction_current_at_speed" => &[START, STEADY],
        _ => &[RUN_DOWN, START, STEADY],
    };
    let missing = |(_, roles): &&Advice| !there.iter().any(|model| roles.contains(&model.role));
    let advice = helpful.iter().find(missing);
    advice.map_or(ANOTHER, |(words, _)| words).to_owned()
}

/// What gives a back-EMF constant. `ripple`: of the run-downs.
pub fn speed_reference(ripple: &[RippleFinding]) -> String {
    let open = ripple
        .iter()
        .filter(|f| f.taken.is_none() && f.result.fit_settled);
    let rivals = open.map(|f| f.result.rivals()).find(|all| !all.is_empty());
    let Some(rivals) = rivals else {
        return "a speed: one tachometer reading while running freely, a count of commutator segments and poles with a run-down whose ripple shows, or the \
                terminal voltage while the shaft is driven at a known speed"
            .to_owned();
    };
    let each = rivals.iter().map(|c| {
        let k = c.back_emf_constant_v_s_per_rad;
        format!(
            "{} ({})",
            write(k, Some(c.standard_uncertainty), "V·s/rad", Scale::Prefix),
            c.commutator
        )
    });
    format!(
        "a count of commutator segments, poles and brushes, or one tachometer reading: the ripple leaves {}",
        each.collect::<Vec<_>>().join(", ")
    )
}
