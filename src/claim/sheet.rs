//! A vendor's sheet, as `docs/claim_sheet.md` describes it: TOML to checked claims in SI units.

use super::conformity::Limits;
use super::entry::Entry;
use crate::files::{LARGEST_SHEET, read_at_most};
use crate::quantity::nearest;
use crate::quantity::units::{self, Quantity, Unit, UnitError};
use std::collections::BTreeMap;
use std::io;
use std::path::{Path, PathBuf};
use toml::de::{DeTable, DeValue};

/// Fault of a sheet, with its place.
#[derive(Debug, thiserror::Error)]
pub enum SheetError {
    #[error("{}: cannot be read: {source}", path.display())]
    Read {
        path: PathBuf,
        source: std::io::Error,
    },
    #[error("{}:{line}:{column}: {text}", path.display())]
    Content {
        path: PathBuf,
        line: usize,
        column: usize,
        text: String,
    },
}

/// How stall values were found.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Stall {
    /// From the straight line of speed against torque near no load, winding at the reference temperature.
    Extrapolated,
    /// On a held rotor, winding at this temperature in °C.
    Measured { winding_temperature_c: f64 },
}

/// One printed entry.
#[derive(Clone, Debug, PartialEq)]
pub struct Claim {
    pub entry: Entry,
    /// As printed, with limits, for tables.
    pub printed: String,
    /// Unit in which it is printed.
    pub unit: &'static Unit,
    /// Printed value in SI; absent where only a limit is printed.
    pub value: Option<f64>,
    /// Ends of what rounds to the printed digits, SI, rising; absent without a value.
    pub rounding: Option<(f64, f64)>,
    /// Limits in SI; absent where the sheet prints neither tolerance nor limit.
    pub limits: Option<Limits>,
    /// 1-based line in the sheet.
    pub line: usize,
}

/// A checked sheet.
#[derive(Clone, Debug, PartialEq)]
pub struct Sheet {
    pub name: Option<String>,
    pub nominal_voltage_v: Option<f64>,
    pub reference_temperature_c: f64,
    pub rated_torque_nm: Option<f64>,
    pub stall: Stall,
    pub claims: BTreeMap<Entry, Claim>,
    /// What was taken for granted because the sheet does not say it.
    pub assumptions: Vec<String>,
}

const SHEET_KEYS: [&str; 7] = [
    "name",
    "nominal_voltage",
    "reference_temperature",
    "rated_torque",
    "stall_values",
    "stall_temperature",
    "default_tolerance",
];
const CLAIM_KEYS: [&str; 6] = ["value", "tolerance", "plus", "minus", "at_most", "at_least"];

/// Reads a sheet.
///
/// # Errors
/// [`SheetError`] with line and column.
pub fn read(path: &Path) -> Result<Sheet, SheetError> {
    let text = read_at_most(path, LARGEST_SHEET)
        .and_then(|bytes| {
            String::from_utf8(bytes).map_err(|_| {
                io::Error::new(
                    io::ErrorKind::InvalidData,
                    "its bytes are not UTF-8; a sheet is plain UTF-8 text",
                )
            })
        })
        .map_err(|source| SheetError::Read {
            path: path.to_owned(),
            source,
        })?;
    from_text(path, &text)
}

/// Parses a sheet; `path` is only for the messages.
///
/// # Errors
/// [`SheetError::Content`].
pub fn from_text(path: &Path, text: &str) -> Result<Sheet, SheetError> {
    let reader = Reader { path, text };
    let table = DeTable::parse(text).map_err(|error| {
        let start = error.span().map_or(0, |span| span.start);
        reader.fault(start, error.message().to_owned())
    })?;
    reader.sheet(table.get_ref())
}

/// A number as printed and its unit.
#[derive(Clone, Debug)]
struct Printed {
    text: String,
    number: f64,
    unit: &'static Unit,
}

struct Reader<'a> {
    path: &'a Path,
    text: &'a str,
}

