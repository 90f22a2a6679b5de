//! One entry of the table `[claims]`: a value with tolerance, or limits.

use super::checked::Claim;
use super::printed::{Printed, Tolerance, above_zero, tolerance};
use crate::bench::{BenchError, Table};
use crate::claim::conformity::Limits;
use crate::claim::entry::Entry;
use crate::quantity::units::Quantity;

/// What an entry holds.
#[derive(Default)]
struct Parts {
    value: Option<Printed>,
    at_most: Option<Printed>,
    at_least: Option<Printed>,
    tolerance: Option<Tolerance>,
    plus: Option<Tolerance>,
    minus: Option<Tolerance>,
    frequency: Option<Printed>,
}

/// A limit as printed and in SI.
type Bound = Option<(String, f64)>;

/// Reads an entry that the table of the claims holds.
pub fn read(
    claims: &Table<'_>,
    entry: Entry,
    default_tolerance: Option<&Tolerance>,
) -> Result<Claim, BenchError> {
    let fault = |why: &str| BenchError::at(&claims.place_of(entry.key()), why);
    let parts = Parts::read(claims, entry)?;
    if let Some(why) = parts.contradiction() {
        return Err(fault(why));
    }
    let Some(unit) = parts.numbers().next().map(|printed| printed.unit) else {
        return Err(fault(
            "neither `value` nor `at_most` nor `at_least` is given",
        ));
    };
    let bounds = parts.bounds(default_tolerance).map_err(|why| fault(&why))?;
    let mut printed = parts.describe(&bounds);
    if let Some(at) = &parts.frequency {
        printed.push_str(&format!(" at {}", at.text));
    }
    let [mut lower, mut upper] = bounds.map(|bound| bound.map(|(_, si)| si));
    // "At most" in rpm/V is "at least" in V·s/rad.
    if unit.reciprocal {
        std::mem::swap(&mut lower, &mut upper);
    }
    if lower.zip(upper).is_some_and(|(lower, upper)| lower > upper) {
        return Err(fault("`at_least` lies above `at_most`"));
    }
    Ok(Claim {
        entry,
        printed,
        unit,
        value: parts.value.as_ref().map(Printed::si),
        rounding: parts.value.as_ref().map(Printed::rounding),
        frequency_hz: parts.frequency.as_ref().map(Printed::si),
        limits: (lower.is_some() || upper.is_some()).then_some(Limits { lower, upper }),
    })
}

impl Parts {
    fn read(claims: &Table<'_>, entry: Entry) -> Result<Parts, BenchError> {
        let (key, quantity) = (entry.key(), entry.quantity());
        if claims.is_text(key) {
            return Ok(Parts {
                value: above_zero(claims, key, quantity)?,
                ..Parts::default()
            });
        }
        let expected = "a text with a number and a unit, or a table with `value`, `tolerance`, `plus`, `minus`, `at_most`, `at_least`";
        let Some(table) = claims.table_as(key, expected)? else {
            return Ok(Parts::default());
        };
        let parts = Parts {
            value: above_zero(&table, "value", quantity)?,
            tolerance: tolerance(&table, "tolerance", quantity)?,
            plus: tolerance(&table, "plus", quantity)?,
            minus: tolerance(&table, "minus", quantity)?,
            at_most: above_zero(&table, "at_most", quantity)?,
            at_least: above_zero(&table, "at_least", quantity)?,
            frequency: above_zero(&table, "frequency", Quantity::Frequency)?,
        };
        table.finish()?;
        if parts.frequency.is_some() && entry != Entry::ArmatureInductance {
            return table.invalid("frequency", "only an inductance has a `frequency`");
        }
        Ok(parts)
    }

    /// The printed numbers.
    fn numbers(&self) -> impl Iterator<Item = &Printed> {
        let numbers = [&self.value, &self.at_least, &self.at_most];
        numbers.into_iter().flatten()
    }

    fn has_tolerance(&self) -> bool {
        self.tolerance.is_some() || self.plus.is_some() || self.minus.is_some()
    }

    fn has_limit(&self) -> bool {
        self.at_most.is_some() || self.at_least.is_some()
    }

    /// What contradicts itself.
    fn contradiction(&self) -> Option<&'static str> {
        if self.tolerance.is_some() && (self.plus.is_some() || self.minus.is_some()) {
            Some("`tolerance` and `plus` or `minus` say the same thing twice; keep one")
        } else if self.has_tolerance() && self.has_limit() {
            Some("a tolerance and a limit say two different things; keep one")
        } else if self.has_tolerance() && self.value.is_none() {
            Some("a tolerance needs a `value` to which it belongs")
        } else {
            None
        }
    }

    /// Lower and upper limit in the order of the printed numbers.
    fn bounds(&self, default_tolerance: Option<&Tolerance>) -> Result<[Bound; 2], String> {
        let limit = |limit: &Option<Printed>| limit.as_ref().map(|p| (p.text.clone(), p.si()));
        let mut bounds = [&self.at_least, &self.at_most].map(limit);
        let Some(printed) = self.value.as_ref().filter(|_| !self.has_limit()) else {
            return Ok(bounds);
        };
        // A value with one-sided tolerance (only `plus`) has no limit on the other side: the sheet says none.
        let default = default_tolerance.filter(|_| !self.has_tolerance());
        let both = self.tolerance.as_ref().or(default);
        let sides = [(&self.minus, -1.0), (&self.plus, 1.0)];
        for (bound, (own, sign)) in bounds.iter_mut().zip(sides) {
            let Some(tolerance) = own.as_ref().or(both) else {
                continue;
            };
            let limit = printed.number + sign * tolerance.width(printed);
            let limit_si = printed.unit.to_si(limit);
            if !(limit > 0.0 && limit_si.is_finite()) {
                let end = match limit > 0.0 {
                    true => "beyond any number",
                    false => "below zero",
                };
                return Err(format!("the tolerance {} reaches {end}", tolerance.text));
            }
            *bound = Some((tolerance.text.clone(), limit_si));
        }
        Ok(bounds)
    }

    /// The entry as printed, with its limits.
    fn describe(&self, bounds: &[Bound; 2]) -> String {
        let mut words = Vec::new();
        if let Some(printed) = &self.value {
            words.push(printed.text.clone());
            if !self.has_limit() {
                match bounds {
                    [Some((minus, _)), Some((plus, _))] if minus == plus => {
                        words.push(format!("± {plus}"));
                    }
                    [Some((minus, _)), Some((plus, _))] => {
                        return unequal(&printed.text, plus, minus);
                    }
                    [Some((minus, _)), None] => words.push(format!("- {minus}")),
                    [None, Some((plus, _))] => words.push(format!("+ {plus}")),
                    [None, None] => {}
                }
            }
        }
        if let Some(printed) = &self.at_least {
            words.push(format!("at least {}", printed.text));
        }
        if let Some(printed) = &self.at_most {
            words.push(format!("at most {}", printed.text));
        }
        words.join(" ")
    }
}

/// `15 +1 -2 g·cm²`, the unit once where all three have the same.
fn unequal(value: &str, plus: &str, minus: &str) -> String {
    let split = [value, plus, minus].map(|text| text.split_once(' '));
    if let [Some((value, unit)), Some((plus, one)), Some((minus, other))] = split
        && unit == one
        && unit == other
    {
        return format!("{value} +{plus} -{minus} {unit}");
    }
    format!("{value} +{plus} -{minus}")
}
