//! Changes of single keys of a bench sheet, with comments and order kept.
//!
//! Each change says what the key held when the person changed it. Where the sheet holds something else by now, nothing is changed: so
//! a page and an editor may change one sheet at once, and neither loses anything.

use super::json::{same, sheet_json, value_of};
use crate::bench::check_sheet;
use crate::files::LARGEST_SHEET;
use serde::Deserialize;
use serde_json::Value as Json;
use std::path::Path;
use toml_edit::{ArrayOfTables, DocumentMut, Item, Table};

/// Most steps of a path into the sheet.
const DEEPEST: usize = 8;
/// Sections that stand as tables of their own, and those of them that hold tables by name.
const SECTIONS: [&str; 4] = ["motor", "supply", "instruments", "channels"];
const NAMED: [&str; 2] = ["instruments", "channels"];

/// One key that is to hold something else.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Edit {
    /// The way to the key: names of tables and keys, numbers in lists, e.g. `["captures", 0, "role"]`.
    pub at: Vec<Place>,
    /// What it holds when the change is made; `null` where it is absent.
    #[serde(default)]
    pub was: Json,
    /// What it is to hold; `null` takes it out.
    #[serde(default)]
    pub value: Json,
}

/// One step of the way to a key.
#[derive(Clone, Debug, Deserialize)]
#[serde(untagged)]
pub enum Place {
    /// Place in a list, from 0; the length of a list of tables adds one.
    Index(usize),
    /// A table or key.
    Key(String),
}

/// Why nothing was changed.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum EditError {
    /// The sheet holds something else than the page showed.
    #[error("changed meanwhile: {at} is {found} now; nothing was written")]
    Changed {
        /// The key.
        at: String,
        /// What it holds.
        found: String,
    },
    /// The key may not be changed from a page, or its value cannot stand in a sheet.
    #[error("{0}")]
    Refused(String),
}

/// The text with all edits made, or none of them.
///
/// # Errors
/// [`EditError`]; also where the sheet was well-formed and would not be any more.
pub(super) fn edited(path: &Path, text: &str, edits: &[Edit]) -> Result<String, EditError> {
    let mut document: DocumentMut = text.parse().map_err(|error: toml_edit::TomlError| {
        EditError::Refused(format!(
            "the sheet is not TOML just now ({}); fix it in the editor first",
            error.message()
        ))
    })?;
    for edit in edits {
        make(&mut document, edit)?;
    }
    let after = document.to_string();
    if after.len() as u64 > LARGEST_SHEET {
        return Err(EditError::Refused("the sheet would be too large".into()));
    }
    match check_sheet(path, after.as_bytes()) {
        Err(error) if check_sheet(path, text.as_bytes()).is_ok() => {
            Err(EditError::Refused(error.to_string()))
        }
        _ => Ok(after),
    }
}

fn make(document: &mut DocumentMut, edit: &Edit) -> Result<(), EditError> {
    let refuse = |text: &str| Err(EditError::Refused(format!("{}: {text}", words(&edit.at))));
    if edit.at.is_empty() || edit.at.len() > DEEPEST {
        return refuse("expected the way to a key");
    }
    if names_files(edit) {
        return refuse("files are entered from the folder, not named by the page");
    }
    let sheet = sheet_json(&document.to_string()).unwrap_or_default();
    let found = edit
        .at
        .iter()
        .try_fold(&sheet, |holder, place| match place {
            Place::Index(k) => holder.get(k),
            Place::Key(key) => holder.get(key),
        });
    let found = found.cloned().unwrap_or_default();
    if !same(&found, &edit.was) {
        return Err(EditError::Changed {
            at: words(&edit.at),
            found: match found {
                Json::Null => "absent".to_owned(),
                other => other.to_string(),
            },
        });
    }
    if edit.value.is_null() && edit.was.is_null() {
        return Ok(());
    }
    let ok = if edit.value.is_null() {
        take_out(document.as_item_mut(), &edit.at)
    } else {
        put(document.as_item_mut(), &edit.at, (0, false), &edit.value)
    };
    match ok {
        Some(()) => Ok(()),
        None => refuse("this is not a value that the sheet accepts there"),
    }
}

