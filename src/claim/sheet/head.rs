//! The table `[sheet]`: the conditions to which the printed values belong.

use super::checked::{Sheet, SheetError, Stall};
use super::printed::Tolerance;
use super::reader::{Reader, Texts};
use crate::quantity::units::Quantity;
use toml::de::DeValue;

pub(super) const KEYS: [&str; 9] = [
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

impl Reader<'_> {
    /// Reads the table: a sheet without claims yet, with what it does not state assumed, and the tolerance of claims without one.
    pub fn head(
        &self,
        start: usize,
        head: Option<&DeValue<'_>>,
    ) -> Result<(Sheet, Option<Tolerance>), SheetError> {
        let texts = match head {
            Some(head) => self.texts(start, "sheet", head, &KEYS)?,
            None => Texts::new(),
        };
        let temperature = |key: &str| {
            let read = |(place, text): &(usize, String)| self.temperature(*place, text);
            texts.get(key).map(read).transpose()
        };
        let above_zero = |key: &str, quantity: Quantity| {
            let read =
                |(place, text): &(usize, String)| Ok(self.above_zero(*place, quantity, text)?.si());
            texts.get(key).map(read).transpose()
        };
        let name = texts
            .get("name")
            .map(|(place, text)| self.name(*place, text));
        let tolerance = texts
            .get("default_tolerance")
            .map(|(place, text)| self.tolerance(*place, Quantity::Ratio, text));
        let mut assumptions = Vec::new();
        let stated_c = temperature("reference_temperature")?;
        if stated_c.is_none() {
            assumptions
                .push("the values hold at 25 °C: no reference_temperature is given".to_owned());
        }
        let reference_temperature_c = stated_c.unwrap_or(25.0);
        let room_c = temperature("ambient")?;
        let ambient_c = room_c.unwrap_or(reference_temperature_c);
        let winding_limit_c = temperature("winding_limit")?;
        if let (Some(limit_c), Some((place, _))) = (winding_limit_c, texts.get("winding_limit")) {
            if limit_c <= ambient_c {
                return Err(self.fault(
                    *place,
                    format!("winding_limit is {limit_c} °C in a room of {ambient_c} °C; expected a higher one"),
                ));
            }
            if room_c.is_none() {
                assumptions.push(format!(
                    "continuous values hold in a room of {ambient_c} °C: no ambient is given"
                ));
            }
        }
        let stall_c = temperature("stall_temperature")?;
        let (stall, assumed) = self.stall(&texts, stall_c, reference_temperature_c)?;
        assumptions.extend(assumed);
        let sheet = Sheet {
            name: name.transpose()?,
            nominal_voltage_v: above_zero("nominal_voltage", Quantity::Voltage)?,
            reference_temperature_c,
            rated_torque_nm: above_zero("rated_torque", Quantity::Torque)?,
            winding_limit_c,
            ambient_c,
            stall,
            claims: Default::default(),
            assumptions,
        };
        Ok((sheet, tolerance.transpose()?))
    }

    /// How stall values were found, and what is assumed of it.
    fn stall(
        &self,
        texts: &Texts<'_>,
        stall_c: Option<f64>,
        reference_temperature_c: f64,
    ) -> Result<(Stall, Option<String>), SheetError> {
        let (place, words) = match (texts.get("stall_values"), texts.get("stall_temperature")) {
            (Some((place, words)), _) => (*place, words.as_str()),
            (None, Some((place, _))) => {
                return Err(self.fault(
                    *place,
                    "stall_temperature goes with stall_values = \"measured\", which is absent",
                ));
            }
            (None, None) => {
                let text =
                    "stall values are extrapolated from near no load: no stall_values is given";
                return Ok((Stall::Extrapolated, Some(text.to_owned())));
            }
        };
        match (words, stall_c) {
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
                    winding_temperature_c: given.unwrap_or(reference_temperature_c),
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
