//! A number that is measured, given by the person, or guessed, with the range in which it is to be expected.

use serde::Serialize;

/// Where a number comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Basis {
    /// From the fit, or from a meter's readings.
    Measured,
    /// As the person gave it.
    Given,
    /// Worked out from numbers among which at least one is a guess.
    FromGuess,
    /// Common practice, no source.
    Guess,
}

impl Basis {
    /// Words behind a number.
    pub fn label(self) -> &'static str {
        match self {
            Basis::Measured => "measured",
            Basis::Given => "given",
            Basis::FromGuess => "from guesses",
            Basis::Guess => "guess",
        }
    }
}

/// A number in SI with its range.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Guess {
    pub value: f64,
    pub low: f64,
    pub high: f64,
    pub basis: Basis,
}

impl Guess {
    /// A guess within a factor either way.
    pub fn within_factor(value: f64, factor: f64) -> Self {
        Guess {
            value,
            low: value / factor,
            high: value * factor,
            basis: Basis::Guess,
        }
    }

    /// A guess with its range: low, most likely, high.
    pub fn range((low, value, high): (f64, f64, f64)) -> Self {
        Guess {
            value,
            low,
            high,
            basis: Basis::Guess,
        }
    }

    /// A number as the person gave it.
    pub fn given(value: f64) -> Self {
        Guess {
            value,
            low: value,
            high: value,
            basis: Basis::Given,
        }
    }

    /// The same with another basis.
    pub fn on(self, basis: Basis) -> Self {
        Guess { basis, ..self }
    }

    /// Product with an exact factor above zero.
    pub fn times(self, factor: f64) -> Self {
        Guess {
            value: self.value * factor,
            low: self.low * factor,
            high: self.high * factor,
            basis: self.basis,
        }
    }

    /// Product of two positive numbers; the range covers both.
    pub fn product(self, other: Guess) -> Self {
        Guess {
            value: self.value * other.value,
            low: self.low * other.low,
            high: self.high * other.high,
            basis: joined(self.basis, other.basis),
        }
    }

    /// Quotient of two positive numbers; the range covers both.
    pub fn over(self, other: Guess) -> Self {
        Guess {
            value: self.value / other.value,
            low: self.low / other.high,
            high: self.high / other.low,
            basis: joined(self.basis, other.basis),
        }
    }

    /// True where it may be printed without a range.
    pub fn is_sharp(&self) -> bool {
        self.high <= self.low * (1.0 + 1e-9)
    }
}

fn joined(one: Basis, other: Basis) -> Basis {
    use Basis::{FromGuess, Given, Guess, Measured};
    match (one, other) {
        (Guess | FromGuess, _) | (_, Guess | FromGuess) => FromGuess,
        (Given, _) | (_, Given) => Given,
        (Measured, Measured) => Measured,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn a_quotient_covers_both_ranges_and_stays_a_guess() {
        let inrush = Guess::given(24.0).over(Guess::range((2.0, 3.0, 4.0)));
        assert_relative_eq!(inrush.low, 6.0);
        assert_relative_eq!(inrush.high, 12.0);
        assert_eq!(inrush.basis, Basis::FromGuess);
    }
}
