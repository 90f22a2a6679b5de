//! The one rule by which a value and its uncertainty are written for people.
//!
//! The standard uncertainty (or half-width) is rounded to two significant digits and the value to the same decimal
//! place (JCGM 100:2008, 7.2.6), both by the decimal digits of the exact number, ties to even. The uncertainty stands in parentheses, as digits
//! of the last places of the value (7.2.2, 2), or with its own point where the point lies within them. Further:
//!
//! | case | written |
//! | --- | --- |
//! | uncertainty unknown (`None`) | value alone, four significant digits |
//! | uncertainty zero | value to six significant digits, `(0)` |
//! | uncertainty infinite | value alone to two significant digits, `(inf)` |
//! | uncertainty not a number, or negative | value to four significant digits, `(nan)` |
//! | value not finite | `nan`, `inf` or `-inf`, no uncertainty |
//! | value unknown | is an `Option` in the caller and never comes here |
//!
//! A value that rounds to zero carries no sign. Files keep the full numbers; this rule is for tables and pages only.

use super::decimal::Decimal;
use super::prefix;

/// How the power of ten of a number is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Scale {
    /// As it is, `0.00230(12)`; in powers of ten beyond six zeros either way.
    Plain,
    /// With an engineering prefix before the unit, `2.30(12) mH`. For units that take one: not for kg·m² or
    /// V·s/rad, whose prefix would be read into the wrong place.
    Prefix,
    /// With a power of ten that is a multiple of three, `2.30(12) × 10⁻³ kg·m²`.
    Power,
}

/// A number ready to be set in a sentence or, part by part, in a table.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Rounded {
    /// Digits of the value.
    pub value: String,
    /// Digits of the uncertainty, to the same place; `None` where it is unknown.
    pub uncertainty: Option<String>,
    /// Power of ten both are to be multiplied with, 0 if none.
    pub exponent: i32,
    scale: Scale,
}

const DIGITS_OF_UNCERTAINTY: i32 = 2;
const DIGITS_WITHOUT: i32 = 4;
const DIGITS_EXACT: i32 = 6;

/// Applies the rule of this module to `value` and its standard `uncertainty` (both in the same unit).
pub fn round(value: f64, uncertainty: Option<f64>, scale: Scale) -> Rounded {
    if !value.is_finite() {
        return Rounded {
            value: not_finite(value),
            uncertainty: None,
            exponent: 0,
            scale,
        };
    }
    let special = |digits: i32, text: Option<&str>| {
        let value = Decimal::significant(value, digits);
        let exponent = exponent_for(&[&value], scale);
        Rounded {
            value: value.written(exponent),
            uncertainty: text.map(str::to_owned),
            exponent,
            scale,
        }
    };
    match uncertainty {
        None => special(DIGITS_WITHOUT, None),
        Some(0.0) => special(DIGITS_EXACT, Some("0")),
        Some(f64::INFINITY) => special(DIGITS_OF_UNCERTAINTY, Some("inf")),
        Some(u) if u.is_nan() || u < 0.0 => special(DIGITS_WITHOUT, Some("nan")),
        Some(u) => {
            let uncertainty = Decimal::significant(u, DIGITS_OF_UNCERTAINTY);
            let value = Decimal::to_place(value, uncertainty.place());
            let exponent = exponent_for(&[&value, &uncertainty], scale);
            Rounded {
                value: value.written(exponent),
                uncertainty: Some(uncertainty.written(exponent)),
                exponent,
                scale,
            }
        }
    }
}

/// The same, written out with its unit: [`round`] and then [`Rounded::with_unit`].
pub fn write(value: f64, uncertainty: Option<f64>, unit: &str, scale: Scale) -> String {
    round(value, uncertainty, scale).with_unit(unit)
}

/// As [`write()`], of an uncertainty that is known.
pub fn concise(value: f64, uncertainty: f64, unit: &str, scale: Scale) -> String {
    write(value, Some(uncertainty), unit, scale)
}

