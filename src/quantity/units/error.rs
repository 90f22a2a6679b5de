//! What is wrong with a unit or a number that a person wrote.

use super::Quantity;

/// A unit or a number that cannot be read.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum UnitError {
    /// A unit of something else, or none at all.
    #[error("\"{text}\" is no unit of {quantity}; known are {known}")]
    Unknown {
        /// The unit as written.
        text: String,
        /// What was expected.
        quantity: Quantity,
        /// The units that would do.
        known: String,
    },
    /// A text that does not begin with a finite number.
    #[error(
        "\"{text}\" has no number in front; expected a number and a unit of {quantity}, e.g. \"{example}\""
    )]
    NoNumber {
        /// The whole text.
        text: String,
        /// What was expected.
        quantity: Quantity,
        /// A text that could be read.
        example: String,
    },
    /// A number alone.
    #[error("\"{text}\" has no unit; expected a number and a unit of {quantity}, one of {known}")]
    NoUnit {
        /// The whole text.
        text: String,
        /// What was expected.
        quantity: Quantity,
        /// The units that would do.
        known: String,
    },
}
