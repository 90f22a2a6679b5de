//! Every topic for the estimate and for motors drawn from the covariance (JCGM 101:2008).

mod bounds;
mod reach;
mod verdict;

use crate::drive::Note;
use crate::drive::cautions::Caution;
use crate::drive::order::Order;
use crate::drive::profile::Profile;
use crate::drive::result::{SizedSection, Sizing};
use crate::drive::sample::{Sample, winding_c};
use crate::drive::section::{Known, Section};
use crate::drive::setting::Setting;
use crate::drive::topics::braking::{self, stop_time};
use crate::drive::topics::rating::{self, regions};
use crate::drive::topics::{
    half_bridge, heating, inrush, profile, pwm, soft_start, steady_states, time_constants, turn_off,
};
use crate::motor_file::draw::{DrawError, ParameterSet, Population, plan};
use crate::motor_file::{MotorFile, StopReason, Thermal};
use crate::stats::adaptive::{LEAST, Plan, until_stable};
use bounds::Figures;
use rand::SeedableRng;
use rand::rngs::StdRng;
use rand_distr::{Distribution, StandardNormal};
use rayon::prelude::*;
use reach::Reach;
use std::convert::Infallible;
use verdict::verdict;

/// What is worked out: one section each.
struct Topic {
    key: &'static str,
    title: &'static str,
    fill: fn(&Setting, &Sample, &mut Section),
    /// Whether it needs no simulation, so that it is worked out for as many motors as the fit draws.
    closed_form: bool,
    cautions: &'static [Caution],
}

const fn topic(
    key: &'static str,
    title: &'static str,
    fill: fn(&Setting, &Sample, &mut Section),
    cautions: &'static [Caution],
) -> Topic {
    Topic {
        key,
        title,
        fill,
        closed_form: false,
        cautions,
    }
}

#[rustfmt::skip]
const TOPICS: [Topic; 11] = {
    use Caution::*;
    [
        topic("time_constants", "Time constants", time_constants::fill, &[]).in_closed_form(),
        topic("steady_states", "Running and held", steady_states::fill, &[]).in_closed_form(),
        topic("inrush", "Start at full voltage", inrush::fill, &[LargeCurrents, TurningShaft]),
        topic("soft_start", "Soft start under a current limit", soft_start::fill, &[TurningShaft]),
        topic("pwm", "PWM", pwm::fill, &[OpenedInductance]),
        topic("half_bridge", "Half bridge", half_bridge::fill, &[LargeCurrents, RaisedSupply]),
        topic("turn_off", "Turn-off", turn_off::fill, &[OpenedInductance]),
        topic("braking", "Braking from running speed", braking::fill, &[LargeCurrents, RaisedSupply, Demagnetisation]),
        topic("heating", "Held rotor", heating::fill, &[LockedRotor, Codes]),
        topic("rating", "What the winding can carry", rating::fill, &[Demagnetisation]),
        topic(PROFILE, "Profile", profile::fill, &[TurningShaft, RaisedSupply, Demagnetisation]),
    ]
};

/// Key of the section that is there only with a profile.
const PROFILE: &str = "profile";

impl Topic {
    const fn in_closed_form(self) -> Topic {
        Topic {
            closed_form: true,
            ..self
        }
    }

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
        let plan = match self.closed_form {
            true => plan(Some(file), level),
            false => Plan {
                level,
                bounds: true,
                least: LEAST,
                most: drawn.len(),
            },
        };
        let Ok(trials) = until_stable::<Infallible>(plan, |places| {
            let each = drawn[places].par_iter().map(|motor| {
                let mut section = Section::default();
                (self.fill)(setting, motor, &mut section);
                section.values
            });
            let each: Vec<Vec<Known>> = each.collect();
            let value = |motor: &Vec<Known>, place: usize| motor.get(place)?.ok();
            let column = |place| {
                let values = each.iter().map(|motor| value(motor, place));
                values.map(|value| value.unwrap_or(f64::NAN)).collect()
            };
            Ok((0..layout.values.len()).map(column).collect())
        });
        let figures = Figures {
            file,
            as_in_file: setting.order.is_as_in_file(),
            estimate: &layout.values,
            outcomes: &trials.columns,
            level,
            mean: self.closed_form,
        };
        SizedSection {
            key: self.key,
            title: self.title,
            draws: trials.draws,
            stable_digits: trials.stable_digits,
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
            remarks: texts(&layout.remarks),
            notes: layout.remarks,
            cautions: self.cautions.iter().map(|caution| caution.text()).collect(),
        }
    }
}