/// Writes an interval, its ends to the place of two significant digits of half its width: `3.101 to 3.269 Ω`. An end
/// that is infinite makes it one-sided, `at most 0.042 Ω`, `at least 1.2 Ω`, to two significant digits.
///
/// Ends that are equal are written to six digits; an interval that is not one (an end not a number, the lower above
/// the upper) as `nan`.
pub fn write_interval(low: f64, high: f64, unit: &str, scale: Scale) -> String {
    let one_end = |words: &str, end: f64| {
        let number = Decimal::significant(end, DIGITS_OF_UNCERTAINTY);
        let exponent = exponent_for(&[&number], scale);
        let text = decorated(number.written(exponent), false, exponent, unit, scale);
        format!("{words} {text}")
    };
    match (low.is_finite(), high.is_finite()) {
        _ if low.is_nan() || high.is_nan() || low > high => "nan".to_owned(),
        (true, true) => {
            let place = if low == high {
                Decimal::significant(low, DIGITS_EXACT).place()
            } else {
                // Halved before the difference, so that it cannot overflow.
                Decimal::significant(0.5 * high - 0.5 * low, DIGITS_OF_UNCERTAINTY).place()
            };
            let (low, high) = (
                Decimal::to_place(low, place),
                Decimal::to_place(high, place),
            );
            let exponent = exponent_for(&[&low, &high], scale);
            let numbers = format!("{} to {}", low.written(exponent), high.written(exponent));
            decorated(numbers, true, exponent, unit, scale)
        }
        (false, true) if low < 0.0 => one_end("at most", high),
        (true, false) if high > 0.0 => one_end("at least", low),
        (false, false) if low < high => "unlimited".to_owned(),
        _ => "nan".to_owned(),
    }
}

impl Rounded {
    /// `3.186(42) Ω`, `57.2(9.9) mH`, `2.30(12) × 10⁻⁶ kg·m²`; the unit may be empty.
    pub fn with_unit(&self, unit: &str) -> String {
        let numbers = match &self.uncertainty {
            Some(uncertainty) => format!("{}({})", self.value, last_places(uncertainty)),
            None => self.value.clone(),
        };
        decorated(numbers, false, self.exponent, unit, self.scale)
    }
}

/// An uncertainty below one as its digits alone: `0.042` is `42`, while `4.2` keeps its point.
fn last_places(uncertainty: &str) -> &str {
    match uncertainty.strip_prefix("0.") {
        Some(places) => places.trim_start_matches('0'),
        None => uncertainty,
    }
}

/// Adds the power of ten, as a prefix or written out, and the unit; `several` numbers go into brackets.
fn decorated(numbers: String, several: bool, exponent: i32, unit: &str, scale: Scale) -> String {
    let prefix = match scale {
        Scale::Prefix => prefix::symbol(exponent),
        Scale::Plain | Scale::Power => None,
    };
    let text = match prefix {
        Some(prefix) => return format!("{numbers} {prefix}{unit}").trim_end().to_owned(),
        None if exponent == 0 => numbers,
        None if several => format!("({numbers}) × 10{}", superscript(exponent)),
        None => format!("{numbers} × 10{}", superscript(exponent)),
    };
    if unit.is_empty() {
        text
    } else {
        format!("{text} {unit}")
    }
}

/// A probability in percent, to a tenth.
pub fn percent(probability: f64) -> f64 {
    (probability * 1000.0).round() / 10.0
}

/// Rounded to so many significant digits, to keep a file small; what is not finite stays so.
pub fn significant(x: f64, digits: i32) -> f64 {
    if x == 0.0 || !x.is_finite() {
        return x;
    }
    let places = digits - 1 - x.abs().log10().floor() as i32;
    // Dividing by an exact power of ten gives the double nearest to the decimal number; multiplying by 1e-3 would not.
    if (0..=22).contains(&places) {
        let scale = 10f64.powi(places);
        (x * scale).round() / scale
    } else if (-22..0).contains(&places) {
        let scale = 10f64.powi(-places);
        (x / scale).round() * scale
    } else {
        x
    }
}

fn not_finite(value: f64) -> String {
    if value.is_nan() {
        "nan".to_owned()
    } else if value > 0.0 {
        "inf".to_owned()
    } else {
        "-inf".to_owned()
    }
}

/// Power of ten to take out, from the larger of the numbers.
fn exponent_for(numbers: &[&Decimal], scale: Scale) -> i32 {
    let Some(leading) = numbers.iter().filter_map(|number| number.leading()).max() else {
        return 0;
    };
    let multiple_of_three = 3 * leading.div_euclid(3);
    match scale {
        Scale::Plain if (-6..=6).contains(&leading) => 0,
        Scale::Prefix if prefix::symbol(multiple_of_three).is_none() => {
            multiple_of_three.clamp(-18, 12)
        }
        Scale::Plain | Scale::Prefix | Scale::Power => multiple_of_three,
    }
}

/// A number as it is set raised: `-6` as `⁻⁶`.
pub(crate) fn superscript(exponent: i32) -> String {
    exponent
        .to_string()
        .chars()
        .map(|character| match character {
            '-' => '⁻',
            '1' => '¹',
            '2' => '²',
            '3' => '³',
            '4' => '⁴',
            '5' => '⁵',
            '6' => '⁶',
            '7' => '⁷',
            '8' => '⁸',
            '9' => '⁹',
            _ => '⁰',
        })
        .collect()
}

#[cfg(test)]
mod tests;
