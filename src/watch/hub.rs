//! What the page shows, and what the threads of a watched folder share.

use super::folder::Inventory;
use super::sheet::{SheetFile, sheet_json};
use crate::bench::Bench;
use crate::events::Timeline;
use crate::fit::{Estimate, Interrupt};
use crate::motor_file::MotorFile;
use crate::report::capture_view;
use serde_json::{Map, Value, json};
use std::path::PathBuf;
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

/// A fit on inputs that have changed is ended when it has lasted so long; a shorter one ends by itself.
const PATIENCE: Duration = Duration::from_millis(1500);

/// The records behind what is shown.
#[derive(Default)]
pub struct Shown {
    /// Captures that could be read.
    pub bench: Option<Arc<Bench>>,
    /// In its order.
    pub timelines: Vec<Timeline>,
    /// Where they could be fitted.
    pub fitted: Option<(Estimate, MotorFile)>,
}

impl Shown {
    /// Of captures that are not fitted.
    pub fn records(bench: Arc<Bench>, timelines: Vec<Timeline>) -> Shown {
        Shown {
            bench: Some(bench),
            timelines,
            fitted: None,
        }
    }
}

#[derive(Default)]
struct State {
    version: u64,
    parts: Map<String, Value>,
    text: Arc<str>,
    shown: Option<Arc<Shown>>,
    /// Counts the records shown, so that a page knows when to ask for pictures again.
    pictures: u64,
}

#[derive(Default)]
struct Inputs {
    generation: u64,
    inventory: Inventory,
    fault: Option<String>,
    /// Generation that is worked on, since when, and how to end it.
    running: Option<(u64, Instant, Interrupt)>,
    /// Files that the person wants in the sheet.
    wanted: Vec<String>,
    stopped: bool,
}

/// Shared by the thread that looks, the one that works, and those that answer the page.
pub struct Hub {
    /// The folder.
    pub folder: PathBuf,
    /// Whether nothing may be written.
    pub read_only: bool,
    sheet: Mutex<SheetFile>,
    state: Mutex<State>,
    changed: Condvar,
    inputs: Mutex<Inputs>,
    woken: Condvar,
}

fn lock<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    // A thread that panicked has left whole values: each is set in one step.
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

impl Hub {
    /// Of a folder with its sheet.
    pub fn new(folder: PathBuf, sheet: SheetFile, read_only: bool) -> Hub {
        Hub {
            folder,
            read_only,
            sheet: Mutex::new(sheet),
            state: Mutex::default(),
            changed: Condvar::new(),
            inputs: Mutex::default(),
            woken: Condvar::new(),
        }
    }

