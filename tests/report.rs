//! `rundown fit … --report`, run as a person runs it, on a bench whose names try to break out of the page.

use sha2::{Digest, Sha256};
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::LazyLock;

const HOSTILE: &str = r#"<script>alert("x")</script><img src=x onerror='y'>&amp;"#;
const CAPTURE: &str = "run</script>down <b>";

struct Made {
    _folder: tempfile::TempDir,
    page: String,
    data: serde_json::Value,
    printed: String,
}

fn ticket_printer() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/ticket_printer")
}

/// One fit for all tests of this file.
static MADE: LazyLock<Made> = LazyLock::new(|| {
    let folder = tempfile::tempdir().unwrap();
    for entry in std::fs::read_dir(ticket_printer()).unwrap() {
        let path = entry.unwrap().path();
        if path.extension().is_some_and(|e| e == "gz") {
            std::fs::copy(&path, folder.path().join(path.file_name().unwrap())).unwrap();
        }
    }
    let sheet = std::fs::read_to_string(ticket_printer().join("bench.toml")).unwrap();
    let quoted = |text: &str| serde_json::to_string(text).unwrap();
    let hostile = sheet
        .replace("\"Ticket printer feed motor\"", &quoted(HOSTILE))
        .replace("name = \"coast\"", &format!("name = {}", quoted(CAPTURE)))
        .replace(
            "capture = \"coast\"",
            &format!("capture = {}", quoted(CAPTURE)),
        );
    assert!(hostile.contains("alert") && hostile.matches("down <b>").count() == 2);
    std::fs::write(folder.path().join("bench.toml"), hostile).unwrap();
    let output = Command::new(env!("CARGO_BIN_EXE_rundown"))
        .current_dir(folder.path())
        .args([
            "fit",
            "bench.toml",
            "--report",
            "page.html",
            "--report-data",
            "page.json",
        ])
        .output()
        .unwrap();
    assert!(output.status.success(), "{output:?}");
    let read = |name: &str| std::fs::read_to_string(folder.path().join(name)).unwrap();
    let (page, data) = (read("page.html"), read("page.json"));
    Made {
        page,
        data: serde_json::from_str(&data).unwrap(),
        printed: String::from_utf8(output.stdout).unwrap(),
        _folder: folder,
    }
});

/// Contents of the elements of one name, as a parser of HTML sees raw text: up to the first end tag.
fn raw_texts<'a>(page: &'a str, name: &str) -> Vec<(&'a str, &'a str)> {
    let (open, close) = (format!("<{name}"), format!("</{name}"));
    let mut out = Vec::new();
    let mut rest = page;
    while let Some(at) = rest.find(&open) {
        let after = &rest[at + open.len()..];
        let begin = after.find('>').unwrap();
        let end = begin + after[begin..].find(&close).unwrap();
        out.push((&after[..begin], &after[begin + 1..end]));
        rest = &after[end + close.len()..];
    }
    out
}

fn sha256_base64(text: &str) -> String {
    // The alphabet of RFC 4648, bit by bit.
    let bits: Vec<u8> = Sha256::digest(text.as_bytes())
        .iter()
        .flat_map(|byte| (0..8).rev().map(move |k| byte >> k & 1))
        .collect();
    let alphabet: Vec<char> = ('A'..='Z')
        .chain('a'..='z')
        .chain('0'..='9')
        .chain(['+', '/'])
        .collect();
    let mut out: String = bits
        .chunks(6)
        .map(|six| {
            let value = (0..6).fold(0, |v, k| v << 1 | six.get(k).copied().unwrap_or(0) as usize);
            alphabet[value]
        })
        .collect();
    out.push('=');
    out
}

#[test]
fn names_from_files_show_as_text_and_open_no_element() {
    let page = &MADE.page;
    // The data, the library, the page's own script: three elements and no fourth.
    let scripts = raw_texts(page, "script");
    assert_eq!(scripts.len(), 3);
    assert!(
        page.contains("&lt;script&gt;alert(&quot;x&quot;)"),
        "the motor's name as text"
    );
    assert!(!page.contains("<img"));
    let markup = page.replace(scripts[0].1, "");
    assert!(!markup.contains("<b>") && !markup.contains("alert(\"x\")"));
    let pictures: serde_json::Value = serde_json::from_str(scripts[0].1).unwrap();
    let names: Vec<&str> = pictures["captures"]
        .as_array()
        .unwrap()
        .iter()
        .map(|c| c["name"].as_str().unwrap())
        .collect();
    assert!(names.contains(&CAPTURE), "{names:?}");
    assert!(!scripts[0].1.contains(['<', '>', '&', '\u{2028}']));
}

#[test]
fn the_policy_allows_the_pages_own_code_by_its_hash_and_nothing_else() {
    let page = &MADE.page;
    let from = page.find("Content-Security-Policy\" content=\"").unwrap() + 34;
    let policy = &page[from..from + page[from..].find('"').unwrap()];
    let scripts = raw_texts(page, "script");
    let style = raw_texts(page, "style");
    assert_eq!(style.len(), 1);
    let expected = format!(
        "default-src 'none'; script-src 'sha256-{}' 'sha256-{}'; style-src 'sha256-{}'; base-uri 'none'; form-action 'none'",
        sha256_base64(scripts[1].1),
        sha256_base64(scripts[2].1),
        sha256_base64(style[0].1)
    );
    assert_eq!(policy, expected);
    // Neither attributes that the policy would block, nor anything that asks for another file.
    let markup = scripts
        .iter()
        .chain(&style)
        .fold(page.clone(), |text, s| text.replace(s.1, ""));
    // The motor's own name says ` src=`, as text.
    let markup = markup.replace("&lt;img src=x onerror", "");
    for forbidden in [
        " style=", " onclick", " onload", " src=", "<link", "<iframe", "url(",
    ] {
        assert!(!markup.contains(forbidden), "{forbidden}");
    }
}

