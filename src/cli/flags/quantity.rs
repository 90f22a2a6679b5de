//! Quantities with a unit, as `drive` and `export` take them: the unit is never left out.

use anyhow::{Context, bail};
use rundown::quantity::units::{Quantity, parse_si};

/// The SI value of an option, where it is given.
pub fn si(option: &str, text: Option<&String>, quantity: Quantity) -> anyhow::Result<Option<f64>> {
    text.map(|text| parse_si(quantity, text).with_context(|| option.to_owned()))
        .transpose()
}

/// The same, above zero.
pub fn positive_si(
    option: &str,
    text: Option<&String>,
    quantity: Quantity,
) -> anyhow::Result<Option<f64>> {
    let si = si(option, text, quantity)?;
    if let (Some(text), true) = (text, si.is_some_and(|si| si <= 0.0)) {
        bail!("{option} {text}: expected a {quantity} above zero");
    }
    Ok(si)
}