impl Reader<'_> {
    fn line(&self, offset: usize) -> usize {
        let before = &self.text.as_bytes()[..offset.min(self.text.len())];
        1 + before.iter().filter(|byte| **byte == b'\n').count()
    }

    fn fault(&self, offset: usize, text: impl Into<String>) -> SheetError {
        let before = &self.text.as_bytes()[..offset.min(self.text.len())];
        let start = before
            .iter()
            .rposition(|byte| *byte == b'\n')
            .map_or(0, |place| place + 1);
        SheetError::Content {
            path: self.path.to_owned(),
            line: self.line(offset),
            column: 1 + String::from_utf8_lossy(&before[start..]).chars().count(),
            text: text.into(),
        }
    }

    fn unknown_key(&self, offset: usize, key: &str, known: &[&str]) -> SheetError {
        let nearest = nearest(key, known).unwrap_or_default();
        self.fault(
            offset,
            format!(
                "unknown key `{key}`; the nearest known one is `{nearest}`; known are {}",
                known.join(", ")
            ),
        )
    }

    fn sheet(&self, table: &DeTable<'_>) -> Result<Sheet, SheetError> {
        for (key, _) in table.iter() {
            if !["sheet", "claims"].contains(&key.get_ref().as_ref()) {
                return Err(self.unknown_key(
                    key.span().start,
                    key.get_ref(),
                    &["sheet", "claims"],
                ));
            }
        }
        let mut sheet = Sheet {
            name: None,
            nominal_voltage_v: None,
            reference_temperature_c: 25.0,
            rated_torque_nm: None,
            stall: Stall::Extrapolated,
            claims: BTreeMap::new(),
            assumptions: Vec::new(),
        };
        let default_tolerance = match table.get("sheet") {
            Some(head) => self.head(&mut sheet, head.span().start, head.get_ref())?,
            None => {
                sheet.assume_temperature();
                sheet.assume_stall();
                None
            }
        };
        let claims = table.get("claims").ok_or_else(|| {
            self.fault(
                self.text.len(),
                "no table [claims]; expected one with at least one entry, e.g. no_load_speed = \"5200 rpm\"",
            )
        })?;
        let claims_table = claims.get_ref().as_table().ok_or_else(|| {
            self.wrong_type(claims.span().start, "claims", claims.get_ref(), "a table")
        })?;
        let known: Vec<&str> = Entry::ALL.iter().map(|entry| entry.key()).collect();
        for (key, value) in claims_table.iter() {
            let entry = Entry::from_key(key.get_ref())
                .ok_or_else(|| self.unknown_key(key.span().start, key.get_ref(), &known))?;
            let start = value.span().start;
            if entry.needs_voltage() && sheet.nominal_voltage_v.is_none() {
                return Err(self.fault(
                    start,
                    format!(
                        "`{}` holds at the nominal voltage only; add nominal_voltage = \"... V\" under [sheet]",
                        entry.key()
                    ),
                ));
            }
            if entry.needs_rated_torque() && sheet.rated_torque_nm.is_none() {
                return Err(self.fault(
                    start,
                    format!(
                        "`{}` holds at the rated torque only; add rated_torque = \"... mN·m\" under [sheet]",
                        entry.key()
                    ),
                ));
            }
            let claim = self.claim(entry, start, value.get_ref(), default_tolerance.as_ref())?;
            sheet.claims.insert(entry, claim);
        }
        if sheet.claims.is_empty() {
            return Err(self.fault(
                claims.span().start,
                "[claims] holds no entry; there is nothing to judge",
            ));
        }
        Ok(sheet)
    }

    fn head(
        &self,
        sheet: &mut Sheet,
        start: usize,
        head: &DeValue<'_>,
    ) -> Result<Option<Tolerance>, SheetError> {
        let table = head
            .as_table()
            .ok_or_else(|| self.wrong_type(start, "sheet", head, "a table"))?;
        let mut tolerance = None;
        let mut temperature = None;
        let mut stall_words = None;
        let mut stall_temperature = None;
        for (key, value) in table.iter() {
            let place = value.span().start;
            let name = key.get_ref().as_ref();
            if !SHEET_KEYS.contains(&name) {
                return Err(self.unknown_key(key.span().start, name, &SHEET_KEYS));
            }
            let text = value
                .get_ref()
                .as_str()
                .ok_or_else(|| self.wrong_type(place, name, value.get_ref(), "text in quotes"))?;
            match name {
                "name" => sheet.name = Some(text.to_owned()),
                "nominal_voltage" => {
                    sheet.nominal_voltage_v =
                        Some(self.above_zero(place, Quantity::Voltage, text)?);
                }
                "rated_torque" => {
                    sheet.rated_torque_nm = Some(self.above_zero(place, Quantity::Torque, text)?);
                }
                "reference_temperature" => temperature = Some(self.temperature(place, text)?),
                "stall_temperature" => {
                    stall_temperature = Some((place, self.temperature(place, text)?))
                }
                "stall_values" => stall_words = Some((place, text.to_owned())),
                _ => tolerance = Some(self.tolerance(place, Quantity::Ratio, text)?),
            }
        }
        match temperature {
            Some(temperature_c) => sheet.reference_temperature_c = temperature_c,
            None => sheet.assume_temperature(),
        }
        sheet.stall = match (stall_words, stall_temperature) {
            (None, None) => {
                sheet.assume_stall();
                Stall::Extrapolated
            }
            (Some((_, words)), None) if words == "extrapolated" => Stall::Extrapolated,
            (Some((place, words)), Some(_)) if words == "extrapolated" => {
                return Err(self.fault(
                    place,
                    "extrapolated stall values have no stall_temperature of their own; drop it, or write stall_values = \"measured\"",
                ));
            }
            (Some((_, words)), given) if words == "measured" => {
                let winding_temperature_c = match given {
                    Some((_, temperature_c)) => temperature_c,
                    None => {
                        sheet.assumptions.push(format!(
                            "stall values were measured with the winding at {} °C: no stall_temperature is given",
                            sheet.reference_temperature_c
                        ));
                        sheet.reference_temperature_c
                    }
                };
                Stall::Measured {
                    winding_temperature_c,
                }
            }
            (Some((place, words)), _) => {
                return Err(self.fault(
                    place,
                    format!(
                        "stall_values is \"{words}\", expected \"extrapolated\" or \"measured\""
                    ),
                ));
            }
            (None, Some((place, _))) => {
                return Err(self.fault(
                    place,
                    "stall_temperature goes with stall_values = \"measured\", which is absent",
                ));
            }
        };
        Ok(tolerance)
    }

    fn claim(
        &self,
        entry: Entry,
        start: usize,
        value: &DeValue<'_>,
        default_tolerance: Option<&Tolerance>,
    ) -> Result<Claim, SheetError> {
        let quantity = entry.quantity();
        let mut fields: BTreeMap<&str, (usize, String)> = BTreeMap::new();
        match value {
            DeValue::String(text) => {
                fields.insert("value", (start, text.as_ref().to_owned()));
            }
            DeValue::Table(table) => {
                for (key, field) in table.iter() {
                    let place = field.span().start;
                    let known = CLAIM_KEYS
                        .into_iter()
                        .find(|known| *known == key.get_ref().as_ref())
                        .ok_or_else(|| {
                            self.unknown_key(key.span().start, key.get_ref(), &CLAIM_KEYS)
                        })?;
                    let text = field.get_ref().as_str().ok_or_else(|| {
                        self.wrong_type(place, known, field.get_ref(), "text in quotes")
                    })?;
                    fields.insert(known, (place, text.to_owned()));
                }
            }
            other => {
                return Err(self.wrong_type(
                    start,
                    entry.key(),
                    other,
                    "text with a number and a unit, or a table with `value`, `tolerance`, `plus`, `minus`, `at_most`, `at_least`",
                ));
            }
        }
        let number = |key: &str| -> Result<Option<(usize, Printed)>, SheetError> {
            let Some((place, text)) = fields.get(key) else {
                return Ok(None);
            };
            let printed = self.printed(*place, quantity, text)?;
            if printed.number <= 0.0 {
                return Err(self.fault(*place, format!("\"{text}\" is not above zero")));
            }
            Ok(Some((*place, printed)))
        };
        let value = number("value")?;
        let at_most = number("at_most")?;
        let at_least = number("at_least")?;
        let side = |key: &str| -> Result<Option<Tolerance>, SheetError> {
            fields
                .get(key)
                .map(|(place, text)| self.tolerance(*place, quantity, text))
                .transpose()
        };
        let (tolerance, plus, minus) = (side("tolerance")?, side("plus")?, side("minus")?);
        if tolerance.is_some() && (plus.is_some() || minus.is_some()) {
            return Err(self.fault(
                start,
                "`tolerance` and `plus` or `minus` say the same thing twice; keep one",
            ));
        }
        let sided = tolerance.is_some() || plus.is_some() || minus.is_some();
        if sided && (at_most.is_some() || at_least.is_some()) {
            return Err(self.fault(
                start,
                "a tolerance and a limit say two different things; keep one",
            ));
        }
        if sided && value.is_none() {
            return Err(self.fault(start, "a tolerance needs a `value` to which it belongs"));
        }
        let unit = match value.as_ref().or(at_most.as_ref()).or(at_least.as_ref()) {
            Some((_, printed)) => printed.unit,
            None => {
                return Err(self.fault(
                    start,
                    "neither `value` nor `at_most` nor `at_least` is given",
                ));
            }
        };
        let plus = plus.or(tolerance.clone());
        let minus = minus.or(tolerance);
        // A value with one-sided tolerance (only `plus`) has no limit on the other side: the sheet says none.
        let default = default_tolerance
            .filter(|_| !sided && at_most.is_none() && at_least.is_none())
            .cloned();
        let (plus, minus) = (plus.or(default.clone()), minus.or(default));
        let mut ends: [Option<(String, f64)>; 2] = [None, None];
        if let Some((place, printed)) = &value {
            for (end, tolerance, sign) in [(0, &minus, -1.0), (1, &plus, 1.0)] {
                if let Some(tolerance) = tolerance {
                    let width = tolerance.width(printed);
                    let limit = printed.number + sign * width;
                    if limit <= 0.0 {
                        return Err(self.fault(
                            *place,
                            format!("the tolerance {} reaches below zero", tolerance.text),
                        ));
                    }
                    ends[end] = Some((tolerance.text.clone(), printed.unit.to_si(limit)));
                }
            }
        }
        for (end, limit) in [(0, &at_least), (1, &at_most)] {
            if let Some((_, printed)) = limit {
                ends[end] = Some((printed.text.clone(), printed.unit.to_si(printed.number)));
            }
        }
        let printed = describe(
            value.as_ref().map(|(_, printed)| printed),
            &at_least,
            &at_most,
            &ends,
        );
        let [mut low, mut high] = ends.map(|end| end.map(|(_, si)| si));
        // "At most" in rpm/V is "at least" in V·s/rad.
        let at_limit = value.as_ref().or(at_least.as_ref()).or(at_most.as_ref());
        if at_limit.is_some_and(|(_, printed)| printed.unit.reciprocal) {
            std::mem::swap(&mut low, &mut high);
        }
        if let (Some(low), Some(high)) = (low, high)
            && low > high
        {
            return Err(self.fault(start, "`at_least` lies above `at_most`"));
        }
        let limits = (low.is_some() || high.is_some()).then_some(Limits {
            lower: low,
            upper: high,
        });
        let si = value.map(|(_, printed)| {
            let half = half_unit(&printed.text);
            let mut ends =
                [printed.number - half, printed.number + half].map(|end| printed.unit.to_si(end));
            ends.sort_by(f64::total_cmp);
            (printed.unit.to_si(printed.number), (ends[0], ends[1]))
        });
        Ok(Claim {
            entry,
            printed,
            unit,
            value: si.map(|(value, _)| value),
            rounding: si.map(|(_, rounding)| rounding),
            limits,
            line: self.line(start),
        })
    }

    fn printed(&self, place: usize, quantity: Quantity, text: &str) -> Result<Printed, SheetError> {
        let (number, unit) =
            units::parse(quantity, text).map_err(|error| self.unit_fault(place, &error))?;
        Ok(Printed {
            text: text.trim().to_owned(),
            number,
            unit,
        })
    }

    fn above_zero(&self, place: usize, quantity: Quantity, text: &str) -> Result<f64, SheetError> {
        let printed = self.printed(place, quantity, text)?;
        if printed.number <= 0.0 {
            return Err(self.fault(place, format!("\"{text}\" is not above zero")));
        }
        Ok(printed.unit.to_si(printed.number))
    }

    fn temperature(&self, place: usize, text: &str) -> Result<f64, SheetError> {
        let printed = self.printed(place, Quantity::Temperature, text)?;
        if !(-100.0..=400.0).contains(&printed.number) {
            return Err(self.fault(
                place,
                format!("\"{text}\" is no temperature of a winding; expected -100 °C to 400 °C"),
            ));
        }
        Ok(printed.number)
    }

    /// `10 %` (of the value), or a number in a unit of the quantity; a leading `±` is allowed.
    fn tolerance(
        &self,
        place: usize,
        quantity: Quantity,
        text: &str,
    ) -> Result<Tolerance, SheetError> {
        let body = text.trim().trim_start_matches('±').trim();
        let (number, relative) = if body.ends_with('%') {
            let (number, unit) = units::parse(Quantity::Ratio, body)
                .map_err(|error| self.unit_fault(place, &error))?;
            (unit.to_si(number), true)
        } else if quantity == Quantity::Ratio {
            return Err(self.fault(
                place,
                format!("\"{text}\" is no tolerance; expected a percentage, e.g. \"10 %\""),
            ));
        } else {
            let printed = self.printed(place, quantity, body)?;
            (printed.number, false)
        };
        if !(number >= 0.0 && (number < 1.0 || !relative)) {
            return Err(self.fault(
                place,
                format!("\"{text}\" is no tolerance; expected 0 % to below 100 %, or a width"),
            ));
        }
        let unit = if relative {
            None
        } else {
            Some(self.printed(place, quantity, body)?.unit)
        };
        Ok(Tolerance {
            text: body.to_owned(),
            number,
            unit,
        })
    }

    fn unit_fault(&self, place: usize, error: &UnitError) -> SheetError {
        self.fault(place, error.to_string())
    }

    fn wrong_type(
        &self,
        place: usize,
        key: &str,
        found: &DeValue<'_>,
        expected: &str,
    ) -> SheetError {
        self.fault(
            place,
            format!(
                "`{key}` is a TOML {}, expected {expected}",
                found.type_str()
            ),
        )
    }
}

