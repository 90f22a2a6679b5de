//! Every topic for the estimate and for motors drawn from the covariance (JCGM 101:2008).

use super::bounds::Figures;
use super::cautions::Caution;
use super::order::Order;
use super::result::{SizedSection, Sizing};
use super::sample::{Sample, winding_c};
use super::section::{Known, Section};
use super::setting::Setting;
use super::topics::{
    braking, half_bridge, heating, inrush, pwm, soft_start, time_constants, turn_off,
};
use crate::motor_file::draw::{DrawError, ParameterSet, Population};
use crate::motor_file::{MotorFile, StopReason};
use rayon::prelude::*;

/// What is worked out: one section each.
struct Topic {
    key: &'static str,
    title: &'static str,
    fill: fn(&Setting, &Sample, &mut Section),
    cautions: &'static [Caution],
}

const TOPICS: [Topic; 8] = [
    Topic {
        key: "time_constants",
        title: "Time constants",
        fill: time_constants::fill,
        cautions: &[],
    },
    Topic {
        key: "inrush",
        title: "Start at full voltage",
        fill: inrush::fill,
        cautions: &[Caution::LargeCurrents, Caution::TurningShaft],
    },
    Topic {
        key: "soft_start",
        title: "Soft start under a current limit",
        fill: soft_start::fill,
        cautions: &[Caution::TurningShaft],
    },
    Topic {
        key: "pwm",
        title: "PWM",
        fill: pwm::fill,
        cautions: &[Caution::OpenedInductance],
    },
    Topic {
        key: "half_bridge",
        title: "Half bridge",
        fill: half_bridge::fill,
        cautions: &[Caution::LargeCurrents, Caution::RaisedSupply],
    },
    Topic {
        key: "turn_off",
        title: "Turn-off",
        fill: turn_off::fill,
        cautions: &[Caution::OpenedInductance],
    },
    Topic {
        key: "braking",
        title: "Braking from running speed",
        fill: braking::fill,
        cautions: &[
            Caution::LargeCurrents,
            Caution::RaisedSupply,
            Caution::Demagnetisation,
        ],
    },
    Topic {
        key: "heating",
        title: "Held rotor",
        fill: heating::fill,
        cautions: &[Caution::LockedRotor, Caution::Codes],
    },
];

impl Topic {
    fn sized(
        &self,
        file: &MotorFile,
        setting: &Setting,
        estimate: &Sample,
        drawn: &[Sample],
        level: f64,
    ) -> SizedSection {
        let mut layout = Section {
            estimate: true,
            ..Section::default()
        };
        (self.fill)(setting, estimate, &mut layout);
        let outcomes: Vec<Vec<Known>> = drawn
            .par_iter()
            .map(|motor| {
                let mut section = Section::default();
                (self.fill)(setting, motor, &mut section);
                section.values
            })
            .collect();
        let figures = Figures {
            file,
            estimate: &layout.values,
            outcomes: &outcomes,
            level,
        };
        SizedSection {
            key: self.key,
            title: self.title,
            rows: layout
                .rows
                .iter()
                .map(|(def, place)| figures.row(def, *place))
                .collect(),
            tables: layout
                .tables
                .iter()
                .map(|table| figures.table(table))
                .collect(),
            remarks: layout.remarks,
            cautions: self.cautions.iter().map(|caution| caution.text()).collect(),
        }
    }
}

/// Share of the currents seen by the captures beyond which a result is called extrapolated.
const EXTRAPOLATED: f64 = 1.1;

/// Sizes the drive: `draws` motors from `seed`, intervals at `level`.
///
/// # Errors
/// [`DrawError`] when the file's covariance cannot be drawn from.
pub fn size(
    file: &MotorFile,
    order: Order,
    draws: usize,
    seed: u64,
    level: f64,
) -> Result<Sizing, DrawError> {
    let under_order = |motor: &ParameterSet| Sample::new(file, motor, &order);
    let estimate = under_order(&ParameterSet::estimate(file));
    let drawn: Vec<Sample> = Population::new(file)?
        .draws(draws, seed)?
        .iter()
        .map(under_order)
        .collect();
    let mut setting = Setting::of(order);
    setting.plan.winding_c = winding_c(file, &order);
    setting.plan.inrush_times_s = inrush::times_s(&setting, &estimate);
    setting.plan.schedule = soft_start::design(&setting, &estimate, &drawn);
    let sections = TOPICS
        .iter()
        .map(|topic| topic.sized(file, &setting, &estimate, &drawn, level))
        .collect();
    let warnings = warnings(file, &estimate, &setting);
    Ok(Sizing {
        motor: file.motor_name().to_owned(),
        supply_v: order.supply_v,
        draws,
        seed,
        level,
        winding_temperature_c: setting.plan.winding_c,
        fit_converged: file.fit.stop.reason == StopReason::Converged,
        assumptions: assumptions(file, &setting),
        warnings,
        sections,
    })
}

fn assumptions(file: &MotorFile, setting: &Setting) -> Vec<String> {
    let order = &setting.order;
    let mut list = Vec::new();
    match setting.plan.winding_c {
        Some(c) if order.winding_temperature_c.is_some() => list.push(format!(
            "winding at {c} °C, its resistance by the rule for copper; the magnets as at the captures"
        )),
        Some(c) => list.push(format!(
            "winding at {c} °C as at the captures; a cold one draws more, a warm one less (--winding-temperature)"
        )),
        None => list.push(
            "winding as at the captures, whose temperature the file does not tell; held-rotor heating counts from 25 °C"
                .to_owned(),
        ),
    }
    if order.source_resistance_ohm == 0.0 || order.lead_resistance_ohm == 0.0 {
        list.push(
            "source and lead resistance count as zero where not told: the true currents are smaller (--source-resistance, --lead-resistance)"
                .to_owned(),
        );
    }
    if file
        .model
        .is_some_and(|terms| terms.listed().next().is_some())
    {
        list.push(
            "saturation, armature reaction and the like keep their estimates in every drawn motor"
                .to_owned(),
        );
    }
    list
}

fn warnings(file: &MotorFile, estimate: &Sample, setting: &Setting) -> Vec<String> {
    let mut list = Vec::new();
    if file.fit.stop.reason != StopReason::Converged {
        list.push(format!(
            "the fit behind this motor file did not converge ({}): nothing here is better than that",
            file.fit.stop.text
        ));
    }
    let peak = inrush::stall_a(setting, estimate);
    if let (Ok(peak), Some(seen)) = (peak, file.validity.current_a) {
        let largest = seen.lower.abs().max(seen.upper.abs());
        if peak > EXTRAPOLATED * largest {
            list.push(format!(
                "currents up to {peak:.3} A are computed, but the captures reach {largest:.3} A: beyond that saturation and armature reaction are extrapolated; record a start at this supply"
            ));
        }
    }
    list
}
