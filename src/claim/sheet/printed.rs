//! Numbers and tolerances as a vendor prints them.

use crate::quantity::units::Unit;

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
