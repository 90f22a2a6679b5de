//! The shots as the page lists them: the captures of the sheet, then files that wait.

use super::folder::Inventory;
use super::sheet::{files_of, sheet_json};
use crate::bench::capture_name;
use serde_json::{Value, json};
use std::collections::BTreeMap;

/// A capture as the sheet names it.
pub struct Named {
    /// Place in the sheet.
    pub index: usize,
    /// Its name.
    pub name: String,
    /// Its files.
    pub files: Vec<String>,
    /// Role as typed.
    pub role: String,
    /// Whether a fit uses it.
    pub used: bool,
    /// Numbers of its files that are whole.
    numbers: Vec<Option<u64>>,
    arriving: bool,
}

impl Named {
    /// The captures that a sheet names; none where it cannot be read.
    pub fn of(text: &str, inventory: &Inventory) -> Vec<Named> {
        let Ok(sheet) = sheet_json(text) else {
            return Vec::new();
        };
        let captures = sheet["captures"].as_array().cloned().unwrap_or_default();
        let each = captures.iter().enumerate();
        each.map(|(index, capture)| {
            let files = files_of(capture);
            let first = files.first().map_or("", String::as_str);
            let name = capture["name"].as_str().map(str::to_owned);
            Named {
                index,
                name: name.unwrap_or_else(|| capture_name(first)),
                role: capture["role"].as_str().unwrap_or_default().to_owned(),
                used: capture["use"].as_bool().unwrap_or(true),
                numbers: files
                    .iter()
                    .map(|file| inventory.whole.get(plain(file)).copied())
                    .collect(),
                arriving: files
                    .iter()
                    .any(|file| inventory.arriving.iter().any(|a| a == plain(file))),
                files,
            }
        })
        .collect()
    }

    /// True where all of its files are there.
    pub fn is_whole(&self) -> bool {
        self.numbers.iter().all(Option::is_some)
    }

    /// Why it is not.
    pub fn absence(&self) -> &'static str {
        match self.arriving {
            true => ARRIVING,
            false => {
                "the file is not in the folder any more. Bring it back, or do not use the capture"
            }
        }
    }
}

const ARRIVING: &str = "the file is still being written";

fn verdict(grade: &str, text: &str) -> Value {
    json!({"grade": grade, "text": text, "more": []})
}

/// `./a.csv` is `a.csv`.
fn plain(file: &str) -> &str {
    file.strip_prefix("./").unwrap_or(file)
}

/// The captures of the sheet with what is known of each.
pub fn shots<'a>(
    named: &'a [Named],
    verdicts: &'a BTreeMap<String, Value>,
    unread: &'a BTreeMap<String, String>,
) -> impl Iterator<Item = Value> + 'a {
    named.iter().map(|one| {
        let known = verdicts.get(&one.name);
        let mut shot = known.cloned().unwrap_or_else(|| json!({}));
        if !one.used {
            shot["verdict"] = verdict("unused", "not used (use = false)");
        } else if !one.is_whole() {
            let grade = if one.arriving { "arriving" } else { "missing" };
            shot["verdict"] = verdict(grade, one.absence());
        } else if let Some(why) = unread.get(&one.name) {
            shot["verdict"] = verdict("unread", why);
        } else if known.is_none() {
            let text = "waits until the sheet can be read: see the answers";
            shot["verdict"] = verdict("waiting", text);
        }
        shot["index"] = json!(one.index);
        shot["name"] = json!(one.name);
        shot["files"] = json!(one.files);
        shot["role"] = json!(one.role);
        shot["stamp"] = json!(one.numbers);
        shot
    })
}

/// Files that no capture of the sheet names.
pub fn waiting(
    inventory: &Inventory,
    named: &[Named],
    refused: &BTreeMap<String, (u64, String)>,
) -> Vec<Value> {
    let is_named = |file: &String| {
        named
            .iter()
            .any(|n| n.files.iter().any(|f| plain(f) == file))
    };
    let shot = |file: &String, grade: &str, text: &str| {
        json!({
            "index": null,
            "name": file,
            "files": [file],
            "verdict": verdict(grade, text),
        })
    };
    let whole = inventory
        .whole
        .keys()
        .filter(|file| !is_named(file))
        .map(|file| match refused.get(file) {
            Some((_, why)) => shot(file, "refused", why),
            None => shot(file, "outside", "not in the sheet"),
        });
    let arriving = inventory.arriving.iter().filter(|file| !is_named(file));
    let arriving = arriving.map(|file| shot(file, "arriving", ARRIVING));
    arriving.chain(whole).collect()
}
