//! The thread that works: reads what has changed, enters new captures, judges them, fits, and asks what comes next.

use super::folder::Inventory;
use super::hub::{Hub, Shown};
use super::sheet::enter;
use super::shots::{Named, shots, waiting};
use super::steps::{self, Typed};
use super::verdicts::{Found, answers, answers_fault, verdicts};
use crate::bench::{Bench, Kept, read_sheet_kept};
use crate::events::Timeline;
use crate::fit::{FitOptions, Monitor, RippleMemory};
use crate::identify::{IdentifyError, identify_with};
use rayon::prelude::*;
use serde_json::{Value, json};
use std::collections::{BTreeMap, HashMap};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Instant;

/// Most captures that a sheet may have; further files wait for a person.
const MOST_CAPTURES: usize = 250;
/// While a draft is untouched and its files are small, it is drafted anew from all of them.
const REDRAFTED_BYTES: u64 = 16 << 20;

/// State of the work between one turn and the next.
pub struct Engine {
    hub: Arc<Hub>,
    kept: Kept,
    found: HashMap<String, Found>,
    ripple: RippleMemory,
    /// Files that could not enter the sheet, by number, and why.
    refused: BTreeMap<String, (u64, String)>,
    /// Files that were there before the page and that the sheet of then did not name: they wait for the person.
    before: Option<BTreeMap<String, u64>>,
    /// The last fit with its answers and next steps.
    last: Option<(Arc<Shown>, Value)>,
}

/// A bench as far as it could be read.
struct Reading {
    bench: Option<Bench>,
    /// Why `fit` would refuse the sheet.
    fault: Option<String>,
    /// Captures that cannot be read, by name.
    unread: BTreeMap<String, String>,
}

impl Engine {
    /// Works for the pages of `hub`.
    pub fn new(hub: Arc<Hub>) -> Engine {
        Engine {
            hub,
            kept: Kept::keeping(),
            found: HashMap::new(),
            ripple: RippleMemory::keeping(),
            refused: BTreeMap::new(),
            before: None,
            last: None,
        }
    }

    /// Works until all ends.
    pub fn run(mut self) {
        let mut done = 0;
        while let Some((generation, inventory, fault, wanted)) = self.hub.next_work(done) {
            if let Some(fault) = fault {
                let text = format!("the folder cannot be listed: {fault}");
                self.hub.show(json!({"fault": text, "busy": null}));
            } else {
                self.turn(generation, &inventory, &wanted);
            }
            done = generation;
        }
    }

    fn turn(&mut self, generation: u64, inventory: &Inventory, wanted: &[String]) {
        self.enter_captures(inventory, wanted);
        let (text, fault) = self.hub.show_sheet();
        let path = self.hub.sheet().path().to_owned();
        self.hub.show(json!({"fault": null}));
        let others = &inventory.others;
        let Some(text) = text else {
            self.hub.show_with(
                json!({
                    "shots": waiting(inventory, &[], &self.refused),
                    "others": others,
                    "answers": answers_fault(fault.as_deref()),
                    "next": first(None),
                    "busy": null,
                }),
                Some(Arc::default()),
            );
            return;
        };
        let named = Named::of(&text, inventory);
        let reading = self.read(&path, &text, &named);
        let Some(bench) = reading.bench else {
            self.hub.show(json!({
                "shots": shots(&named, &BTreeMap::new(), &reading.unread)
                    .chain(waiting(inventory, &named, &self.refused))
                    .collect::<Vec<_>>(),
                "others": others,
                "answers": answers_fault(reading.fault.as_deref()),
                "busy": null,
            }));
            return;
        };
        let (found, is_new) = self.timelines(&bench);
        let verdicts = verdicts(&bench, &found, self.kept.warnings());
        let listed: Vec<Value> = shots(&named, &verdicts, &reading.unread)
            .chain(waiting(inventory, &named, &self.refused))
            .collect();
        let fault = reading.fault.or_else(|| {
            let first = found.iter().find_map(|f| f.role.as_ref());
            first.map(ToString::to_string)
        });
        let timelines: Vec<Timeline> = found.into_iter().map(|f| f.timeline).collect();
        self.hub.show(json!({"shots": listed, "others": others}));
        if bench.captures.is_empty() || fault.is_some() {
            let next = match &fault {
                Some(_) => Value::Null,
                None => first(Some(&bench)),
            };
            let shown = Shown::records(Arc::new(bench), timelines);
            self.hub.show_with(
                json!({"answers": answers_fault(fault.as_deref()), "next": next, "busy": null}),
                Some(shown.into()),
            );
            return;
        }
        if let Some((shown, parts)) = &self.last
            && shown.bench.as_deref() == Some(&bench)
        {
            // The same sheet and records give the same answers.
            self.hub.show_with(parts.clone(), Some(Arc::clone(shown)));
            return;
        }
        let bench = Arc::new(bench);
        if is_new {
            // Pictures of new records come before the fit; otherwise those with the model of before stay until the next.
            let shown = Shown::records(Arc::clone(&bench), timelines.clone());
            self.hub.show_with(json!({}), Some(shown.into()));
        }
        self.fit(generation, bench, timelines);
    }

