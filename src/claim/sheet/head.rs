//! The table `[sheet]`: the conditions to which the printed values belong.

use super::checked::{Sheet, SheetError, Stall};
use super::printed::Tolerance;
use super::reader::Reader;
use crate::quantity::units::Quantity;
use toml::de::DeValue;

const KEYS: [&str; 9] = [
    "name",
    "nominal_voltage",
    "reference_temperature",
    "rated_torque",
    "stall_values",
    "stall_temperature",
    "default_tolerance",
    "winding_limit",
    "ambient",
];

/// What the table holds, texts with their place.
#[derive(Default)]
pub struct Head {
    name: Option<String>,
    nominal_voltage_v: Option<f64>,
    rated_torque_nm: Option<f64>,
    temperature_c: Option<f64>,
    winding_limit_c: Option<(usize, f64)>,
    ambient_c: Option<f64>,
    stall_values: Option<(usize, String)>,
    stall_temperature_c: Option<(usize, f64)>,
    pub default_tolerance: Option<Tolerance>,
}

impl Reader<'_> {
    /// Reads the table.
    pub fn head(&self, start: usize, head: &DeValue<'_>) -> Result<Head, SheetError> {
        let table = head
            .as_table()
            .ok_or_else(|| self.wrong_type(start, "sheet", head, "a table"))?;
        let mut head = Head::default();
        for (key, value) in table.iter() {
            let place = value.span().start;
            let name = key.get_ref().as_ref();
            if !KEYS.contains(&name) {
                return Err(self.unknown_key(key.span().start, name, &KEYS));
            }
            let text = value
                .get_ref()
                .as_str()
                .ok_or_else(|| self.wrong_type(place, name, value.get_ref(), "text in quotes"))?;
            match name {
                "name" => head.name = Some(self.name(place, text)?),
                "nominal_voltage" => {
                    head.nominal_voltage_v =
                        Some(self.above_zero(place, Quantity::Voltage, text)?);
                }
                "rated_torque" => {
                    head.rated_torque_nm = Some(self.above_zero(place, Quantity::Torque, text)?);
                }
                "reference_temperature" => {
                    head.temperature_c = Some(self.temperature(place, text)?);
                }
                "winding_limit" => {
                    head.winding_limit_c = Some((place, self.temperature(place, text)?));
                }
                "ambient" => head.ambient_c = Some(self.temperature(place, text)?),
                "stall_temperature" => {
                    head.stall_temperature_c = Some((place, self.temperature(place, text)?));
                }
                "stall_values" => head.stall_values = Some((place, text.to_owned())),
                _ => head.default_tolerance = Some(self.tolerance(place, Quantity::Ratio, text)?),
            }
        }
        Ok(head)
    }

    /// A sheet without claims yet, what the table does not tell assumed.
    pub fn conditions(&self, head: &Head) -> Result<Sheet, SheetError> {
        let mut assumptions = Vec::new();
        if head.temperature_c.is_none() {
            assumptions
                .push("the values hold at 25 °C: no reference_temperature is given".to_owned());
        }
        let reference_temperature_c = head.temperature_c.unwrap_or(25.0);
        let ambient_c = head.ambient_c.unwrap_or(reference_temperature_c);
        if let Some((place, limit_c)) = head.winding_limit_c {
            if limit_c <= ambient_c {
                return Err(self.fault(
                    place,
                    format!("winding_limit is {limit_c} °C in a room of {ambient_c} °C; expected a higher one"),
                ));
            }
            if head.ambient_c.is_none() {
                assumptions.push(format!(
                    "continuous values hold in a room of {ambient_c} °C: no ambient is given"
                ));
            }
        }
        let (stall, assumed) = self.stall(head, reference_temperature_c)?;
        assumptions.extend(assumed);
        Ok(Sheet {
            name: head.name.clone(),
            nominal_voltage_v: head.nominal_voltage_v,
            reference_temperature_c,
            rated_torque_nm: head.rated_torque_nm,
            winding_limit_c: head.winding_limit_c.map(|(_, c)| c),
            ambient_c,
            stall,
            claims: Default::default(),
            assumptions,
        })
    }

    /// How stall values were found, and what is assumed of it.
    fn stall(
        &self,
        head: &Head,
        reference_temperature_c: f64,
    ) -> Result<(Stall, Option<String>), SheetError> {
        let stall_temperature = head.stall_temperature_c;
        let (place, words) = match (&head.stall_values, stall_temperature) {
            (Some((place, words)), _) => (*place, words.as_str()),
            (None, Some((place, _))) => {
                return Err(self.fault(
                    place,
                    "stall_temperature goes with stall_values = \"measured\", which is absent",
                ));
            }
            (None, None) => {
                let text =
                    "stall values are extrapolated from near no load: no stall_values is given";
                return Ok((Stall::Extrapolated, Some(text.to_owned())));
            }
        };
        match (words, stall_temperature) {
            ("extrapolated", None) => Ok((Stall::Extrapolated, None)),
            ("extrapolated", Some(_)) => Err(self.fault(
                place,
                "extrapolated stall values have no stall_temperature of their own; drop it, or write stall_values = \"measured\"",
            )),
            ("measured", given) => {
                let assumed = given.is_none().then(|| {
                    format!(
                        "stall values were measured with the winding at {reference_temperature_c} °C: no stall_temperature is given"
                    )
                });
                let stall = Stall::Measured {
                    winding_temperature_c: given.map_or(reference_temperature_c, |(_, c)| c),
                };
                Ok((stall, assumed))
            }
            _ => Err(self.fault(
                place,
                format!("stall_values is \"{words}\", expected \"extrapolated\" or \"measured\""),
            )),
        }
    }
}
