//! TOML to a checked sheet.

use super::checked::{Sheet, SheetError};
use super::head::KEYS;
use super::reader::Reader;
use crate::claim::entry::Entry;
use crate::files::{LARGEST_SHEET, read_at_most};
use std::io;
use std::path::Path;
use toml::de::DeTable;

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
        let text = format!(
            "this is not TOML: {}. A datasheet is typed as in docs/claim_sheet.md",
            error.message()
        );
        reader.fault(start, text)
    })?;
    reader.sheet(table.get_ref())
}

impl Reader<'_> {
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
        let head = table.get("sheet");
        let start = head.map_or(0, |head| head.span().start);
        let (mut sheet, default_tolerance) = self.head(start, head.map(|head| head.get_ref()))?;
        let claims = table.get("claims").ok_or_else(|| {
            self.fault(
                self.text.len(),
                "no table [claims]; expected one with at least one entry, e.g. no_load_speed = \"5200 rpm\"",
            )
        })?;
        let claims_table = claims.get_ref().as_table().ok_or_else(|| {
            self.wrong_type(claims.span().start, "claims", claims.get_ref(), "a table")
        })?;
        let known: Vec<&str> = Entry::all().map(Entry::key).collect();
        for (key, value) in claims_table.iter() {
            let (at, key) = (key.span().start, key.get_ref().as_ref());
            let entry = Entry::from_key(key).ok_or_else(|| match KEYS.contains(&key) {
                true => self.fault(at, format!("`{key}` belongs under [sheet]")),
                false => self.unknown_key(at, key, &known),
            })?;
            let start = value.span().start;
            self.conditions_of(entry, start, &sheet)?;
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

    /// Refuses an entry that holds at conditions which the sheet does not state.
    fn conditions_of(&self, entry: Entry, start: usize, sheet: &Sheet) -> Result<(), SheetError> {
        let needs = [
            (
                entry.needs_voltage() && sheet.nominal_voltage_v.is_none(),
                "at the nominal voltage only; add nominal_voltage = \"... V\"",
            ),
            (
                entry.needs_rated_torque() && sheet.rated_torque_nm.is_none(),
                "at the rated torque only; add rated_torque = \"... mN·m\"",
            ),
            (
                entry.needs_winding_limit() && sheet.winding_limit_c.is_none(),
                "at the limit of the winding only; add winding_limit = \"... °C\" (and ambient)",
            ),
        ];
        match needs.iter().find(|(missing, _)| *missing) {
            None => Ok(()),
            Some((_, need)) => {
                let text = format!("`{}` holds {need} under [sheet]", entry.key());
                Err(self.fault(start, text))
            }
        }
    }
}
