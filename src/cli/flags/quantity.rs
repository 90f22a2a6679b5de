//! Values of options that have a unit, which is never left out.

use clap::Arg;
use rundown::quantity::FlagUnits;
use rundown::quantity::units::{Quantity, UnitError, parse_si};

/// Reads an option as this quantity, SI.
pub fn si(quantity: Quantity) -> impl Fn(&str) -> Result<f64, String> + Clone + Send + Sync {
    move |text| parse_si(quantity, text).map_err(|error| error.to_string())
}

/// The same, above zero.
pub fn positive_si(
    quantity: Quantity,
) -> impl Fn(&str) -> Result<f64, String> + Clone + Send + Sync {
    move |text| match si(quantity)(text)? {
        si if si > 0.0 => Ok(si),
        _ => Err(format!("expected a {quantity} above zero")),
    }
}

/// Reads an option in the units of a short list, SI.
pub fn short(units: FlagUnits) -> impl Fn(&str) -> Result<f64, UnitError> + Clone + Send + Sync {
    move |text| units.parse(text)
}

/// Lets the value of an option begin with a minus, so that the command itself says what is wrong with it.
pub fn signed(arg: Arg) -> Arg {
    match !arg.is_positional() && arg.get_action().takes_values() {
        true => arg.allow_hyphen_values(true),
        false => arg,
    }
}
