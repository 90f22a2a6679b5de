//! From drawn values to bounds (JCGM 101:2008, 7.7: percentiles of the drawn outcomes).

use super::result::{Absent, Bounded, Entry, Figure, Head, Row, Table};
use super::section::{Cell, Column, Def, Known, TableDraft, Why, Worst};
use crate::motor_file::MotorFile;
use crate::stats::monte_carlo::Outcomes;

/// Turns drawn values into bounds.
pub struct Figures<'a> {
    pub file: &'a MotorFile,
    pub estimate: &'a [Known],
    pub outcomes: &'a [Vec<Known>],
    pub level: f64,
}

impl Figures<'_> {
    /// A row.
    pub fn row(&self, def: &Def, place: usize) -> Row {
        Row {
            key: def.key,
            words: def.words,
            unit: def.unit,
            formula: def.formula,
            figure: self.figure(place, def.worst),
        }
    }

    /// A table.
    pub fn table(&self, draft: &TableDraft) -> Table {
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
                    name.label()
                ))
            }
        }
    }
}