/// True where an edit would name a file.
fn names_files(edit: &Edit) -> bool {
    fn inside(value: &Json) -> bool {
        match value {
            Json::Object(map) => map.iter().any(|(key, v)| key == "file" || inside(v)),
            Json::Array(list) => list.iter().any(inside),
            _ => false,
        }
    }
    let key = |place: &Place| matches!(place, Place::Key(key) if key == "file");
    edit.at.iter().any(key) || inside(&edit.value)
}

fn words(at: &[Place]) -> String {
    let step = |place: &Place| match place {
        Place::Index(k) => format!("number {}", k + 1),
        Place::Key(key) => key.clone(),
    };
    at.iter().map(step).collect::<Vec<_>>().join(", ")
}

fn take_out(item: &mut Item, at: &[Place]) -> Option<()> {
    let (last, way) = at.split_last()?;
    let mut holder = item;
    for place in way {
        holder = match place {
            Place::Key(key) => holder.get_mut(key.as_str())?,
            Place::Index(k) => holder.get_mut(*k)?,
        };
    }
    match last {
        Place::Key(key) => {
            holder.as_table_like_mut()?.remove(key)?;
        }
        Place::Index(k) => match holder {
            Item::ArrayOfTables(tables) if *k < tables.len() => {
                tables.remove(*k);
            }
            _ => {
                let array = holder.as_array_mut()?;
                (*k < array.len()).then(|| array.remove(*k))?;
            }
        },
    }
    Some(())
}

/// `depth` steps in, and whether the way began with a section that holds tables by name.
fn put(item: &mut Item, at: &[Place], (depth, named): (usize, bool), value: &Json) -> Option<()> {
    let (first, rest) = at.split_first()?;
    match first {
        Place::Index(k) => {
            if let Item::ArrayOfTables(tables) = item {
                if *k == tables.len() {
                    tables.push(Table::new());
                }
                let table = tables.get_mut(*k)?;
                if rest.is_empty() {
                    return fill(table, value);
                }
                let mut inner = Item::Table(std::mem::take(table));
                let ok = put(&mut inner, rest, (depth + 1, named), value);
                *table = inner.into_table().ok()?;
                return ok;
            }
            let array = item.as_array_mut()?;
            let new = value_of(value)?;
            if !rest.is_empty() || *k > array.len() {
                return None;
            }
            if *k == array.len() {
                array.push(new);
            } else {
                array.replace(*k, new);
            }
            Some(())
        }
        Place::Key(key) => {
            let named = named || depth == 0 && NAMED.contains(&key.as_str());
            let wants_table = match depth {
                0 => SECTIONS.contains(&key.as_str()),
                1 => named,
                _ => false,
            };
            let wants_list = matches!(rest.first(), Some(Place::Index(_)));
            let table = item.as_table_like_mut()?;
            if rest.is_empty() && !(wants_table && value.is_object()) {
                return put_value(table, key, value);
            }
            if !table.contains_key(key) {
                table.insert(key, new_holder(depth, wants_table, wants_list));
            }
            let inner = table.get_mut(key)?;
            if rest.is_empty() {
                return fill(inner.as_table_mut()?, value);
            }
            put(inner, rest, (depth + 1, named), value)
        }
    }
}

fn new_holder(depth: usize, wants_table: bool, wants_list: bool) -> Item {
    if wants_list {
        return Item::ArrayOfTables(ArrayOfTables::new());
    }
    let mut table = Table::new();
    if wants_table {
        // `[channels]` itself is not written, `[channels.CH1]` is.
        table.set_implicit(depth == 0);
    } else {
        table.set_dotted(true);
    }
    Item::Table(table)
}

/// Puts a value in place of another one, with the comments about that.
fn put_value(table: &mut dyn toml_edit::TableLike, key: &str, value: &Json) -> Option<()> {
    if key.is_empty() || key.len() > 200 || key.chars().any(char::is_control) {
        return None;
    }
    let mut new = value_of(value)?;
    match table.get_mut(key) {
        Some(Item::Value(old)) => {
            *new.decor_mut() = old.decor().clone();
            *old = new;
        }
        Some(_) => return None,
        None => {
            table.insert(key, Item::Value(new));
        }
    }
    Some(())
}

