//! What there is behind the token.

use super::request::{Request, Response};
use crate::watch::actions::{Action, act, datasheets};

use crate::watch::hub::Hub;
use crate::watch::page;
use crate::watch::sheet::{Edit, EditError};
use crate::watch::steps::{self, Typed};
use serde::Deserialize;
use serde_json::json;
use std::time::Duration;

/// How long a page waits for something new before it asks again.
const LONGEST_WAIT: Duration = Duration::from_secs(10);

/// Changes of one step, with a few words for undo.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Changes {
    what: String,
    edits: Vec<Edit>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Wanted {
    files: Vec<String>,
}

/// Answers an admitted request.
pub fn answer(request: &Request, path: &str, hub: &Hub) -> Response {
    let (path, query) = path.split_once('?').unwrap_or((path, ""));
    match (request.method.as_str(), path) {
        ("GET", "") => Response::new("text/html; charset=utf-8", page::html(hub.read_only)),
        ("GET", "page.css") => Response::new("text/css; charset=utf-8", page::style()),
        ("GET", "page.js") => Response::new("text/javascript; charset=utf-8", page::script()),
        ("GET", "library.js") => Response::new(
            "text/javascript; charset=utf-8",
            crate::report::page::library(),
        ),
        ("GET", "state") => {
            let after = parameter(query, "after").and_then(|v| v.parse().ok());
            let (_, text) = hub.state_after(after.unwrap_or(0), LONGEST_WAIT);
            Response::new("application/json", text.as_bytes())
        }
        ("GET", "picture") => match parameter(query, "name").and_then(|n| hub.picture(&n)) {
            Some(text) => Response::new("application/json", text),
            None => Response::refusal(404, "no picture of that name"),
        },
        ("GET", "datasheets") => Response::json(200, &json!(datasheets(&hub.folder))),
        ("GET", path) if let Some(name) = path.strip_prefix("wiring/") => match page::drawing(name)
        {
            Some(text) => Response::drawing(text),
            None => Response::refusal(404, "no drawing of that name"),
        },
        ("POST", "edit") => with(request, |changes: Changes| {
            let what: String = changes
                .what
                .chars()
                .filter(|c| !c.is_control())
                .take(80)
                .collect();
            let done = hub.sheet().edit(&changes.edits, &what);
            changed(hub, done)
        }),
        ("POST", step @ ("undo" | "redo")) => {
            let done = hub.sheet().step(step == "undo");
            changed(hub, done)
        }
        ("POST", "enter" | "do") if hub.read_only => failed(
            403,
            "this page was opened with --read-only; nothing is written",
        ),
        ("POST", "enter") => with(request, |wanted: Wanted| {
            // Names that the folder does not hold are passed over by the work itself.
            hub.wake(wanted.files);
            Response::json(200, &json!({}))
        }),
        ("POST", "first") => with(request, |typed: Typed| {
            let shown = hub.shown();
            let bench = shown.as_ref().and_then(|s| s.bench.as_deref());
            match steps::first(bench, &typed) {
                Ok(plan) => Response::json(200, &plan),
                Err(text) => failed(400, &text),
            }
        }),
        ("POST", "do") => with(request, |action: Action| {
            let path = hub.sheet().path().to_owned();
            match act(&hub.folder, &path, &action) {
                Ok(outcome) => Response::json(
                    200,
                    &json!({"written": outcome.written, "text": outcome.text}),
                ),
                Err(text) => failed(400, &text),
            }
        }),
        _ => Response::refusal(404, "there is no such thing here"),
    }
}

fn changed(hub: &Hub, done: Result<(), EditError>) -> Response {
    match done {
        Ok(()) => {
            hub.show_sheet();
            hub.wake(Vec::new());
            Response::json(200, &json!({}))
        }
        Err(error) => {
            let status = match error {
                EditError::Changed { .. } => 409,
                _ => 400,
            };
            failed(status, &error.to_string())
        }
    }
}

fn failed(status: u16, text: &str) -> Response {
    Response::json(status, &json!({"error": text}))
}

/// The body as what is expected.
fn with<T: for<'d> Deserialize<'d>>(
    request: &Request,
    work: impl FnOnce(T) -> Response,
) -> Response {
    match serde_json::from_slice::<T>(&request.body) {
        Ok(value) => work(value),
        Err(error) => failed(400, &format!("the request is not understood: {error}")),
    }
}

/// A parameter of the query, its percent signs undone.
fn parameter(query: &str, name: &str) -> Option<String> {
    let pairs = query.split('&').filter_map(|pair| pair.split_once('='));
    let value = pairs.into_iter().find(|(key, _)| *key == name)?.1;
    let bytes = value.as_bytes();
    let mut out = Vec::with_capacity(bytes.len());
    let mut at = 0;
    while at < bytes.len() {
        let coded = (bytes[at] == b'%')
            .then(|| value.get(at + 1..at + 3))
            .flatten();
        match coded.and_then(|hex| u8::from_str_radix(hex, 16).ok()) {
            Some(byte) => {
                out.push(byte);
                at += 3;
            }
            None => {
                out.push(bytes[at]);
                at += 1;
            }
        }
    }
    String::from_utf8(out).ok()
}
