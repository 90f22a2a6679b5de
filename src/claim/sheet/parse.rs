//! TOML to a checked sheet.

use super::checked::Sheet;
use super::{claims, head};
use crate::bench::{BenchError, Source, Table};
use crate::claim::entry::Entry;
use crate::files::{LARGEST_SHEET, read_at_most};
use std::path::Path;
use toml::de::DeTable;

/// Reads a sheet.
///
/// # Errors
/// [`BenchError`], with line and column where it is of the text.
pub fn read(path: &Path) -> Result<Sheet, BenchError> {
    let fault = |why: &str| BenchError::new(format!("{}: cannot be read: {why}", path.display()));
    let bytes = read_at_most(path, LARGEST_SHEET).map_err(|error| fault(&error.to_string()))?;
    let text = std::str::from_utf8(&bytes)
        .map_err(|_| fault("its bytes are not UTF-8; a sheet is plain UTF-8 text"))?;
    from_text(path, text)
}

/// Parses a sheet; `path` is only for the messages.
///
/// # Errors
/// [`BenchError`] with line and column.
pub fn from_text(path: &Path, text: &str) -> Result<Sheet, BenchError> {
    let source = Source {
        path: path.into(),
        text,
    };
    let document = DeTable::parse(text).map_err(|error| {
        let place = source.place(error.span().map_or(0, |span| span.start));
        let text = format!(
            "this is not TOML: {}. A datasheet is typed as in docs/claim_sheet.md",
            error.message()
        );
        BenchError::at(&place, text)
    })?;
    let root = Table::root(&source, document.get_ref());
    let nothing_stated = DeTable::new();
    let stated = root.table_as("sheet", "a table")?;
    let stated = stated.unwrap_or_else(|| Table::root(&source, &nothing_stated));
    let claims = root.table_as("claims", "a table")?;
    root.finish()?;
    let (mut sheet, default_tolerance) = head::read(&stated)?;
    let hint = "expected one with at least one entry, e.g. no_load_speed = \"5200 rpm\"";
    let claims = root.require("claims", claims, hint)?;
    if let Some(key) = head::KEYS.into_iter().find(|key| claims.has(key)) {
        return claims.invalid(key, format!("`{key}` belongs under [sheet]"));
    }
    let entries: Vec<Entry> = Entry::all().filter(|e| claims.has(e.key())).collect();
    claims.finish()?;
    for entry in entries {
        if let Some(need) = unstated_condition(entry, &sheet) {
            let text = format!("`{}` holds {need} under [sheet]", entry.key());
            return claims.invalid(entry.key(), text);
        }
        let claim = claims::read(&claims, entry, default_tolerance.as_ref())?;
        sheet.claims.insert(entry, claim);
    }
    match sheet.claims.is_empty() {
        true => root.invalid(
            "claims",
            "[claims] holds no entry; there is nothing to judge",
        ),
        false => Ok(sheet),
    }
}

/// Where an entry holds at conditions that the sheet does not state: which.
fn unstated_condition(entry: Entry, sheet: &Sheet) -> Option<&'static str> {
    if entry.needs_voltage() && sheet.nominal_voltage_v.is_none() {
        Some("at the nominal voltage only; add nominal_voltage = \"... V\"")
    } else if entry.needs_rated_torque() && sheet.rated_torque_nm.is_none() {
        Some("at the rated torque only; add rated_torque = \"... mN·m\"")
    } else if entry.needs_winding_limit() && sheet.winding_limit_c.is_none() {
        Some("at the limit of the winding only; add winding_limit = \"... °C\" (and ambient)")
    } else {
        None
    }
}