    /// The sheet, for this thread alone.
    pub fn sheet(&self) -> MutexGuard<'_, SheetFile> {
        lock(&self.sheet)
    }

    /// What lies in the folder, and why it could not be listed.
    pub fn found(&self, inventory: std::io::Result<Inventory>, sheet_changed: bool) {
        let mut inputs = lock(&self.inputs);
        let (inventory, fault) = match inventory {
            Ok(inventory) => (inventory, None),
            Err(error) => (Inventory::default(), Some(error.to_string())),
        };
        if inventory != inputs.inventory || fault != inputs.fault || sheet_changed {
            inputs.inventory = inventory;
            inputs.fault = fault;
            inputs.generation += 1;
            self.woken.notify_all();
        }
        if let Some((generation, since, interrupt)) = &inputs.running
            && *generation != inputs.generation
            && since.elapsed() > PATIENCE
        {
            interrupt.request();
        }
    }

    /// The sheet has changed, or these files are to enter it.
    pub fn wake(&self, wanted: Vec<String>) {
        let mut inputs = lock(&self.inputs);
        inputs.wanted.extend(wanted);
        inputs.generation += 1;
        self.woken.notify_all();
    }

    /// Waits until the inputs differ from those of `done`; `None` when all ends.
    pub fn next_work(&self, done: u64) -> Option<(u64, Inventory, Option<String>, Vec<String>)> {
        let mut inputs = lock(&self.inputs);
        inputs.running = None;
        while inputs.generation == done && !inputs.stopped {
            inputs = self
                .woken
                .wait(inputs)
                .unwrap_or_else(PoisonError::into_inner);
        }
        let wanted = std::mem::take(&mut inputs.wanted);
        let (inventory, fault) = (inputs.inventory.clone(), inputs.fault.clone());
        (!inputs.stopped).then_some((inputs.generation, inventory, fault, wanted))
    }

    /// A request to end for work that begins now.
    pub fn begin(&self, generation: u64) -> Interrupt {
        let interrupt = Interrupt::default();
        let mut inputs = lock(&self.inputs);
        inputs.running = Some((generation, Instant::now(), interrupt.clone()));
        if inputs.stopped {
            interrupt.request();
        }
        interrupt
    }

    /// Ends all work.
    pub fn stop(&self) {
        let mut inputs = lock(&self.inputs);
        inputs.stopped = true;
        if let Some((_, _, interrupt)) = &inputs.running {
            interrupt.request();
        }
        self.woken.notify_all();
        self.changed.notify_all();
    }

    /// True once all ends.
    pub fn stopped(&self) -> bool {
        lock(&self.inputs).stopped
    }

    /// Shows the sheet as it is now; its text, and why it cannot be read.
    pub fn show_sheet(&self) -> (Option<String>, Option<String>) {
        let (text, fault, undo, redo) = {
            let sheet = self.sheet();
            let (undo, redo) = sheet.steps();
            (
                sheet.text().map(str::to_owned),
                sheet.fault().map(str::to_owned),
                undo.map(str::to_owned),
                redo.map(str::to_owned),
            )
        };
        let (json, fault) = match text.as_deref().map(sheet_json) {
            Some(Ok(json)) => (json, fault),
            Some(Err(error)) => (Value::Null, fault.or(Some(error))),
            None => (Value::Null, fault),
        };
        let mut parts = json!({"undo": undo, "redo": redo});
        // While an editor has half a sheet the forms keep what was there.
        if fault.is_none() {
            parts["sheet"] = json;
        }
        self.show(parts);
        (text, fault)
    }

    /// Shows some parts anew.
    pub fn show(&self, parts: Value) {
        self.show_with(parts, None);
    }

    /// Shows some parts anew, with the records behind them.
    pub fn show_with(&self, parts: Value, shown: Option<Arc<Shown>>) {
        let Value::Object(parts) = parts else { return };
        let mut state = lock(&self.state);
        let is_there = |new: &Arc<Shown>| {
            state
                .shown
                .as_ref()
                .is_some_and(|old| Arc::ptr_eq(old, new))
        };
        let shown = shown.filter(|new| !is_there(new));
        let same = parts.iter().all(|(key, v)| state.parts.get(key) == Some(v));
        if same && shown.is_none() {
            return;
        }
        state.parts.extend(parts);
        if let Some(shown) = shown {
            state.shown = Some(shown);
            state.pictures += 1;
            let pictures = json!(state.pictures);
            state.parts.insert("pictures".into(), pictures);
        }
        state.version += 1;
        let version = json!(state.version);
        state.parts.insert("version".into(), version);
        state.text = Value::Object(state.parts.clone()).to_string().into();
        self.changed.notify_all();
    }

    /// What is shown, once it is newer than `after` or the time is over; its version first.
    pub fn state_after(&self, after: u64, wait: Duration) -> (u64, Arc<str>) {
        let state = lock(&self.state);
        let (state, _) = self
            .changed
            .wait_timeout_while(state, wait, |state| {
                state.version <= after && !self.stopped()
            })
            .unwrap_or_else(PoisonError::into_inner);
        (state.version, Arc::clone(&state.text))
    }

    /// The picture of one capture as JSON; `None` where there is none of that name.
    pub fn picture(&self, name: &str) -> Option<String> {
        let shown = lock(&self.state).shown.clone()?;
        let bench = shown.bench.as_ref()?;
        let k = bench.captures.iter().position(|c| c.name == name)?;
        let timeline = shown.timelines.get(k)?;
        let fitted = shown.fitted.as_ref().map(|(e, f)| (e, f));
        let view = capture_view(bench, k, timeline, fitted);
        serde_json::to_string(&view).ok()
    }

    /// The bench behind what is shown.
    pub fn shown(&self) -> Option<Arc<Shown>> {
        lock(&self.state).shown.clone()
    }
}
