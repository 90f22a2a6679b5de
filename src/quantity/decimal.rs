//! A finite number rounded to a decimal place, as digits: no binary rounding happens after this.

/// `± digits × 10^place`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Decimal {
    negative: bool,
    /// Without leading zeros; `0` for zero.
    digits: String,
    place: i32,
}

impl Decimal {
    /// Rounds to this many significant digits. `value` is finite. Zero is given that many digits after the point
    /// less one, as if it began at the units.
    pub fn significant(value: f64, digits: i32) -> Self {
        let wanted = usize::try_from(digits - 1).unwrap_or(0);
        let (text, exponent) = scientific(value, wanted);
        Decimal {
            negative: value < 0.0,
            place: exponent - digits + 1,
            digits: without_leading_zeros(&text),
        }
    }

    /// Rounds to the decimal place 10^`place`. `value` is finite.
    pub fn to_place(value: f64, place: i32) -> Self {
        let zero = Decimal {
            negative: false,
            digits: "0".to_owned(),
            place,
        };
        if value == 0.0 {
            return zero;
        }
        let (_, exponent) = scientific(value, 17);
        let digits = match usize::try_from(exponent - place) {
            Ok(after_first) => {
                let (mut text, rounded_exponent) = scientific(value, after_first);
                // 9.96 to one place after the point becomes 1.00e1: a digit more before the same place.
                if rounded_exponent > exponent {
                    text.push('0');
                }
                text
            }
            // Below half a unit of the place, or above it.
            Err(_) if exponent == place - 1 && above_half(value, place) => "1".to_owned(),
            Err(_) => return zero,
        };
        Decimal {
            negative: value < 0.0,
            digits: without_leading_zeros(&digits),
            place,
        }
    }

    pub fn place(&self) -> i32 {
        self.place
    }

    /// Exponent of the first digit; none for zero.
    pub fn leading(&self) -> Option<i32> {
        (self.digits != "0").then(|| self.place + self.digits.len() as i32 - 1)
    }

    /// The number divided by 10^`exponent`.
    pub fn written(&self, exponent: i32) -> String {
        let place = self.place - exponent;
        let sign = if self.negative && self.digits != "0" {
            "-"
        } else {
            ""
        };
        if place >= 0 {
            let zeros = if self.digits == "0" {
                0
            } else {
                place as usize
            };
            return format!("{sign}{}{}", self.digits, "0".repeat(zeros));
        }
        let after = place.unsigned_abs() as usize;
        let padded = format!("{:0>width$}", self.digits, width = after + 1);
        let (before, behind) = padded.split_at(padded.len() - after);
        format!("{sign}{before}.{behind}")
    }
}

/// Digits of |value| with `after_first` behind the first one, and the exponent of the first.
fn scientific(value: f64, after_first: usize) -> (String, i32) {
    let text = format!("{:.after_first$e}", value.abs());
    let (mantissa, exponent) = text.split_once('e').unwrap_or((&text, "0"));
    (
        mantissa.chars().filter(char::is_ascii_digit).collect(),
        exponent.parse().unwrap_or(0),
    )
}

/// Whether |value| is more than 5 × 10^(place − 1), for a value whose first digit is at place − 1.
fn above_half(value: f64, place: i32) -> bool {
    let (digits, exponent) = scientific(value, 20);
    exponent == place - 1 && digits.as_str() > "500000000000000000000"
}

fn without_leading_zeros(digits: &str) -> String {
    let trimmed = digits.trim_start_matches('0');
    if trimmed.is_empty() {
        "0".to_owned()
    } else {
        trimmed.to_owned()
    }
}
