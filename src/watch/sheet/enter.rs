//! New captures enter the sheet: a draft where there is none yet, else one `[[captures]]` more, with the guess and its reason.

use super::json::{files_of, sheet_json};
use crate::bench::{Draft, DraftCapture, DraftChannel, DraftError, draft_text, guess_sheet_of};
use crate::capture::group_by_channel;
use crate::events::sheet_guess;
use std::path::{Path, PathBuf};
use toml_edit::{Array, ArrayOfTables, DocumentMut, Item, Table, value};

/// What became of the files.
pub struct Entered {
    /// The new text; `None` where no file could enter.
    pub text: Option<String>,
    /// Files that could not, and why.
    pub left_out: Vec<(String, String)>,
}

impl Entered {
    fn none(files: &[String], error: &DraftError) -> Entered {
        let each = |file: &String| (file.clone(), error.to_string());
        Entered {
            text: None,
            left_out: match error.left_out.is_empty() {
                false => error.left_out.clone(),
                true => files.iter().map(each).collect(),
            },
        }
    }
}

/// A first sheet of these files.
pub fn draft(folder: &Path, files: &[String]) -> Entered {
    match guess_sheet_of(folder, files.to_vec(), &sheet_guess) {
        Ok(mut draft) => Entered {
            left_out: std::mem::take(&mut draft.left_out),
            text: Some(draft_text(&draft)),
        },
        Err(error) => Entered::none(files, &error),
    }
}

/// The sheet with these files as further captures.
pub fn entered(folder: &Path, text: &str, files: &[String]) -> Entered {
    let Ok(mut document) = text.parse::<DocumentMut>() else {
        return Entered {
            text: None,
            left_out: Vec::new(),
        };
    };
    let mut all = files.to_vec();
    for file in files {
        all.extend(take_partner(&mut document, file));
    }
    all.sort();
    let draft = match guess_sheet_of(folder, all, &sheet_guess) {
        Ok(draft) => draft,
        Err(error) => return Entered::none(files, &error),
    };
    if document.get("channels").is_none() && document.get("instruments").is_none() {
        graft_hardware(&mut document, &draft);
    }
    for capture in &draft.captures {
        add(&mut document, &draft, capture);
    }
    Entered {
        text: Some(document.to_string()),
        left_out: draft.left_out,
    }
}

/// The file of a capture that holds the other channel of the same event; the capture is taken out, to enter again with both.
fn take_partner(document: &mut DocumentMut, file: &str) -> Option<String> {
    let Some(Item::ArrayOfTables(tables)) = document.get_mut("captures") else {
        return None;
    };
    let partner = tables.iter().enumerate().find_map(|(k, table)| {
        let other = table.get("file")?.as_str()?;
        let pair = [PathBuf::from(other), PathBuf::from(file)];
        (group_by_channel(&pair).len() == 1).then(|| (k, other.to_owned()))
    });
    let (k, other) = partner?;
    tables.remove(k);
    Some(other)
}

/// Instruments and channels as drafted, into a sheet that has neither.
fn graft_hardware(document: &mut DocumentMut, draft: &Draft) {
    let Ok(written) = draft_text(draft).parse::<DocumentMut>() else {
        return;
    };
    for section in ["instruments", "channels"] {
        if let Some(item) = written.get(section) {
            let mut item = item.clone();
            if let Some(table) = item.as_table_mut() {
                unplaced(table);
            }
            document.insert(section, item);
        }
    }
}

/// Tables of another sheet stand in the order of their names, not of their places there.
fn unplaced(table: &mut Table) {
    table.set_position(None);
    for (_, item) in table.iter_mut() {
        if let Some(inner) = item.as_table_mut() {
            unplaced(inner);
        }
    }
}

/// The files that a sheet names: captures, heat records, tables; `None` where it cannot be read.
pub fn named_files(text: &str) -> Option<Vec<String>> {
    let sheet = sheet_json(text).ok()?;
    let mut files = Vec::new();
    for section in ["captures", "heat", "tables"] {
        for table in sheet[section].as_array().into_iter().flatten() {
            files.extend(files_of(table));
        }
    }
    Some(files)
}