#[test]
fn the_page_is_whole_and_below_two_megabytes() {
    let page = &MADE.page;
    assert!(page.len() < 2_000_000, "{} bytes", page.len());
    assert!(page.starts_with("<!doctype html>") && page.trim_end().ends_with("</html>"));
    for part in [
        "answer",
        "captures",
        "ripple",
        "correlation",
        "budget",
        "operating",
        "next",
        "cautions",
        "provenance",
    ] {
        assert!(page.contains(&format!("<section id=\"{part}\"")), "{part}");
    }
    assert!(
        page.contains("Permission is hereby granted, free of charge"),
        "the library's licence goes with it"
    );
    assert!(
        MADE.printed
            .contains("written: page.html\nwritten: page.json"),
        "{}",
        MADE.printed
    );
}

#[test]
fn the_data_hold_every_picture_with_arrays_of_one_length() {
    let data = &MADE.data;
    assert_eq!(data["format"], "rundown-report-data/1");
    assert_eq!(data["motor"], HOSTILE);
    let captures = data["captures"].as_array().unwrap();
    assert_eq!(captures.len(), 5);
    for capture in captures {
        let length = capture["trace"]["time_s"].as_array().unwrap().len();
        assert!(length > 300, "{length}");
        for channel in ["voltage_v", "current_a"] {
            for which in ["mean", "least", "most"] {
                assert_eq!(
                    capture["trace"][channel][which].as_array().unwrap().len(),
                    length
                );
            }
        }
        for model in ["voltage_model", "current_model"] {
            if let Some(times) = capture[model]["time_s"].as_array() {
                for column in ["value", "lower", "upper", "residual"] {
                    assert_eq!(
                        capture[model][column].as_array().unwrap().len(),
                        times.len()
                    );
                }
            }
        }
    }
    let start = captures.iter().find(|c| c["role"] == "start").unwrap();
    assert!(start["inset"]["trace"]["time_s"].as_array().unwrap().len() > 100);
    assert!(start["current_model"]["value"].as_array().unwrap().len() > 100);
    assert!(!data["ripple"].as_array().unwrap().is_empty());
}

#[test]
fn val_the_speed_from_the_ripple_of_the_current_is_the_one_of_the_tachometer() {
    // The bench notes of this motor: 5160 rpm by optical tachometer while running freely.
    let motion = MADE.data["motion"].as_array().unwrap();
    let steady = motion
        .iter()
        .find(|m| m["capture"] == CAPTURE && m["role"] == "steady running")
        .unwrap();
    let column = |key: &str| -> Vec<f64> {
        steady[key]
            .as_array()
            .unwrap()
            .iter()
            .filter_map(serde_json::Value::as_f64)
            .collect()
    };
    let (speed, lower, upper) = (
        column("speed_rad_s"),
        column("speed_lower_rad_s"),
        column("speed_upper_rad_s"),
    );
    assert!(speed.len() > 50 && speed.len() == lower.len() && speed.len() == upper.len());
    let truth = 5160.0 * std::f64::consts::TAU / 60.0;
    let middle = speed.len() / 2;
    assert!(
        (speed[middle] / truth - 1.0).abs() < 2e-3,
        "{} {truth}",
        speed[middle]
    );
    assert!(upper[middle] - lower[middle] < 0.01 * truth);
    assert_eq!(column("model_rad_s").len(), speed.len());
}

#[test]
fn findings_of_the_ripple_are_no_doubts() {
    let findings = MADE.data["findings"].as_array().unwrap();
    assert!(!findings.is_empty());
    let doubts = MADE.data["warnings"].to_string();
    for finding in findings {
        assert!(!doubts.contains(finding.as_str().unwrap()), "{finding}");
    }
}

#[test]
fn weighted_residuals_scatter_as_their_bounds_say() {
    // A standard normal stays within 3 in 99.7 % of cases; the weights are widened for correlation, never narrowed.
    for capture in MADE.data["captures"].as_array().unwrap() {
        for model in ["voltage_model", "current_model"] {
            let Some(residuals) = capture[model]["residual"].as_array() else {
                continue;
            };
            let values: Vec<f64> = residuals
                .iter()
                .filter_map(serde_json::Value::as_f64)
                .collect();
            let inside = values.iter().filter(|r| r.abs() < 3.0).count();
            assert!(
                inside * 100 >= 95 * values.len(),
                "{}: {inside} of {}",
                capture["name"],
                values.len()
            );
        }
    }
}

#[test]
fn a_file_that_is_no_report_is_not_replaced() {
    let folder = tempfile::tempdir().unwrap();
    let notes = folder.path().join("notes.html");
    std::fs::write(&notes, "<p>my notes").unwrap();
    let run = |extra: &[&str]| {
        let output = Command::new(env!("CARGO_BIN_EXE_rundown"))
            .current_dir(folder.path())
            .arg("fit")
            .arg(folder.path().join("absent.toml"))
            .args(["--report", "notes.html"])
            .args(extra)
            .output()
            .unwrap();
        assert!(!output.status.success(), "{output:?}");
        output.stderr
    };
    let told = String::from_utf8(run(&[])).unwrap();
    assert!(
        told.contains("no report page of this program") && told.contains("--force"),
        "{told}"
    );
    // With the permission the run goes on to its next obstacle, the missing sheet.
    let told = String::from_utf8(run(&["--force"])).unwrap();
    assert!(told.contains("absent.toml"), "{told}");
    assert_eq!(std::fs::read_to_string(&notes).unwrap(), "<p>my notes");
}
