//! From drawn values to bounds (JCGM 101:2008, 7.7: percentiles of the drawn outcomes).

use crate::drive::result::{Absent, Bounded, Entry, Figure, Row};
use crate::drive::section::figures::Def;
use crate::drive::section::{Cell, Column, Known, Table, Why, Worst};
use crate::motor_file::{MotorFile, ParameterName};
use crate::stats::monte_carlo::Outcomes;

/// Turns drawn values into bounds.
pub struct Figures<'a> {
    pub file: &'a MotorFile,
    /// Whether the order leaves the motor as the file has it.
    pub as_in_file: bool,
    pub estimate: &'a [Known],
    /// Of each place; NaN for a motor without a value there.
    pub outcomes: &'a [Vec<f64>],
    pub level: f64,
    /// Whether the middle is the mean of the motors, as that of the fit is; else that of the estimates, which has no chance in it.
    pub mean: bool,
}

impl Figures<'_> {
    /// A row.
    pub fn row(&self, def: &Def, place: usize) -> Row {
        Row {
            key: def.key,
            words: def.words,
            unit: def.unit,
            formula: def.formula,
            extrapolated: false,
            figure: self
                .stated(def.key)
                .unwrap_or_else(|| self.figure(place, def.worst)),
        }
    }

    /// A row that is a parameter of the file.
    fn stated(&self, key: &str) -> Option<Figure> {
        let name = match key {
            "electrical_time_constant" => ParameterName::ElectricalTimeConstant,
            "mechanical_time_constant" => ParameterName::MechanicalTimeConstant,
            _ => return None,
        };
        let parameter = self
            .file
            .parameters
            .get(&name)
            .filter(|_| self.as_in_file)?;
        let levels = parameter
            .level
            .is_some_and(|level| (level - self.level).abs() < 1e-9);
        Some(Figure::Known(Bounded {
            middle: parameter.value.filter(|_| levels)?,
            lower: parameter.lower?,
            upper: parameter.upper?,
            worst: None,
            undefined_share: None,
        }))
    }

    /// A table.
    pub fn table(&self, draft: &Table<Cell>) -> Table<Entry> {
        let entry = |cell: &Cell, column: &Column| match cell {
            Cell::Exact(value) => Entry::Exact(*value),
            Cell::Drawn(place) => Entry::Figure(self.figure(*place, column.worst)),
        };
        Table {
            key: draft.key,
            title: draft.title.clone(),
            formula: draft.formula,
            columns: draft.columns.clone(),
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
        match self.bounded(place, worst) {
            Ok(bounded) => Figure::Known(bounded),
            Err(absent) => Figure::Absent { absent },
        }
    }

    fn bounded(&self, place: usize, worst: Worst) -> Result<Bounded, Absent> {
        let missing = |text: &str| Absent::DoesNotExist(text.to_owned());
        let of_estimate = self.estimate[place].map_err(|why| self.absent(why))?;
        if !of_estimate.is_finite() {
            return Err(missing("no finite value for this motor"));
        }
        let drawn = &self.outcomes[place];
        let found = Outcomes::new(drawn.iter().copied())
            .and_then(|outcomes| Ok((outcomes.summary(self.level)?, outcomes.undefined)));
        let (found, undefined) = found.map_err(|_| {
            missing("it exists for the motor of the estimates, but for hardly any other that the file allows")
        })?;
        let inside = found.lower <= of_estimate && of_estimate <= found.upper;
        Ok(Bounded {
            middle: if self.mean || !inside {
                found.value
            } else {
                of_estimate
            },
            lower: found.lower,
            upper: found.upper,
            worst: match worst {
                Worst::High => Some(found.upper),
                Worst::Low => Some(found.lower),
                Worst::Neither => None,
            },
            undefined_share: (undefined > 0).then(|| undefined as f64 / drawn.len() as f64),
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
                        format!("; it would be determined by: {text}")
                    });
                Absent::Undetermined(format!(
                    "{} is not determined by this motor file{settle}",
                    name.label()
                ))
            }
        }
    }
}
