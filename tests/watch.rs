//! `rundown watch DIR`, run as a person runs it and asked as its page asks.

#[path = "common/watched.rs"]
mod watched;

use serde_json::json;
use std::fs;
use std::io::Write;
use std::path::Path;
use std::process::Command;
use std::thread::sleep;
use std::time::Duration;
use watched::{Watched, capture_of, sheetless, status};

const SHOTS: [&str; 5] = [
    "t01_start.csv.gz",
    "t02_coast.csv.gz",
    "t03_brake.csv.gz",
    "t04_locked.csv.gz",
    "t05_break.csv.gz",
];

#[test]
fn from_an_empty_folder_to_the_motor_file_that_fit_writes() {
    let dir = tempfile::tempdir().unwrap();
    let page = Watched::start(dir.path(), &[]);
    let first = page.until("the empty folder", |s| s["next"].is_object());
    assert_eq!(first["next"]["kind"], "ask");
    for (k, shot) in SHOTS.iter().enumerate() {
        fs::copy(capture_of("ticket_printer", shot), dir.path().join(shot)).unwrap();
        page.until(shot, |s| {
            s["shots"].as_array().is_some_and(|l| l.len() == k + 1)
        });
    }
    let state = page.until("the fit of five shots", |s| {
        s["busy"].is_null() && s["answers"]["answer"].is_object() && s["next"]["kind"] == "ranking"
    });
    let found: Vec<(&str, &str)> = state["shots"]
        .as_array()
        .unwrap()
        .iter()
        .map(|s| {
            (
                s["role"].as_str().unwrap(),
                s["verdict"]["grade"].as_str().unwrap(),
            )
        })
        .collect();
    let expected = ["start", "run-down", "brake", "locked-rotor", "turn-off"];
    assert_eq!(found, expected.map(|role| (role, "good")));
    // What the person knows, by the page's form.
    page.edit(json!([
        {"at": ["motor", "commutator_segments"], "was": null, "value": 7},
        {"at": ["readings", 0], "was": null, "value":
            {"kind": "ohmmeter", "readings_ohm": [4.4, 4.6], "accuracy": {"limit_percent": 1}}},
    ]));
    let state = page.until("the reading", |s| {
        s["busy"].is_null()
            && s["answers"]["answer"]["evidence"]
                .to_string()
                .contains("ohmmeter")
    });
    let answer = page.post("do", &json!({"what": "motor-file"}));
    assert_eq!(answer.1["written"], json!(["motor.json"]), "{answer:?}");
    let fitted = Command::new(env!("CARGO_BIN_EXE_rundown"))
        .args(["fit", "bench.toml", "-o", "by_fit.json"])
        .current_dir(dir.path())
        .output()
        .unwrap();
    assert!(fitted.status.code().is_some_and(|c| c < 2), "{fitted:?}");
    let file = fs::read(dir.path().join("motor.json")).unwrap();
    assert!(file == fs::read(dir.path().join("by_fit.json")).unwrap());
    // The page shows the same numbers.
    let file: serde_json::Value = serde_json::from_slice(&file).unwrap();
    let shown = state["answers"]["answer"]["parameters"].to_string();
    assert!(file["parameters"]["terminal_resistance"]["value"].is_number());
    assert!(shown.contains("terminal_resistance"), "{shown}");
    for (what, wrote) in [("report", "report.html"), ("drive", "exports/drive.txt")] {
        let answer = page.post("do", &json!({"what": what}));
        assert_eq!(answer.1["written"], json!([wrote]), "{answer:?}");
        assert!(dir.path().join(wrote).is_file());
    }
    let answer = page.post("do", &json!({"what": "export", "to": "spice"}));
    assert_eq!(answer.0, 200, "{answer:?}");
    // Exports are no captures.
    sleep(Duration::from_millis(600));
    assert_eq!(page.state()["shots"].as_array().unwrap().len(), 5);
}

#[test]
fn what_changes_neither_sheet_nor_records_is_not_fitted_again() {
    let dir = sheetless("ticket_printer", &SHOTS[..2]);
    let page = Watched::start(dir.path(), &[]);
    let ready = |s: &serde_json::Value| s["busy"].is_null() && s["next"]["kind"] == "ranking";
    let before = page.until("the fit", ready);
    fs::write(dir.path().join("shopping.list"), "brushes").unwrap();
    let after = page.until("the other file", |s| {
        ready(s) && s["others"].to_string().contains("shopping")
    });
    for part in ["answers", "next", "pictures"] {
        assert_eq!(before[part], after[part], "{part}");
    }
    // The sheet is another one now, even if only by a comment.
    let sheet = dir.path().join("bench.toml");
    let text = fs::read_to_string(&sheet).unwrap();
    fs::write(&sheet, text + "# read again\n").unwrap();
    page.until("the next fit", |s| {
        ready(s) && s["pictures"].as_u64() > after["pictures"].as_u64()
    });
}