    /// New files enter the sheet; where there is none, with a draft of it.
    fn enter_captures(&mut self, inventory: &Inventory, wanted: &[String]) {
        let mut sheet = self.hub.sheet();
        let text = sheet.text().map(str::to_owned);
        let named = match &text {
            Some(text) => match enter::named_files(text) {
                Some(named) => named,
                // Not while the sheet cannot be read.
                None => return,
            },
            None => Vec::new(),
        };
        let before = self.before.get_or_insert_with(|| match text {
            Some(_) => inventory.whole.clone(),
            None => BTreeMap::new(),
        });
        before.retain(|file, number| inventory.whole.get(file) == Some(number));
        self.refused.retain(|file, (number, _)| {
            inventory.whole.get(file) == Some(number) && !wanted.contains(file)
        });
        let untouched = sheet.is_untouched_draft();
        let mut new: Vec<String> = inventory
            .whole
            .keys()
            .filter(|file| !named.contains(file) && !self.refused.contains_key(*file))
            .filter(|file| wanted.contains(file) || !before.contains_key(*file))
            .cloned()
            .collect();
        new.truncate(MOST_CAPTURES.saturating_sub(named.len()));
        if new.is_empty() || (self.hub.read_only && text.is_some() && !untouched) {
            return;
        }
        self.hub.show(json!({"busy": "read new captures"}));
        let folder = &self.hub.folder;
        let whole_again = || {
            let mut all: Vec<String> = named.iter().chain(&new).cloned().collect();
            all.retain(|file| inventory.whole.contains_key(file));
            let bytes = |file: &String| {
                let length =
                    std::fs::metadata(folder.join(file)).map_or(u64::MAX / 4096, |m| m.len());
                // Packed text is some five times as long.
                if file.ends_with(".gz") {
                    5 * length
                } else {
                    length
                }
            };
            (all.iter().map(bytes).sum::<u64>() < REDRAFTED_BYTES).then_some(all)
        };
        let entered = match &text {
            None => enter::draft(folder, &new),
            Some(_) if untouched && let Some(all) = whole_again() => enter::draft(folder, &all),
            Some(text) => enter::entered(folder, text, &new),
        };
        for (file, why) in &entered.left_out {
            if let Some(number) = inventory.whole.get(file) {
                self.refused.insert(file.clone(), (*number, why.clone()));
            }
        }
        let Some(text_after) = entered.text else {
            return;
        };
        let what = match new.as_slice() {
            [one] => format!("enter {one}"),
            several => format!("enter {} captures", several.len()),
        };
        let written = match text {
            None => sheet.write_draft(text_after),
            Some(_) if untouched => sheet.write_draft(text_after),
            Some(_) => sheet.write(text_after, &what),
        };
        if let Err(error) = written {
            self.hub.show(json!({"fault": error.to_string()}));
        }
    }