fn add(document: &mut DocumentMut, draft: &Draft, capture: &DraftCapture) {
    let mut capture = capture.clone();
    capture.name = free_name(document, &capture.name);
    let voltage = channel_of(
        &draft.voltage,
        &capture.voltage_channel,
        capture.voltage_recorded,
    );
    let current = channel_of(
        &draft.current,
        &capture.current_channel,
        capture.current_recorded,
    );
    let voltage_name = voltage.map(|c| fitting(document, c, "voltage", "probe"));
    let current_name = current.map(|c| {
        let sensor = if c.raw_volts { "shunt" } else { "clamp" };
        fitting(document, c, "current", sensor)
    });
    let several = |measures: &str| channels(document, measures).len() > 1;
    capture.voltage_channel = voltage_name.filter(|_| several("voltage"));
    capture.current_channel = current_name.filter(|_| several("current"));
    let any = |measures: &str| !channels(document, measures).is_empty();
    capture.voltage_recorded = voltage.is_some() || !any("voltage");
    capture.current_recorded = current.is_some() || !any("current");
    let alone = Draft {
        captures: vec![capture],
        ..Draft::default()
    };
    let Ok(written) = draft_text(&alone).parse::<DocumentMut>() else {
        return;
    };
    let table = written.get("captures").and_then(Item::as_array_of_tables);
    let Some(mut table) = table.and_then(|tables| tables.get(0)).cloned() else {
        return;
    };
    // Behind the captures that are there, wherever these are.
    table.set_position(None);
    table.decor_mut().set_prefix("\n");
    let list = document
        .entry("captures")
        .or_insert(Item::ArrayOfTables(ArrayOfTables::new()));
    if let Item::ArrayOfTables(tables) = list {
        tables.push(table);
    }
}

/// The channel of a drafted capture.
fn channel_of<'d>(
    channels: &'d [DraftChannel],
    name: &Option<String>,
    recorded: bool,
) -> Option<&'d DraftChannel> {
    if !recorded {
        return None;
    }
    match name {
        Some(name) => channels.iter().find(|c| c.name == *name),
        None => channels.first(),
    }
}

/// Names and columns of the sheet's channels that measure this.
fn channels(document: &DocumentMut, measures: &str) -> Vec<(String, Vec<String>)> {
    let tables = document.get("channels").and_then(Item::as_table_like);
    let each = tables.into_iter().flat_map(|t| t.iter());
    each.filter(|(_, item)| item.get("measures").and_then(Item::as_str) == Some(measures))
        .map(|(name, item)| {
            let columns = match item.get("column") {
                Some(column) => match (column.as_str(), column.as_array()) {
                    (Some(one), _) => vec![one.to_owned()],
                    (_, Some(list)) => list
                        .iter()
                        .filter_map(|v| v.as_str())
                        .map(str::to_owned)
                        .collect(),
                    _ => Vec::new(),
                },
                None => vec![name.to_owned()],
            };
            (name.to_owned(), columns)
        })
        .collect()
}

/// The sheet's channel for a drafted one; columns that it does not know yet are added, a channel too where there is none.
fn fitting(
    document: &mut DocumentMut,
    drafted: &DraftChannel,
    measures: &str,
    sensor: &str,
) -> String {
    let known = channels(document, measures);
    let other = channels(
        document,
        if measures == "voltage" {
            "current"
        } else {
            "voltage"
        },
    );
    let has = |list: &[String]| drafted.columns.iter().any(|c| list.contains(c));
    if let Some((name, _)) = known.iter().find(|(_, columns)| has(columns)) {
        return name.clone();
    }
    // A column that is the other quantity elsewhere needs a channel of its own.
    let crossed = other.iter().any(|(_, columns)| has(columns));
    if let ([(name, columns)], false) = (known.as_slice(), crossed) {
        let list: Array = columns.iter().chain(&drafted.columns).collect();
        if let Some(channel) = document["channels"].get_mut(name.as_str()) {
            channel["column"] = value(list);
        }
        return name.clone();
    }
    let mut name = drafted.name.clone();
    while document
        .get("channels")
        .and_then(|c| c.get(&name))
        .is_some()
    {
        name = format!("{name} {measures}");
    }
    let mut table = Table::new();
    table["measures"] = value(measures);
    let columns: Array = drafted.columns.iter().collect();
    table["column"] = value(columns);
    let there = |instrument: &&str| {
        let instruments = document.get("instruments");
        instruments.and_then(|i| i.get(*instrument)).is_some()
    };
    let through: Array = ["scope", sensor].into_iter().filter(there).collect();
    if !through.is_empty() {
        table["through"] = value(through);
    }
    if drafted.raw_volts {
        table["raw_volts"] = value(true);
    }
    if drafted.reversed {
        table["reversed"] = value(true);
    }
    if document.get("channels").is_none() {
        let mut holder = Table::new();
        holder.set_implicit(true);
        document["channels"] = Item::Table(holder);
    }
    if let Some(holder) = document["channels"].as_table_like_mut() {
        holder.insert(&name, Item::Table(table));
    }
    name
}

/// A name that no capture has.
fn free_name(document: &DocumentMut, wanted: &str) -> String {
    let tables = document.get("captures").and_then(Item::as_array_of_tables);
    let names: Vec<String> = tables
        .into_iter()
        .flat_map(|t| t.iter())
        .filter_map(|t| {
            let name = t.get("name").and_then(Item::as_str).map(str::to_owned);
            name.or_else(|| {
                let file = t.get("file")?.as_str()?;
                Some(Path::new(file).file_stem()?.to_string_lossy().into_owned())
            })
        })
        .collect();
    let mut name = wanted.to_owned();
    let mut number = 2;
    while names.contains(&name) {
        name = format!("{wanted} ({number})");
        number += 1;
    }
    name
}