#[test]
fn a_file_in_pieces_is_judged_once_it_is_whole_then_replaced_and_deleted() {
    let dir = sheetless("ticket_printer", &["t01_start.csv.gz"]);
    let page = Watched::start(dir.path(), &[]);
    page.until("the start", |s| s["answers"]["answer"].is_object());
    let bytes = fs::read(capture_of("ticket_printer", "t02_coast.csv.gz")).unwrap();
    let path = dir.path().join("t02_coast.csv.gz");
    let mut file = fs::File::create(&path).unwrap();
    for piece in bytes.chunks(bytes.len().div_ceil(10)) {
        file.write_all(piece).unwrap();
        file.flush().unwrap();
        sleep(Duration::from_millis(200));
        for shot in page.state()["shots"].as_array().unwrap() {
            let grade = shot["verdict"]["grade"].as_str().unwrap();
            assert!(["good", "usable", "arriving"].contains(&grade), "{shot}");
        }
    }
    drop(file);
    let grade = |s: &serde_json::Value, name: &str| {
        let shots = s["shots"].as_array().unwrap();
        let shot = shots.iter().find(|shot| shot["name"] == name);
        shot.map(|shot| shot["verdict"]["grade"].clone())
    };
    page.until("the run-down", |s| {
        grade(s, "t02_coast") == Some(json!("good"))
    });
    // Another record under the same name: its role does not fit any more.
    fs::copy(capture_of("ticket_printer", "t03_brake.csv.gz"), &path).unwrap();
    page.until("the replaced file", |s| {
        grade(s, "t02_coast").is_some_and(|g| g == "role" || g == "retake")
    });
    fs::write(&path, b"this is no capture").unwrap();
    page.until("the spoilt file", |s| {
        grade(s, "t02_coast") == Some(json!("unread"))
    });
    fs::remove_file(&path).unwrap();
    let state = page.until("the deleted file", |s| {
        grade(s, "t02_coast") == Some(json!("missing"))
    });
    assert!(
        state["answers"]["fault"]
            .as_str()
            .unwrap()
            .contains("t02_coast")
    );
    let at = json!(["captures", 1, "use"]);
    page.edit(json!([{"at": at, "was": null, "value": false}]));
    page.until("the fit without it", |s| s["answers"]["answer"].is_object());
    // A new file that is none is named, and the sheet does not know it.
    fs::write(dir.path().join("notes.txt"), "ask for the other probe").unwrap();
    page.until("the notes", |s| {
        grade(s, "notes.txt") == Some(json!("refused"))
    });
    let sheet = fs::read_to_string(dir.path().join("bench.toml")).unwrap();
    assert!(!sheet.contains("notes.txt"));
}

#[test]
fn an_editor_and_two_pages_change_one_sheet_and_nothing_is_lost() {
    let dir = sheetless("ticket_printer", &["t01_start.csv.gz"]);
    let page = Watched::start(dir.path(), &[]);
    page.until("the start", |s| s["answers"]["answer"].is_object());
    let path = dir.path().join("bench.toml");
    let poles = |was: Option<u32>, value: u32| json!([{"at": ["motor", "poles"], "was": was, "value": value}]);
    // An editor adds a line while the page changes another key.
    let text = fs::read_to_string(&path).unwrap();
    let edited = text.replace("[motor]\n", "[motor]\nnote = \"from the editor\"\n");
    fs::write(&path, edited).unwrap();
    assert_eq!(page.post_edit(poles(None, 2)).0, 200);
    let text = fs::read_to_string(&path).unwrap();
    assert!(
        text.contains("from the editor") && text.contains("poles = 2"),
        "{text}"
    );
    assert!(text.contains("# Guess:"), "comments stay: {text}");
    // The second page still shows what was before.
    let (status, answer) = page.post_edit(poles(None, 4));
    assert_eq!(status, 409);
    assert!(
        answer["error"]
            .as_str()
            .unwrap()
            .contains("changed meanwhile"),
        "{answer}"
    );
    page.until("the editor's line", |s| {
        s["sheet"]["motor"]["note"] == "from the editor"
    });
    // What the reader would refuse is not written.
    let (status, answer) = page.post_edit(json!([
        {"at": ["captures", 0, "role"], "was": "start", "value": "jump"},
    ]));
    assert_eq!(status, 400);
    assert!(
        answer["error"].as_str().unwrap().contains("jump"),
        "{answer}"
    );
    assert_eq!(page.post("undo", &json!({})).0, 200);
    let text = fs::read_to_string(&path).unwrap();
    assert!(
        text.contains("from the editor") && !text.contains("\npoles = 2"),
        "{text}"
    );
    assert_eq!(page.post("redo", &json!({})).0, 200);
    // A mistake in the editor is shown with its place, and gone when it is.
    let text = fs::read_to_string(&path).unwrap();
    fs::write(&path, text.replace("poles = 2", "poles = ")).unwrap();
    page.until("the mistake", |s| {
        s["answers"]["fault"]
            .as_str()
            .is_some_and(|f| f.contains("TOML"))
    });
    fs::write(&path, text).unwrap();
    page.until("its correction", |s| s["answers"]["answer"].is_object());
}

