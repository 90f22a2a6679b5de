//! One entry of the table `[claims]`: a value with tolerance, or limits.

use super::checked::{Claim, SheetError};
use super::printed::{Printed, Tolerance};
use super::reader::{Reader, Texts};
use crate::claim::conformity::Limits;
use crate::claim::entry::Entry;
use crate::quantity::units::Quantity;
use toml::de::DeValue;

const KEYS: [&str; 7] = [
    "value",
    "tolerance",
    "plus",
    "minus",
    "at_most",
    "at_least",
    "frequency",
];

/// A printed number with its place.
type Placed = (usize, Printed);

/// What an entry holds.
struct Parts {
    value: Option<Placed>,
    at_most: Option<Placed>,
    at_least: Option<Placed>,
    tolerance: Option<Tolerance>,
    plus: Option<Tolerance>,
    minus: Option<Tolerance>,
}

impl Parts {
    fn has_tolerance(&self) -> bool {
        self.tolerance.is_some() || self.plus.is_some() || self.minus.is_some()
    }

    fn has_limit(&self) -> bool {
        self.at_most.is_some() || self.at_least.is_some()
    }
}

/// A limit as printed and in SI.
type Bound = Option<(String, f64)>;

impl Reader<'_> {
    /// Reads an entry.
    pub fn claim(
        &self,
        entry: Entry,
        start: usize,
        value: &DeValue<'_>,
        default_tolerance: Option<&Tolerance>,
    ) -> Result<Claim, SheetError> {
        let fields = self.fields(entry, start, value)?;
        let parts = self.parts(entry.quantity(), &fields)?;
        self.check(start, &parts)?;
        let numbers = [&parts.value, &parts.at_most, &parts.at_least];
        let Some(unit) = numbers.into_iter().flatten().next().map(|(_, p)| p.unit) else {
            return Err(self.fault(
                start,
                "neither `value` nor `at_most` nor `at_least` is given",
            ));
        };
        let bounds = self.bounds(&parts, default_tolerance)?;
        let mut printed = describe(&parts, &bounds);
        let frequency = self.frequency(entry, &fields)?;
        if let Some(at) = &frequency {
            printed.push_str(&format!(" at {}", at.text));
        }
        let limits = self.limits(start, &parts, bounds)?;
        let value = parts.value.map(|(_, printed)| printed);
        Ok(Claim {
            entry,
            printed,
            unit,
            value: value.as_ref().map(Printed::si),
            rounding: value.as_ref().map(Printed::rounding),
            frequency_hz: frequency.as_ref().map(Printed::si),
            limits,
            line: self.line(start),
        })
    }

    fn fields(
        &self,
        entry: Entry,
        start: usize,
        value: &DeValue<'_>,
    ) -> Result<Texts<'static>, SheetError> {
        match value {
            DeValue::String(text) => Ok(Texts::from([("value", (start, text.to_string()))])),
            DeValue::Table(_) => self.texts(start, entry.key(), value, &KEYS),
            other => Err(self.wrong_type(
                start,
                entry.key(),
                other,
                "text with a number and a unit, or a table with `value`, `tolerance`, `plus`, `minus`, `at_most`, `at_least`",
            )),
        }
    }

    /// The frequency at which an inductance was read.
    fn frequency(&self, entry: Entry, fields: &Texts<'_>) -> Result<Option<Printed>, SheetError> {
        let Some((place, text)) = fields.get("frequency") else {
            return Ok(None);
        };
        if entry != Entry::ArmatureInductance {
            return Err(self.fault(*place, "only an inductance has a `frequency`"));
        }
        self.above_zero(*place, Quantity::Frequency, text).map(Some)
    }

    fn parts(&self, quantity: Quantity, fields: &Texts<'_>) -> Result<Parts, SheetError> {
        let number = |key: &str| {
            let field = fields.get(key);
            let read = |(place, text): &(usize, String)| {
                Ok((*place, self.above_zero(*place, quantity, text)?))
            };
            field.map(read).transpose()
        };
        let side = |key: &str| {
            let field = fields.get(key);
            let read = |(place, text): &(usize, String)| self.tolerance(*place, quantity, text);
            field.map(read).transpose()
        };
        Ok(Parts {
            value: number("value")?,
            at_most: number("at_most")?,
            at_least: number("at_least")?,
            tolerance: side("tolerance")?,
            plus: side("plus")?,
            minus: side("minus")?,
        })
    }

    /// Refuses what contradicts itself.
    fn check(&self, start: usize, parts: &Parts) -> Result<(), SheetError> {
        let wrong = if parts.tolerance.is_some() && (parts.plus.is_some() || parts.minus.is_some())
        {
            "`tolerance` and `plus` or `minus` say the same thing twice; keep one"
        } else if parts.has_tolerance() && parts.has_limit() {
            "a tolerance and a limit say two different things; keep one"
        } else if parts.has_tolerance() && parts.value.is_none() {
            "a tolerance needs a `value` to which it belongs"
        } else {
            return Ok(());
        };
        Err(self.fault(start, wrong))
    }

    /// Lower and upper limit in the order of the printed numbers.
    fn bounds(
        &self,
        parts: &Parts,
        default_tolerance: Option<&Tolerance>,
    ) -> Result<[Bound; 2], SheetError> {
        let mut bounds: [Bound; 2] = [None, None];
        if let Some((place, printed)) = &parts.value {
            // A value with one-sided tolerance (only `plus`) has no limit on the other side: the sheet says none.
            let default =
                default_tolerance.filter(|_| !parts.has_tolerance() && !parts.has_limit());
            let both = parts.tolerance.as_ref().or(default);
            let sides = [(&parts.minus, -1.0), (&parts.plus, 1.0)];
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
                    let text = format!("the tolerance {} reaches {end}", tolerance.text);
                    return Err(self.fault(*place, text));
                }
                *bound = Some((tolerance.text.clone(), limit_si));
            }
        }
        for (bound, limit) in bounds.iter_mut().zip([&parts.at_least, &parts.at_most]) {
            if let Some((_, printed)) = limit {
                *bound = Some((printed.text.clone(), printed.si()));
            }
        }
        Ok(bounds)
    }

    fn limits(
        &self,
        start: usize,
        parts: &Parts,
        bounds: [Bound; 2],
    ) -> Result<Option<Limits>, SheetError> {
        let [mut lower, mut upper] = bounds.map(|bound| bound.map(|(_, si)| si));
        // "At most" in rpm/V is "at least" in V·s/rad.
        let numbers = [&parts.value, &parts.at_least, &parts.at_most];
        let first = numbers.into_iter().flatten().next();
        if first.is_some_and(|(_, printed)| printed.unit.reciprocal) {
            std::mem::swap(&mut lower, &mut upper);
        }
        if let (Some(lower), Some(upper)) = (lower, upper)
            && lower > upper
        {
            return Err(self.fault(start, "`at_least` lies above `at_most`"));
        }
        Ok((lower.is_some() || upper.is_some()).then_some(Limits { lower, upper }))
    }
}

/// The entry as printed, with its limits.
fn describe(parts: &Parts, bounds: &[Bound; 2]) -> String {
    let mut words = Vec::new();
    if let Some((_, printed)) = &parts.value {
        words.push(printed.text.clone());
        if !parts.has_limit() {
            match bounds {
                [Some((minus, _)), Some((plus, _))] if minus == plus => {
                    words.push(format!("± {plus}"));
                }
                [Some((minus, _)), Some((plus, _))] => return unequal(&printed.text, plus, minus),
                [Some((minus, _)), None] => words.push(format!("- {minus}")),
                [None, Some((plus, _))] => words.push(format!("+ {plus}")),
                [None, None] => {}
            }
        }
    }
    if let Some((_, printed)) = &parts.at_least {
        words.push(format!("at least {}", printed.text));
    }
    if let Some((_, printed)) = &parts.at_most {
        words.push(format!("at most {}", printed.text));
    }
    words.join(" ")
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