/// Sizes the drive, and for a profile what it takes: up to `draws` motors from `seed` for what is simulated, as many as the fit draws for the rest; intervals at `level`.
///
/// # Errors
/// [`DrawError`] when the file's covariance cannot be drawn from.
pub fn size(
    file: &MotorFile,
    order: Order,
    profile: Option<Profile>,
    draws: usize,
    seed: u64,
    level: f64,
) -> Result<Sizing, DrawError> {
    let most = draws.max(plan(Some(file), level).most);
    let (mut estimate, mut drawn) = samples(file, &order, most, seed)?;
    let mut setting = Setting::of(order);
    setting.winding_c = winding_c(file, &order);
    setting.inrush_times_s = inrush::times_s(&setting, &estimate);
    setting.schedule = soft_start::design(&setting, &estimate, &drawn[..draws]);
    setting.stop_resistor_ohm =
        stop_time::design(&setting, &mut estimate, &mut drawn[..draws], level);
    setting.divided = profile.as_ref().map(|p| profile::divided(p, &estimate));
    setting.region_speeds_rad_s = regions::speeds_rad_s(&setting, &estimate);
    setting.profile = profile;
    let mut sections: Vec<SizedSection> = TOPICS
        .iter()
        .filter(|topic| topic.key != PROFILE || setting.profile.is_some())
        .map(|topic| {
            let motors = if topic.closed_form {
                drawn.len()
            } else {
                draws
            };
            topic.sized(file, &setting, &estimate, &drawn[..motors], level)
        })
        .collect();
    let reach = Reach::of(file, &setting, &estimate);
    for row in sections.iter_mut().flat_map(|section| &mut section.rows) {
        row.extrapolated = reach.is_beyond(row);
    }
    let mut warnings = Vec::new();
    if file.fit.stop.reason != StopReason::Converged {
        let reason = file.fit.stop.text.clone();
        warnings.push(Note::NotConverged { reason }.to_string());
    }
    // Of the states that a profile does not go through nothing is said.
    if setting.profile.is_none() {
        warnings.extend(reach.warnings().map(|note| note.to_string()));
    }
    let mut sizing = Sizing {
        motor: file.motor_name().to_owned(),
        supply_v: order.supply_v,
        draws,
        seed,
        level,
        winding_temperature_c: setting.winding_c,
        fit_converged: file.fit.stop.reason == StopReason::Converged,
        frequency_hz: setting.order.frequency_hz,
        duty: setting.order.duty,
        ripple_share: setting.order.ripple_share,
        winding_limit_c: setting.order.winding_limit_c,
        profile: None,
        assumptions: texts(&assumptions(&setting)),
        warnings,
        sections,
    };
    let unprotected = unprotected(&sizing);
    sizing
        .warnings
        .extend(unprotected.map(|note| note.to_string()));
    sizing.profile = verdict(&sizing);
    Ok(sizing)
}

/// The motor of the estimates, and drawn ones.
fn samples(
    file: &MotorFile,
    order: &Order,
    count: usize,
    seed: u64,
) -> Result<(Sample, Vec<Sample>), DrawError> {
    let mut estimate = Sample::new(file, &ParameterSet::estimate(file), order, 0.0);
    // A generator of its own, so that the motors are those that every other command draws.
    let mut random = StdRng::seed_from_u64(!seed);
    let mut drawn: Vec<Sample> = Population::new(file)?
        .draws(count, seed)?
        .iter()
        .map(|motor| Sample::new(file, motor, order, StandardNormal.sample(&mut random)))
        .collect();
    if let Some(thermal) = file
        .thermal
        .as_ref()
        .filter(|thermal| thermal.is_complete())
    {
        estimate.thermal = Some(Thermal::network(thermal.log_values));
        for (motor, network) in drawn.iter_mut().zip(thermal.draws(seed)) {
            motor.thermal = Some(network);
        }
    }
    Ok((estimate, drawn))
}

fn texts(notes: &[Note]) -> Vec<String> {
    notes.iter().map(ToString::to_string).collect()
}

/// A start that may last longer than a stalled winding stands it: no delay tells one from the other.
fn unprotected(sizing: &Sizing) -> Option<Note> {
    let start_s = sizing.bounded("run_up_time")?.upper;
    let stalled_s = ["stall_time_from_warm", "stall_heating_time"]
        .iter()
        .find_map(|key| sizing.bounded(key))?
        .lower;
    (start_s >= stalled_s).then_some(Note::Unprotected { start_s, stalled_s })
}

fn assumptions(setting: &Setting) -> Vec<Note> {
    let order = &setting.order;
    let mut list = vec![match setting.winding_c {
        Some(winding_c) if order.winding_temperature_c.is_some() => Note::WindingAt { winding_c },
        Some(winding_c) => Note::WindingAsCaptured { winding_c },
        None => Note::WindingUnknown,
    }];
    if order.source_resistance_ohm == 0.0 || order.lead_resistance_ohm == 0.0 {
        list.push(Note::NoSourceResistance);
    }
    list
}
