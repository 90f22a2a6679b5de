//! Every topic for the estimate and for motors drawn from the covariance: middle, interval, worst end
//! (JCGM 101:2008, 7.7: percentiles of the drawn outcomes).

use super::cautions::Caution;
use super::order::Order;
use super::sample::{Sample, winding_c};
use super::section::{Cell, Column, Def, Known, Sink, TableDraft, Unit, Why, Worst};
use super::setting::Setting;
use super::topics::{
    braking, half_bridge, heating, inrush, pwm, soft_start, time_constants, turn_off,
};
use crate::motor_file::draw::{DrawError, ParameterSet, Population};
use crate::motor_file::{MotorFile, StopReason};
use crate::stats::monte_carlo::Outcomes;
use rayon::prelude::*;

/// A number with its bounds, SI.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize)]
pub struct Bounded {
    /// Of the estimates.
    pub middle: f64,
    pub lower: f64,
    pub upper: f64,
    /// The end to design for; absent where neither hurts.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub worst: Option<f64>,
    /// Share of the drawn motors for which it does not exist.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub undefined_share: Option<f64>,
}

/// Why a number is absent.
#[derive(Clone, Debug, PartialEq, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Absent {
    /// The motor file does not determine what it needs.
    Undetermined(String),
    /// An option was not given.
    NotGiven(String),
    /// It does not exist for this motor under this order.
    DoesNotExist(String),
    /// Nobody needs it here.
    Needless(String),
}

impl Absent {
    /// As the table prints it.
    pub fn text(&self) -> &str {
        match self {
            Absent::Undetermined(text)
            | Absent::NotGiven(text)
            | Absent::DoesNotExist(text)
            | Absent::Needless(text) => text,
        }
    }
}

/// A number, or why there is none.
#[derive(Clone, Debug, PartialEq, serde::Serialize)]
#[serde(untagged)]
pub enum Figure {
    Known(Bounded),
    Absent { absent: Absent },
}

/// One row.
#[derive(Clone, Debug, serde::Serialize)]
pub struct Row {
    pub key: &'static str,
    pub words: &'static str,
    #[serde(rename = "unit", serialize_with = "si")]
    pub unit: Unit,
    /// Section of `docs/drive.md`.
    pub formula: &'static str,
    #[serde(flatten)]
    pub figure: Figure,
}

/// One table.
#[derive(Clone, Debug, serde::Serialize)]
pub struct Table {
    pub key: &'static str,
    pub title: String,
    pub formula: &'static str,
    pub columns: Vec<Head>,
    pub lines: Vec<Vec<Entry>>,
}

/// Head of a column.
#[derive(Clone, Copy, Debug, serde::Serialize)]
pub struct Head {
    pub words: &'static str,
    #[serde(serialize_with = "si")]
    pub unit: Unit,
}

/// A cell.
#[derive(Clone, Debug, serde::Serialize)]
#[serde(untagged)]
pub enum Entry {
    Exact(f64),
    Figure(Figure),
}

/// One topic.
#[derive(Clone, Debug, serde::Serialize)]
pub struct Section {
    pub key: &'static str,
    pub title: &'static str,
    pub rows: Vec<Row>,
    pub tables: Vec<Table>,
    pub remarks: Vec<String>,
    pub cautions: Vec<&'static str>,
}

/// The whole answer.
#[derive(Clone, Debug, serde::Serialize)]
pub struct Sizing {
    pub motor: String,
    pub supply_v: f64,
    pub draws: usize,
    pub seed: u64,
    pub level: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub winding_temperature_c: Option<f64>,
    /// Whether the fit behind the motor file converged.
    pub fit_converged: bool,
    /// What was taken for granted.
    pub assumptions: Vec<String>,
    pub warnings: Vec<String>,
    pub sections: Vec<Section>,
}

impl Sizing {
    /// Whether the fit converged and every result is there, or only waits for an option. Extrapolation is a warning.
    pub fn stands(&self) -> bool {
        self.fit_converged
            && !self
                .absent()
                .any(|absent| matches!(absent, Absent::Undetermined(_) | Absent::DoesNotExist(_)))
    }

    fn absent(&self) -> impl Iterator<Item = &Absent> {
        self.sections
            .iter()
            .flat_map(|section| &section.rows)
            .filter_map(|row| match &row.figure {
                Figure::Absent { absent } => Some(absent),
                Figure::Known(_) => None,
            })
    }
}

fn si<S: serde::Serializer>(unit: &Unit, serializer: S) -> Result<S::Ok, S::Error> {
    serializer.serialize_str(unit.si())
}

type Fill = fn(&Setting, &Sample, &mut Sink);