    /// The bench with every capture that can be read, and why `fit` would refuse it.
    fn read(&mut self, path: &Path, text: &str, named: &[Named]) -> Reading {
        self.hub.show(json!({"busy": "read captures"}));
        let folder = &self.hub.folder;
        let mut unread: BTreeMap<String, String> = BTreeMap::new();
        let mut out: Vec<PathBuf> = Vec::new();
        let mut fault = None;
        for one in named.iter().filter(|n| n.used && !n.is_whole()) {
            out.extend(one.files.first().map(|file| folder.join(file)));
            fault.get_or_insert(format!("{}: {}", one.name, one.absence()));
        }
        loop {
            let keep = |path: &Path| !out.iter().any(|o| o == path);
            let error = match read_sheet_kept(path, text.as_bytes(), &keep, &mut self.kept) {
                Ok(bench) => {
                    return Reading {
                        bench: Some(bench),
                        fault,
                        unread,
                    };
                }
                Err(error) => error,
            };
            let text = error.to_string();
            let name = error.capture.as_deref().unwrap_or_default();
            fault.get_or_insert(text.clone());
            let one = named.iter().find(|n| n.name == name);
            let file = one.and_then(|n| n.files.first());
            match file.map(|file| folder.join(file)) {
                Some(path) if !out.contains(&path) => {
                    unread.insert(name.to_owned(), text);
                    out.push(path);
                }
                _ => {
                    return Reading {
                        bench: None,
                        fault: Some(text),
                        unread,
                    };
                }
            }
        }
    }

    /// Events and roles of the captures, looked for only where something has changed.
    /// Whether anything was looked for is told, too.
    fn timelines(&mut self, bench: &Bench) -> (Vec<Found>, bool) {
        let keys: Vec<String> = self
            .kept
            .keys()
            .iter()
            .zip(&bench.captures)
            .map(|(key, capture)| format!("{key}{:?}", capture.by_hand))
            .collect();
        let is_new = keys.iter().any(|key| !self.found.contains_key(key));
        if is_new {
            self.hub.show(json!({"busy": "find events"}));
        }
        let found: Vec<Found> = bench
            .captures
            .par_iter()
            .zip(&keys)
            .map(|(capture, key)| match self.found.get(key) {
                Some(found) => found.clone(),
                None => Found::of(capture),
            })
            .collect();
        self.found = keys.into_iter().zip(found.iter().cloned()).collect();
        (found, is_new)
    }

    fn fit(&mut self, generation: u64, bench: Arc<Bench>, timelines: Vec<Timeline>) {
        let begun = Instant::now();
        self.hub.show(json!({"busy": "fit"}));
        let interrupt = self.hub.begin(generation);
        let options = FitOptions {
            monitor: Monitor::from(interrupt.clone()),
            memory: self.ripple.clone(),
            ..FitOptions::default()
        };
        let hub = Arc::clone(&self.hub);
        let lap = move |stage: &'static str| hub.show(json!({"busy": after(stage)}));
        let found = match identify_with(&bench, timelines, &options, lap) {
            Ok(found) => found,
            Err(_) if interrupt.requested() => return,
            Err(IdentifyError {
                timelines, source, ..
            }) => {
                let shown = Shown::records(bench, timelines);
                let text = format!("the captures could not be fitted: {source}");
                self.hub.show_with(
                    json!({"answers": answers_fault(Some(&text)), "next": null, "busy": null}),
                    Some(shown.into()),
                );
                return;
            }
        };
        let answers = answers(&found.file, begun);
        self.hub
            .show(json!({"answers": answers, "busy": "what to measure next"}));
        let next = steps::after_a_fit(&bench, &found.estimate);
        let shown = Shown {
            fitted: Some((found.estimate, found.file)),
            ..Shown::records(bench, found.timelines)
        };
        let shown = Arc::new(shown);
        let parts = json!({"answers": answers, "next": next, "busy": null});
        self.last = Some((Arc::clone(&shown), parts.clone()));
        self.hub.show_with(parts, Some(shown));
    }
}

/// The first shots, or what has to be known for them.
fn first(bench: Option<&Bench>) -> Value {
    let ask = |missing| json!({"kind": "ask", "missing": [missing], "steps": []});
    steps::first(bench, &Typed::default()).unwrap_or_else(ask)
}

/// What is done after a stage of the fit.
fn after(stage: &'static str) -> &'static str {
    match stage {
        "ripple of run-downs" => "first fit",
        "first fit" => "ripple of currents",
        "ripple of currents" => "joint fit",
        "joint fit" => "profiles",
        _ => "assemble",
    }
}
