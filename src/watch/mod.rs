//! A page that follows a folder while captures are recorded into it.
//!
//! * `folder`: what lies there, and which files are whole.
//! * `sheet`: the bench sheet, which stays the truth: changed key by key, with comments and order kept.
//! * `engine`, `judge`, `verdicts`, `shots`, `steps`: what has changed is read, judged and fitted; then what to measure next.
//! * `actions`: what the buttons write.
//! * `hub`: what the threads share. `server`, `page`: the page and who may open it.
//!
//! Everything shown follows from the sheet and the files beside it, as `rundown fit` reads them.

mod actions;
mod engine;
mod folder;
mod hub;
mod judge;
mod page;
mod server;
mod sheet;
mod shots;
mod steps;
mod verdicts;

use crate::fit::Interrupt;
use engine::Engine;
use folder::Folder;
use hub::Hub;
use serde_json::json;
use server::{Guard, Presence, random_token, serve};
use sheet::SheetFile;
use std::io;
use std::net::{Ipv4Addr, TcpListener};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::thread;
use std::time::{Duration, Instant};

/// The sheet of a watched folder.
pub const SHEET: &str = "bench.toml";

/// Time between two looks at the folder.
const BETWEEN_LOOKS: Duration = Duration::from_millis(100);

/// How a folder is watched.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Options {
    /// The folder.
    pub folder: PathBuf,
    /// Port of the page; a free one without it.
    pub port: Option<u16>,
    /// Folders below it, too.
    pub subfolders: bool,
    /// Nothing is written.
    pub read_only: bool,
    /// End when no page has been open for so long, after the first one.
    pub stop_after: Option<Duration>,
}

/// Watches until `interrupt` or until the last page has been closed for long enough. `ready` gets the address of the page.
///
/// # Errors
/// The folder cannot be listed, the port is taken, the system gives no random numbers or threads.
pub fn watch(options: &Options, interrupt: &Interrupt, ready: impl FnOnce(&str)) -> io::Result<()> {
    let mut folder = Folder::new(&options.folder, options.subfolders);
    folder.look(Instant::now())?;
    let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, options.port.unwrap_or(0)))?;
    let address = listener.local_addr()?;
    let guard = Arc::new(Guard::new(random_token()?, address.port()));
    let sheet = SheetFile::new(sheet_path(&options.folder), options.read_only);
    let hub = Arc::new(Hub::new(options.folder.clone(), sheet, options.read_only));
    hub.show(json!({
        "folder": shown_name(&options.folder),
        "read_only": options.read_only,
        "shots": [],
        "busy": "look at the folder",
    }));
    // Before the work begins, which tells files of before the page by it.
    hub.found(folder.look(Instant::now()), true);
    let presence = Arc::new(Presence::default());
    let worker = {
        let engine = Engine::new(Arc::clone(&hub));
        thread::Builder::new()
            .name("work".into())
            .spawn(|| engine.run())?
    };
    {
        let (guard, hub, presence) = (Arc::clone(&guard), Arc::clone(&hub), Arc::clone(&presence));
        thread::Builder::new()
            .name("listen".into())
            .spawn(move || serve(&listener, &guard, &hub, &presence))?;
    }
    ready(&guard.address());
    let gone = |limit: &Duration| presence.absent_for().is_some_and(|absent| absent > *limit);
    while !interrupt.requested() && !options.stop_after.as_ref().is_some_and(gone) {
        let sheet_changed = hub.sheet().refresh();
        hub.found(folder.look(Instant::now()), sheet_changed);
        thread::sleep(BETWEEN_LOOKS);
    }
    hub.stop();
    let _ = worker.join();
    Ok(())
}

/// `bench.toml` of the folder, named as a person standing there would.
fn sheet_path(folder: &Path) -> PathBuf {
    match folder == Path::new(".") {
        true => PathBuf::from(SHEET),
        false => folder.join(SHEET),
    }
}

fn shown_name(folder: &Path) -> String {
    let whole = folder.canonicalize().unwrap_or_else(|_| folder.to_owned());
    whole.display().to_string()
}
