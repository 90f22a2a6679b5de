//! Numbers and tolerances as a vendor prints them.

use crate::bench::{BenchError, Table};
use crate::quantity::units::{self, Quantity, Unit};

/// A number as printed and its unit.
#[derive(Clone, Debug)]
pub struct Printed {
    pub text: String,
    pub number: f64,
    pub unit: &'static Unit,
}

impl Printed {
    /// In SI.
    pub fn si(&self) -> f64 {
        self.unit.to_si(self.number)
    }

    /// Ends of what rounds to the printed digits, SI, rising.
    pub fn rounding(&self) -> (f64, f64) {
        let half = half_unit(&self.text);
        let mut ends = [self.number - half, self.number + half].map(|end| self.unit.to_si(end));
        ends.sort_by(f64::total_cmp);
        (ends[0], ends[1])
    }
}

/// Half-width of a tolerance.
#[derive(Clone, Debug)]
pub struct Tolerance {
    pub text: String,
    /// Share of the value where `unit` is absent.
    pub number: f64,
    pub unit: Option<&'static Unit>,
}

impl Tolerance {
    /// Half-width in the unit of the printed value.
    pub fn width(&self, printed: &Printed) -> f64 {
        match self.unit {
            None => self.number * printed.number.abs(),
            // Units of one quantity differ by a factor; a width in another reciprocal unit scales alike.
            Some(unit) if unit.reciprocal == printed.unit.reciprocal && unit.reciprocal => {
                self.number * printed.unit.factor / unit.factor
            }
            Some(unit) => self.number * unit.factor / printed.unit.factor,
        }
    }
}

/// Half a unit of the last printed digit that carries meaning. Zeros at the end of a whole number may be fill, but at
/// least three digits are taken to be meant: `5200` is 5195 to 5205.
fn half_unit(text: &str) -> f64 {
    let end = text
        .find(|letter: char| !matches!(letter, '0'..='9' | '.' | '+' | '-' | 'e' | 'E'))
        .unwrap_or(text.len());
    let number = &text[..end];
    let (mantissa, exponent) = match number.find(['e', 'E']) {
        Some(place) => (&number[..place], number[place + 1..].parse().unwrap_or(0)),
        None => (number, 0),
    };
    let last: i32 = match mantissa.split_once('.') {
        Some((_, decimals)) => -(decimals.len() as i32),
        None => {
            let digits = mantissa.trim_start_matches(['+', '-', '0']);
            let zeros = digits.len() - digits.trim_end_matches('0').len();
            zeros.min(digits.len().saturating_sub(3)) as i32
        }
    };
    0.5 * 10f64.powi(last + exponent)
}

/// A text of a key read as a number with a unit.
fn number(
    table: &Table<'_>,
    key: &str,
    quantity: Quantity,
    text: &str,
) -> Result<Printed, BenchError> {
    let (number, unit) =
        units::parse(quantity, text).or_else(|error| table.invalid(key, error.to_string()))?;
    if !unit.to_si(number).is_finite() {
        let si = units::si(quantity).text;
        return table.invalid(key, format!("\"{text}\" is beyond any number of {si}"));
    }
    Ok(Printed {
        text: text.trim().to_owned(),
        number,
        unit,
    })
}

/// The number above zero that a key holds.
pub fn above_zero(
    table: &Table<'_>,
    key: &str,
    quantity: Quantity,
) -> Result<Option<Printed>, BenchError> {
    let Some(text) = table.text(key)? else {
        return Ok(None);
    };
    match number(table, key, quantity, &text)? {
        printed if printed.number > 0.0 => Ok(Some(printed)),
        _ => table.invalid(key, format!("\"{text}\" is not above zero")),
    }
}

/// The temperature that a key holds, °C.
pub fn temperature(table: &Table<'_>, key: &str) -> Result<Option<f64>, BenchError> {
    let Some(text) = table.text(key)? else {
        return Ok(None);
    };
    match number(table, key, Quantity::Temperature, &text)?.number {
        celsius @ -100.0..=400.0 => Ok(Some(celsius)),
        _ => table.invalid(
            key,
            format!("\"{text}\" is no temperature of a winding; expected -100 °C to 400 °C"),
        ),
    }
}

/// `10 %` (of the value), or a number in a unit of the quantity; a leading `±` is allowed.
pub fn tolerance(
    table: &Table<'_>,
    key: &str,
    quantity: Quantity,
) -> Result<Option<Tolerance>, BenchError> {
    let Some(text) = table.text(key)? else {
        return Ok(None);
    };
    let body = text.trim().trim_start_matches('±').trim();
    let (number, unit) = if body.ends_with('%') {
        let share = number(table, key, Quantity::Ratio, body)?;
        (share.si(), None)
    } else if quantity == Quantity::Ratio {
        let text = format!("\"{text}\" is no tolerance; expected a percentage, e.g. \"10 %\"");
        return table.invalid(key, text);
    } else {
        let width = number(table, key, quantity, body)?;
        (width.number, Some(width.unit))
    };
    if !(number >= 0.0 && (number < 1.0 || unit.is_some())) {
        let text = format!("\"{text}\" is no tolerance; expected 0 % to below 100 %, or a width");
        return table.invalid(key, text);
    }
    Ok(Some(Tolerance {
        text: body.to_owned(),
        number,
        unit,
    }))
}