const TOPICS: [(&str, &str, Fill, &[Caution]); 8] = [
    (
        "time_constants",
        "Time constants",
        time_constants::fill,
        &[],
    ),
    (
        "inrush",
        "Start at full voltage",
        inrush::fill,
        &[Caution::LargeCurrents, Caution::TurningShaft],
    ),
    (
        "soft_start",
        "Soft start under a current limit",
        soft_start::fill,
        &[Caution::TurningShaft],
    ),
    ("pwm", "PWM", pwm::fill, &[Caution::OpenedInductance]),
    (
        "half_bridge",
        "Half bridge",
        half_bridge::fill,
        &[Caution::LargeCurrents, Caution::RaisedSupply],
    ),
    (
        "turn_off",
        "Turn-off",
        turn_off::fill,
        &[Caution::OpenedInductance],
    ),
    (
        "braking",
        "Braking from running speed",
        braking::fill,
        &[
            Caution::LargeCurrents,
            Caution::RaisedSupply,
            Caution::Demagnetisation,
        ],
    ),
    (
        "heating",
        "Held rotor",
        heating::fill,
        &[Caution::LockedRotor, Caution::Codes],
    ),
];

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
    let mut sections = Vec::with_capacity(TOPICS.len());
    for (key, title, fill, cautions) in TOPICS {
        let mut layout = Sink {
            estimate: true,
            ..Sink::default()
        };
        fill(&setting, &estimate, &mut layout);
        let outcomes: Vec<Vec<Known>> = drawn
            .par_iter()
            .map(|motor| {
                let mut sink = Sink::default();
                fill(&setting, motor, &mut sink);
                sink.values
            })
            .collect();
        let figures = Figures {
            file,
            estimate: &layout.values,
            outcomes: &outcomes,
            level,
        };
        sections.push(Section {
            key,
            title,
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
            cautions: cautions.iter().map(|caution| caution.text()).collect(),
        });
    }
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

/// Turns drawn values into bounds.
struct Figures<'a> {
    file: &'a MotorFile,
    estimate: &'a [Known],
    outcomes: &'a [Vec<Known>],
    level: f64,
}

impl Figures<'_> {
    fn row(&self, def: &Def, place: usize) -> Row {
        Row {
            key: def.key,
            words: def.words,
            unit: def.unit,
            formula: def.formula,
            figure: self.figure(place, def.worst),
        }
    }

    fn table(&self, draft: &TableDraft) -> Table {
        let entry = |cell: &Cell, column: &Column| match cell {
            Cell::Exact(value) => Entry::Exact(*value),
            Cell::Drawn(place) => Entry::Figure(self.figure(*place, column.worst)),
        };
        Table {
            key: draft.key,
            title: draft.title.clone(),
            formula: draft.formula,
            columns: draft
                .columns
                .iter()
                .map(|column| Head {
                    words: column.words,
                    unit: column.unit,
                })
                .collect(),
            lines: draft
                .lines
                .iter()
                .map(|line| {
                    line.iter()
                        .zip(&draft.columns)
                        .map(|(cell, column)| entry(cell, column))
                        .collect()
                })
                .collect(),
        }
    }

    fn figure(&self, place: usize, worst: Worst) -> Figure {
        let middle = match self.estimate[place] {
            Ok(middle) if middle.is_finite() => middle,
            Ok(_) => {
                return Figure::Absent {
                    absent: Absent::DoesNotExist("no finite value for this motor".to_owned()),
                };
            }
            Err(why) => {
                return Figure::Absent {
                    absent: self.absent(why),
                };
            }
        };
        let drawn = self.outcomes.iter().map(|motor| {
            motor
                .get(place)
                .copied()
                .unwrap_or(Ok(f64::NAN))
                .unwrap_or(f64::NAN)
        });
        let ends = Outcomes::new(drawn).ok().and_then(|outcomes| {
            Some((
                outcomes.percentile_interval(self.level).ok()?,
                outcomes.undefined,
            ))
        });
        let Some(((lower, upper), undefined)) = ends else {
            return Figure::Absent {
                absent: Absent::DoesNotExist(
                    "it exists for the motor of the estimates, but for hardly any other that the file allows".to_owned(),
                ),
            };
        };
        Figure::Known(Bounded {
            middle,
            lower,
            upper,
            worst: match worst {
                Worst::High => Some(upper),
                Worst::Low => Some(lower),
                Worst::Neither => None,
            },
            undefined_share: (undefined > 0).then(|| undefined as f64 / self.outcomes.len() as f64),
        })
    }

    fn absent(&self, why: Why) -> Absent {
        match why {
            Why::Physics(text) => Absent::DoesNotExist(text.to_owned()),
            Why::Moot(text) => Absent::Needless(text.to_owned()),
            Why::NotGiven(option) => Absent::NotGiven(format!("needs {option}")),
            Why::Undetermined(name) => {
                let settle = self
                    .file
                    .parameters
                    .get(&name)
                    .and_then(|parameter| parameter.suggestion.as_deref())
                    .map_or(String::new(), |text| {
                        format!("; what would settle it: {text}")
                    });
                Absent::Undetermined(format!(
                    "{} is not determined by this motor file{settle}",
                    name.words()
                ))
            }
        }
    }
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