fn fill(table: &mut Table, value: &Json) -> Option<()> {
    for (key, value) in value.as_object()? {
        put_value(table, key, value)?;
    }
    Some(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    const SHEET: &str = "\
# My bench
[motor]
name = \"M\"   # the small one

[channels.CH1]
measures = \"voltage\"

[[captures]]
# first of three
file = \"a.csv\"
role = \"start\"  # by eye

# the end
";

    fn edit(at: Json, was: Json, value: Json) -> Edit {
        serde_json::from_value(json!({"at": at, "was": was, "value": value})).unwrap()
    }

    fn after(edits: &[Edit]) -> Result<String, EditError> {
        edited(Path::new("bench.toml"), SHEET, edits)
    }

    #[test]
    fn a_key_changes_and_comments_and_order_stay() {
        let text = after(&[
            edit(json!(["captures", 0, "role"]), json!("start"), json!("brake")),
            edit(json!(["captures", 0, "current", "reversed"]), json!(null), json!(true)),
            edit(json!(["motor", "poles"]), json!(null), json!(2)),
            edit(json!(["supply", "voltage"]), json!(null), json!({"v": 24.5, "limit_percent": 1})),
            edit(json!(["channels", "CH2"]), json!(null), json!({"measures": "current"})),
            edit(
                json!(["readings", 0]),
                json!(null),
                json!({"kind": "ohmmeter", "readings_ohm": [4.4, 4.6], "accuracy": {"limit_percent": 1}}),
            ),
        ])
        .unwrap();
        for part in [
            "# My bench\n[motor]\nname = \"M\"   # the small one\npoles = 2\n",
            "# first of three\nfile = \"a.csv\"\nrole = \"brake\"  # by eye\ncurrent.reversed = true\n",
            "[supply]\nvoltage = { v = 24.5, limit_percent = 1 }\n",
            "[channels.CH2]\nmeasures = \"current\"\n",
            "[[readings]]\nkind = \"ohmmeter\"\nreadings_ohm = [4.4, 4.6]\n",
            "# the end\n",
        ] {
            assert!(text.contains(part), "{part}\nis not in\n{text}");
        }
    }

    #[test]
    fn what_changed_meanwhile_is_told_and_nothing_is_written() {
        let error = after(&[
            edit(json!(["motor", "poles"]), json!(null), json!(2)),
            edit(
                json!(["captures", 0, "role"]),
                json!("brake"),
                json!("steady"),
            ),
        ]);
        assert_eq!(
            error.unwrap_err().to_string(),
            "changed meanwhile: captures, number 1, role is \"start\" now; nothing was written"
        );
    }

    #[test]
    fn what_the_reader_refuses_and_what_names_a_file_is_refused() {
        for (at, was, value, word) in [
            (
                json!(["captures", 0, "rolle"]),
                json!(null),
                json!("x"),
                "unknown key",
            ),
            (
                json!(["captures", 0, "file"]),
                json!("a.csv"),
                json!("/etc/passwd"),
                "from the folder",
            ),
            (
                json!(["heat", 0]),
                json!(null),
                json!({"file": "../x"}),
                "from the folder",
            ),
            (
                json!(["captures", 7, "role"]),
                json!(null),
                json!("brake"),
                "not a value that the sheet accepts",
            ),
            (json!([]), json!(null), json!(1), "expected the way"),
        ] {
            let error = after(&[edit(at, was, value)]).unwrap_err().to_string();
            assert!(error.contains(word), "{error}");
        }
    }

    #[test]
    fn taking_out_keeps_the_rest() {
        let whole = sheet_json(SHEET).unwrap()["captures"][0].clone();
        let text = after(&[edit(json!(["captures", 0]), whole, json!(null))]).unwrap();
        assert!(
            !text.contains("a.csv") && text.contains("[channels.CH1]"),
            "{text}"
        );
    }
}