#[test]
fn events_and_cuts_set_by_hand_are_keys_that_fit_shows() {
    let dir = sheetless("ticket_printer", &["t01_start.csv.gz"]);
    let page = Watched::start(dir.path(), &[]);
    let state = page.until("the start", |s| s["answers"]["answer"].is_object());
    let shot = &state["shots"][0];
    assert_eq!(shot["events"][0][0], "switch-on");
    page.edit(json!([
        {"at": ["captures", 0, "events_s", "switch-on"], "was": null, "value": 0.0001},
        {"at": ["captures", 0, "cuts_s"], "was": null, "value": [[0.02, 0.025]]},
    ]));
    let state = page.until("the marks", |s| {
        s["busy"].is_null() && s["shots"][0]["events"][0][1] == json!(0.0001)
    });
    let more = state["shots"][0]["verdict"].to_string();
    assert!(more.contains("set by hand"), "{more}");
    let picture = page.get("picture?name=t01_start").1;
    let cuts = picture["cuts"].as_array().unwrap();
    assert!(cuts.iter().any(|c| c["reason"] == "by hand"), "{cuts:?}");
    let fitted = Command::new(env!("CARGO_BIN_EXE_rundown"))
        .args(["fit", "bench.toml", "--no-plot"])
        .current_dir(dir.path())
        .output()
        .unwrap();
    let text = String::from_utf8_lossy(&fitted.stdout);
    let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        text.contains("set by hand (events_s in the sheet): switch-on at 100 µs"),
        "{text}"
    );
    assert!(
        text.contains("set by hand (cuts_s in the sheet): 20.0 ms to 25.0 ms"),
        "{text}"
    );
}

#[test]
fn who_does_not_come_by_the_address_printed_is_refused() {
    let dir = sheetless("ticket_printer", &["t01_start.csv.gz"]);
    fs::write(dir.path().join("secret.json"), "{}").unwrap();
    let page = Watched::start(dir.path(), &[]);
    page.until("the start", |s| s["shots"][0].is_object());
    let (port, token) = (page.port(), page.token());
    let host = format!("Host: 127.0.0.1:{port}");
    let ask = |request: &str| status(port, &request.replace('\n', "\r\n"));
    assert_eq!(
        ask(&format!("GET /{token}/state HTTP/1.1\n{host}\n\n")),
        200
    );
    let post = format!("POST /{token}/undo HTTP/1.1\n{host}\nContent-Type: application/json");
    for (request, expected) in [
        (format!("GET / HTTP/1.1\n{host}\n\n"), 403),
        (
            format!("GET /{}/state HTTP/1.1\n{host}\n\n", "0".repeat(32)),
            403,
        ),
        (
            format!("GET /{token}/state HTTP/1.1\nHost: bench.example\n\n"),
            403,
        ),
        (
            format!("GET /{token}/state HTTP/1.1\n{host}\nOrigin: http://bench.example\n\n"),
            403,
        ),
        (
            format!("{post}\nOrigin: http://bench.example\nContent-Length: 2\n\n{{}}"),
            403,
        ),
        (
            format!("POST /{token}/undo HTTP/1.1\n{host}\nContent-Length: 2\n\n{{}}"),
            403,
        ),
        (format!("{post}\nContent-Length: 900000\n\n"), 413),
        (
            format!("GET /{token}/{} HTTP/1.1\n{host}\n\n", "a".repeat(30_000)),
            431,
        ),
        (
            format!("GET /{token}/../secret.json HTTP/1.1\n{host}\n\n"),
            404,
        ),
        (
            format!("GET /{token}/secret.json HTTP/1.1\n{host}\n\n"),
            404,
        ),
        (
            format!("GET /{token}//etc/passwd HTTP/1.1\n{host}\n\n"),
            404,
        ),
        (
            format!("GET /{token}/wiring/../bench.toml HTTP/1.1\n{host}\n\n"),
            404,
        ),
        (
            format!("GET /{token}/picture?name=..%2Fsecret HTTP/1.1\n{host}\n\n"),
            404,
        ),
        (format!("DELETE /{token}/state HTTP/1.1\n{host}\n\n"), 405),
        ("nonsense\n\n".to_owned(), 400),
    ] {
        assert_eq!(ask(&request), expected, "{request:.90}");
    }
    for body in [
        json!({"what": "datasheet", "file": "../claim.toml"}),
        json!({"what": "export", "to": "../x"}),
        json!({"what": "motor-file", "to": "/tmp/x"}),
    ] {
        assert_eq!(page.post("do", &body).0, 400, "{body}");
    }
    let outside =
        json!([{"at": ["captures", 0, "file"], "was": "t01_start.csv.gz", "value": "/etc/passwd"}]);
    assert_eq!(page.post_edit(outside).0, 400);
    page.post(
        "enter",
        &json!({"files": ["../../etc/passwd", "/etc/passwd"]}),
    );
    sleep(Duration::from_millis(400));
    assert_eq!(page.state()["shots"].as_array().unwrap().len(), 1);
    // Of the page itself: nothing from elsewhere, nothing inline.
    let head = page.head("");
    assert!(
        head.contains("Content-Security-Policy: default-src 'none'; script-src 'self'"),
        "{head}"
    );
    assert!(!head.contains("Access-Control"), "{head}");
}