/// Half-width of a tolerance.
#[derive(Clone, Debug)]
struct Tolerance {
    text: String,
    /// Share of the value where `unit` is absent.
    number: f64,
    unit: Option<&'static Unit>,
}

impl Tolerance {
    /// Half-width in the unit of the printed value.
    fn width(&self, printed: &Printed) -> f64 {
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

impl Sheet {
    fn assume_temperature(&mut self) {
        self.assumptions
            .push("the values hold at 25 °C: no reference_temperature is given".to_owned());
    }

    fn assume_stall(&mut self) {
        self.assumptions.push(
            "stall values are extrapolated from near no load: no stall_values is given".to_owned(),
        );
    }
}

fn describe(
    value: Option<&Printed>,
    at_least: &Option<(usize, Printed)>,
    at_most: &Option<(usize, Printed)>,
    ends: &[Option<(String, f64)>; 2],
) -> String {
    let mut words = Vec::new();
    if let Some(printed) = value {
        words.push(printed.text.clone());
        if at_least.is_none() && at_most.is_none() {
            match (&ends[0], &ends[1]) {
                (Some((minus, _)), Some((plus, _))) if minus == plus => {
                    words.push(format!("± {plus}"))
                }
                (Some((minus, _)), Some((plus, _))) => words.push(format!("+ {plus} - {minus}")),
                (Some((minus, _)), None) => words.push(format!("- {minus}")),
                (None, Some((plus, _))) => words.push(format!("+ {plus}")),
                (None, None) => {}
            }
        }
    }
    if let Some((_, printed)) = at_least {
        words.push(format!("at least {}", printed.text));
    }
    if let Some((_, printed)) = at_most {
        words.push(format!("at most {}", printed.text));
    }
    words.join(" ")
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
