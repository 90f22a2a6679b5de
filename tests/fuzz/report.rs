//! Any text as a name, a path or a warning on the report page: no mark of HTML may come from it.
#![no_main]

mod target;

use rundown::bench::{LoadOptions, read_sheet};
use rundown::report::page::inside_script;
use rundown::report::{Report, gather, render};
use rundown::{events, fit, motor_file};
use std::path::Path;
use std::sync::LazyLock;
use target::fuzz_target;

static REPORT: LazyLock<Report> = LazyLock::new(|| {
    let sheet =
        Path::new(env!("CARGO_MANIFEST_DIR")).join("../../fixtures/telescope_focuser/bench.toml");
    let bench = read_sheet(&sheet, &LoadOptions::default()).expect("the fixture");
    let timelines: Vec<_> = bench
        .captures
        .iter()
        .map(|c| events::find(&c.waveform, c.role))
        .collect();
    let estimate = fit::estimate(&bench, &timelines, &fit::FitOptions::default()).expect("a fit");
    let file = motor_file::assemble(&bench, &timelines, &estimate);
    let mut report = gather(&bench, &timelines, &estimate, &file);
    // The curves are numbers and cost time only.
    report.captures.truncate(1);
    report.ripple.clear();
    report
});

fn with(text: &str) -> String {
    let mut report = REPORT.clone();
    report.motor = text.to_owned();
    report.facts = vec![text.to_owned()];
    report.program = text.to_owned();
    for capture in &mut report.captures {
        capture.name = text.to_owned();
    }
    render(&report).expect("a page")
}

/// How often each mark that means something in HTML stands on the page without any foreign text.
static MARKS: LazyLock<[usize; 2]> = LazyLock::new(|| marks(&with("x")));

fn marks(page: &str) -> [usize; 2] {
    ['<', '>'].map(|mark| page.matches(mark).count())
}

fuzz_target!(prepare { LazyLock::force(&MARKS); }, |bytes| {
    let Ok(text) = std::str::from_utf8(bytes) else {
        return;
    };
    let inside = inside_script(&serde_json::to_string(text).expect("text is JSON"));
    assert!(!inside.contains(['<', '>', '&', '\u{2028}', '\u{2029}']));
    let back: String = serde_json::from_str(&inside).expect("still JSON");
    assert_eq!(back, text);
    assert_eq!(marks(&with(text)), *MARKS);
});