#[test]
fn read_only_shows_everything_and_writes_nothing() {
    let dir = sheetless("ticket_printer", &["t01_start.csv.gz", "t02_coast.csv.gz"]);
    let page = Watched::start(dir.path(), &["--read-only"]);
    page.until("the fit", |s| s["answers"]["answer"].is_object());
    let edit = json!([{"at": ["motor", "poles"], "was": null, "value": 2}]);
    assert_eq!(page.post_edit(edit).0, 400);
    assert_eq!(page.post("do", &json!({"what": "motor-file"})).0, 403);
    let mut names: Vec<String> = fs::read_dir(dir.path())
        .unwrap()
        .map(|e| e.unwrap().file_name().into_string().unwrap())
        .collect();
    names.sort();
    assert_eq!(names, ["t01_start.csv.gz", "t02_coast.csv.gz"]);
}

#[test]
fn a_sheet_that_was_there_is_not_added_to_without_being_asked() {
    let dir = sheetless("ticket_printer", &["t01_start.csv.gz"]);
    let drafted = Command::new(env!("CARGO_BIN_EXE_rundown"))
        .args(["sheet", "."])
        .current_dir(dir.path())
        .output()
        .unwrap();
    assert!(drafted.status.success());
    let before = fs::read_to_string(dir.path().join("bench.toml")).unwrap();
    fs::copy(
        capture_of("ticket_printer", "t02_coast.csv.gz"),
        dir.path().join("t02_coast.csv.gz"),
    )
    .unwrap();
    sleep(Duration::from_millis(400));
    let page = Watched::start(dir.path(), &[]);
    page.until("the fit of the sheet", |s| {
        s["answers"]["answer"].is_object()
    });
    let state = page.state();
    assert_eq!(
        state["shots"][1]["verdict"]["grade"], "outside",
        "{}",
        state["shots"]
    );
    assert_eq!(
        fs::read_to_string(dir.path().join("bench.toml")).unwrap(),
        before
    );
    page.post("enter", &json!({"files": ["t02_coast.csv.gz"]}));
    page.until("the run-down", |s| s["shots"][1]["role"] == "run-down");
    let after = fs::read_to_string(dir.path().join("bench.toml")).unwrap();
    assert!(
        after.contains("role = \"run-down\"") && after.contains("# Guess:"),
        "{after}"
    );
    assert!(Path::new(&dir.path().join("bench.toml")).is_file());
}

#[test]
fn ctrl_c_ends_it_at_once_and_so_does_the_last_page_that_closes() {
    let dir = tempfile::tempdir().unwrap();
    let page = Watched::start(dir.path(), &[]);
    page.until("the empty folder", |s| s["next"].is_object());
    assert_eq!(page.interrupt(), Some(0));
    let page = Watched::start(dir.path(), &["--stop-after", "0.01"]);
    page.until("the empty folder", |s| s["next"].is_object());
    assert_eq!(page.end(), Some(0));
}
