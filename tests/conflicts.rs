//! One wrong statement in a sound bench: whatever contradicts it is named, and the command does not end with exit status 0.
//!
//! The statements are changed in copies of the shipped sheets; the truth of what is asserted is that the unchanged sheet is sound.

use serde_json::Value;
use std::path::{Path, PathBuf};
use std::process::Command;
use testbench::{draw, presets, temporary_folder};

/// A copy of a shipped motor whose sheet has some texts replaced.
struct Copied {
    folder: tempfile::TempDir,
}

/// What `fit --json` gave.
struct Ran {
    status: Option<i32>,
    file: Value,
}

/// Words of an output, its lines joined.
fn joined(bytes: &[u8]) -> String {
    let text = String::from_utf8_lossy(bytes);
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

impl Copied {
    fn of(motor: &str, replaced: &[(&str, &str)]) -> Copied {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let from = Path::new(env!("CARGO_MANIFEST_DIR"))
            .join("fixtures")
            .join(motor);
        for file in std::fs::read_dir(&from).expect("the motor's folder") {
            let path = file.expect("a file").path();
            if path.is_file() {
                let name = path.file_name().expect("a name");
                std::fs::copy(&path, folder.path().join(name)).expect("copied");
            }
        }
        let copied = Copied { folder };
        let mut sheet = std::fs::read_to_string(copied.sheet()).expect("a sheet");
        for (old, new) in replaced {
            assert!(sheet.contains(old), "{motor}: no {old:?} in its sheet");
            sheet = sheet.replace(old, new);
        }
        std::fs::write(copied.sheet(), sheet).expect("written");
        copied
    }

    fn sheet(&self) -> PathBuf {
        self.folder.path().join("bench.toml")
    }

    fn run(&self, arguments: &[&str]) -> std::process::Output {
        Command::new(env!("CARGO_BIN_EXE_rundown"))
            .args(arguments)
            .current_dir(self.folder.path())
            .output()
            .expect("the program starts")
    }

    fn fit(&self, flags: &[&str]) -> Ran {
        let ran = self.run(&[&["fit", "bench.toml", "--json"], flags].concat());
        Ran {
            status: ran.status.code(),
            file: serde_json::from_slice(&ran.stdout).unwrap_or_else(|_| {
                panic!("no motor file: {}", String::from_utf8_lossy(&ran.stderr))
            }),
        }
    }
}

impl Ran {
    fn items(&self) -> &Vec<Value> {
        self.file["confrontations"].as_array().expect("a list")
    }

    fn in_conflict(&self) -> Vec<&str> {
        let conflicts = self
            .items()
            .iter()
            .filter(|c| c["agreement"] == "in_conflict");
        conflicts.filter_map(|c| c["item"].as_str()).collect()
    }

    fn number(&self, parameter: &str, key: &str) -> f64 {
        self.file["parameters"][parameter][key]
            .as_f64()
            .unwrap_or_else(|| panic!("no {key} of {parameter}"))
    }
}

#[test]
fn every_item_of_a_sound_bench_agrees_and_the_status_is_0() {
    for motor in ["ticket_printer", "telescope_focuser", "dosing_pump"] {
        let ran = Copied::of(motor, &[]).fit(&[]);
        assert_eq!(ran.status, Some(0), "{motor}: {:?}", ran.in_conflict());
        assert!(ran.items().len() > 5, "{motor}: {:?}", ran.items());
        for item in ran.items() {
            assert_ne!(item["agreement"], "in_conflict", "{motor}: {item}");
        }
    }
}

#[test]
fn a_tachometer_off_by_a_factor_contradicts_the_ripple_and_k_holds_both() {
    let sound = Copied::of("ticket_printer", &[]).fit(&[]);
    let k = sound.number("back_emf_constant", "value");
    for (rpm, factor) in [("10320", 2.0), ("5676", 1.1), ("4902", 0.95)] {
        let changed = [("rpm = 5160", format!("rpm = {rpm}"))];
        let changed = changed.each_ref().map(|(a, b)| (*a, b.as_str()));
        let ran = Copied::of("ticket_printer", &changed).fit(&[]);
        assert_eq!(ran.status, Some(1), "× {factor}");
        let parameter = &ran.file["parameters"]["back_emf_constant"];
        assert_eq!(
            parameter["status"], "in_conflict",
            "× {factor}: {parameter}"
        );
        let (lower, upper) = (
            ran.number("back_emf_constant", "lower"),
            ran.number("back_emf_constant", "upper"),
        );
        for side in [k, k / factor] {
            assert!(
                lower <= side && side <= upper,
                "× {factor}: {lower} {side} {upper}"
            );
        }
        // --partial accepts what is missing, never a conflict.
        assert_eq!(
            Copied::of("ticket_printer", &changed)
                .fit(&["--partial"])
                .status,
            Some(1)
        );
    }
}

#[test]
fn an_ohmmeter_that_reads_less_than_the_captures_show_is_a_conflict() {
    let changed = [("range_ohm = [4.35, 4.95]", "range_ohm = [1.4, 1.6]")];
    let ran = Copied::of("ticket_printer", &changed).fit(&[]);
    assert_eq!(ran.status, Some(1));
    assert!(ran.in_conflict().contains(&"ohmmeter"), "{:?}", ran.items());
}

/// Texts of the lines in conflict.
fn texts(ran: &Ran) -> String {
    let lines = ran
        .items()
        .iter()
        .filter(|c| c["agreement"] == "in_conflict");
    lines.map(|c| c["text"].as_str().unwrap_or("")).collect()
}

#[test]
fn a_capture_of_a_warmer_winding_than_noted_is_a_conflict() {
    for (motor, noted) in [
        ("camera_slider", "role = \"start\""),
        ("floor_scrubber", "role = \"start\""),
    ] {
        let cold = format!("{noted}\nwinding_temperature = {{ c = -15, limit_k = 2 }}");
        let ran = Copied::of(motor, &[(noted, cold.as_str())]).fit(&[]);
        assert_eq!(ran.status, Some(1), "{motor}: {:?}", ran.items());
        assert!(
            texts(&ran).contains("warmer than noted") || texts(&ran).contains("another resistance"),
            "{motor}: {:?}",
            ran.items()
        );
        // R belongs to the temperature of the other captures.
        let temperature_c = ran.number("terminal_resistance", "temperature_c");
        assert!(temperature_c > 15.0, "{motor}: {temperature_c} °C");
    }
}

#[test]
fn a_current_scale_that_one_capture_has_for_itself_is_a_conflict() {
    let start = "role = \"start\"";
    let scaled = format!("{start}\ncurrent = {{ scale = 1.15 }}");
    let ran = Copied::of("dosing_pump", &[(start, scaled.as_str())]).fit(&[]);
    assert_eq!(ran.status, Some(1), "{:?}", ran.items());
    let text = texts(&ran);
    assert!(
        text.contains("agrees with the other captures only"),
        "{text}"
    );
    let (r, sound) = (
        &ran.file["parameters"]["terminal_resistance"],
        Copied::of("dosing_pump", &[]).fit(&[]),
    );
    let truth = sound.number("terminal_resistance", "value");
    let holds = r["lower"].as_f64() < Some(truth) && r["upper"].as_f64() > Some(truth);
    assert!(holds || r["status"] == "in_conflict", "{r}");
}

#[test]
fn a_brush_drop_that_rises_like_a_resistance_is_a_conflict() {
    // At 1.5 V a contact drop could hide whatever an ohmmeter reads too little.
    let drawn = draw(&presets::aquarium_feeder(), 7001).expect("drawn");
    let folder = temporary_folder(&drawn).expect("a folder");
    let copied = Copied { folder };
    let sheet = std::fs::read_to_string(copied.sheet()).expect("a sheet");
    assert_eq!(copied.fit(&[]).status, Some(0));
    let scaled: Vec<String> = sheet
        .lines()
        .map(|line| scaled_readings(line, 0.6))
        .collect();
    std::fs::write(copied.sheet(), scaled.join("\n")).expect("written");
    let ran = copied.fit(&[]);
    assert_eq!(ran.status, Some(1), "{:?}", ran.items());
    assert!(
        ran.in_conflict().contains(&"contact of the brushes"),
        "{:?}",
        ran.items()
    );
}

/// A line of a sheet with the resistances that an ohmmeter read times a factor.
fn scaled_readings(line: &str, factor: f64) -> String {
    let Some(list) = line.strip_prefix("readings_ohm = [") else {
        return line.to_owned();
    };
    let numbers = list.trim_end_matches(']').split(',');
    let scaled = numbers.map(|n| (n.trim().parse::<f64>().expect("a number") * factor).to_string());
    format!("readings_ohm = [{}]", scaled.collect::<Vec<_>>().join(", "))
}

#[test]
fn a_large_shunt_is_a_warning_until_an_ohmmeter_confirms_it() {
    let warned = |copied: &Copied| {
        let file = copied.fit(&["--partial"]).file;
        let warnings = file["warnings"].as_array().expect("a list").clone();
        warnings.iter().any(|w| w["kind"] == "large-shunt")
    };
    // 1 Ω beside 10.3 Ω.
    let confirmed = Copied::of("telescope_focuser", &[]);
    assert!(!warned(&confirmed));
    let alone = Copied::of("telescope_focuser", &[]);
    let sheet = std::fs::read_to_string(alone.sheet()).expect("a sheet");
    let (head, from) = sheet
        .split_once("[[readings]]\nkind = \"ohmmeter\"")
        .expect("an ohmmeter");
    let (_, rest) = from.split_once("[[readings]]").expect("a reading behind");
    std::fs::write(alone.sheet(), format!("{head}[[readings]]{rest}")).expect("written");
    assert!(warned(&alone));
}

#[test]
fn a_supply_that_no_capture_shows_is_a_conflict() {
    for supply in ["48.0", "12.0"] {
        let stated = format!("voltage = {{ v = {supply}, limit_percent = 1 }}");
        let changed = [("voltage = { v = 24.0, limit_percent = 1 }", stated.as_str())];
        let ran = Copied::of("ticket_printer", &changed).fit(&[]);
        assert_eq!(ran.status, Some(1), "{supply} V");
        assert!(
            ran.in_conflict().contains(&"supply voltage"),
            "{supply} V: {:?}",
            ran.items()
        );
    }
}

#[test]
fn a_segment_count_that_the_ripple_contradicts_is_a_conflict() {
    let changed = [("commutator_segments = 7", "commutator_segments = 8")];
    let ran = Copied::of("ticket_printer", &changed).fit(&[]);
    assert_eq!(ran.status, Some(1));
    assert!(
        ran.in_conflict().contains(&"commutator segments"),
        "{:?}",
        ran.items()
    );
}

#[test]
fn one_tachometer_reading_entered_twelve_times_leaves_k_as_wide() {
    let reading = "[[readings]]\nkind = \"tachometer\"\nwith = \"tacho\"\nspeed = { rpm = 5160, limit_percent = 2 }\ncapture = \"coast\"\n";
    let uncertainty = |times: usize| {
        let changed = [
            (
                "[[readings]]\nkind = \"tachometer\"\nwith = \"tacho\"",
                "[[readings]]\nkind = \"tachometer\"\nwith = \"tacho\"",
            ),
            (
                "speed = { rpm = 5160 }",
                "speed = { rpm = 5160, limit_percent = 2 }",
            ),
            // Without a ripple the tachometer alone gives K.
            ("commutator_segments = 7\n", ""),
        ];
        let copied = Copied::of("ticket_printer", &changed);
        let mut sheet = std::fs::read_to_string(copied.sheet()).unwrap();
        let run_down =
            "[[captures]]\nname = \"coast\"\nfile = \"t02_coast.csv.gz\"\nrole = \"run-down\"\n";
        assert!(sheet.contains(run_down));
        sheet = sheet
            .replace(run_down, "")
            .replace("capture = \"coast\"", "capture = \"brake\"");
        sheet += "\n";
        for _ in 1..times {
            sheet += &reading.replace("coast", "brake");
        }
        std::fs::write(copied.sheet(), sheet).unwrap();
        copied
            .fit(&["--partial"])
            .number("back_emf_constant", "standard_uncertainty")
    };
    let (once, often) = (uncertainty(1), uncertainty(12));
    assert!(often > 0.8 * once && often < 1.05 * once, "{once} {often}");
}

#[test]
fn what_is_undetermined_makes_status_1_and_partial_accepts_it() {
    let copied = Copied::of("ticket_printer", &[("commutator_segments = 7\n", "")]);
    let flags = ["fit", "--start", "t01_start.csv.gz", "--supply", "24V"];
    let ran = copied.run(&flags);
    assert_eq!(ran.status.code(), Some(1));
    let text = joined(&ran.stdout);
    assert!(text.contains("result: incomplete"), "{text}");
    let partial = copied.run(&[&flags[..], &["--partial"]].concat());
    assert_eq!(partial.status.code(), Some(0));
}

#[test]
fn every_use_of_a_motor_file_in_conflict_says_so() {
    let copied = Copied::of("ticket_printer", &[("rpm = 5160", "rpm = 5676")]);
    let ran = copied.run(&["fit", "bench.toml", "-o", "m.json"]);
    assert_eq!(ran.status.code(), Some(1));
    let text = String::from_utf8_lossy(&ran.stdout).into_owned();
    assert!(text.contains("result: in conflict"), "{text}");
    assert!(text.contains("from the rest"), "{text}");
    assert!(!text.contains("result: OK"), "{text}");
    for line in text
        .lines()
        .skip_while(|l| !l.starts_with("evidence"))
        .take_while(|l| !l.is_empty())
    {
        assert!(line.chars().count() <= 80, "{line:?}");
    }
    for arguments in [
        &["drive", "m.json", "--supply", "24V"][..],
        &["export", "m.json", "--to", "spice"],
    ] {
        let ran = copied.run(arguments);
        let told = joined(&ran.stderr);
        assert!(told.contains("in conflict"), "{arguments:?}: {told}");
        assert_eq!(ran.status.code(), Some(1), "{arguments:?}");
    }
}
