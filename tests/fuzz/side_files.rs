//! Any text as a file beside a sheet: a table of readings, a heat record, a capture with a sensor on the shaft, the second file of a capture, a
//! profile of a drive. The first byte says which.
#![no_main]

mod target;

use rundown::bench::{LoadOptions, read_sheet_bytes};
use rundown::drive::Profile;
use std::path::PathBuf;
use std::sync::LazyLock;
use target::fuzz_target;

const MOTOR: &str = "[motor]\nname = \"m\"\n[channels.CH1]\nmeasures = \"voltage\"\ncolumn = \"CH1\"\n\
     [channels.CH2]\nmeasures = \"current\"\ncolumn = \"CH2\"\n";
const START: &str = "[[captures]]\nrole = \"start\"\nfile = \"start.csv\"\n";

/// What a sheet says of the file `any.csv`.
const USES: [&str; 10] = [
    "[[tables]]\nkind = \"no-load\"\nfile = \"any.csv\"\nvoltage = { limit_percent = 1 }\ncurrent = { limit_percent = 1 }\nspeed = { limit_percent = 1 }\n",
    "[[tables]]\nkind = \"load-line\"\nfile = \"any.csv\"\nvoltage = { limit_percent = 1 }\ncurrent = { limit_percent = 1 }\nspeed = { limit_percent = 1 }\ntorque = { limit_percent = 2 }\n",
    "[[tables]]\nkind = \"held-rotor\"\nfile = \"any.csv\"\nvoltage = { limit_percent = 1 }\ncurrent = { limit_percent = 1 }\nforce = { limit_percent = 2 }\narm = { mm = 50 }\n",
    "[[tables]]\nkind = \"impedance\"\nfile = \"any.csv\"\nfrequency = { limit_percent = 1 }\ninductance = { limit_percent = 1 }\n",
    "[[heat]]\nkind = \"heat-run\"\nfile = \"any.csv\"\nrotor = \"held\"\nambient = { c = 23 }\n",
    "[[heat]]\nkind = \"cool-down\"\nfile = \"any.csv\"\nambient = { c = 23 }\n",
    "[channels.s]\nmeasures = \"speed\"\ncolumn = \"CH3\"\nunit = \"rpm\"\n[[captures]]\nrole = \"run-down\"\nfile = \"any.csv\"\n",
    "[channels.s]\nmeasures = \"position\"\ncolumn = \"CH3\"\ncounts_per_turn = 400\n[[captures]]\nrole = \"run-down\"\nfile = \"any.csv\"\n",
    "[channels.s]\nmeasures = \"pulses\"\ncolumn = \"CH3\"\npulses_per_turn = 2\n[[captures]]\nrole = \"run-down\"\nfile = \"any.csv\"\n",
    "[[captures]]\nrole = \"start\"\nname = \"two\"\nfile = [\"CH1.csv\", \"any.csv\"]\n",
];

static FOLDER: LazyLock<PathBuf> = LazyLock::new(|| {
    let folder = tempfile::tempdir().expect("a folder").keep();
    let (mut both, mut one) = (
        "t (s),CH1 (V),CH2 (A)\n".to_owned(),
        "t (s),CH1 (V)\n".to_owned(),
    );
    for k in 0..120 {
        let on = f64::from(u8::from(k > 30));
        let amperes = 2.0 * on * (-0.05 * f64::from(k)).exp();
        both.push_str(&format!("{k}e-4,{:.2},{amperes:.3}\n", 12.0 * on));
        one.push_str(&format!("{k}e-4,{:.2}\n", 12.0 * on));
    }
    std::fs::write(folder.join("start.csv"), both).expect("a capture");
    std::fs::write(folder.join("CH1.csv"), one).expect("a capture");
    folder
});

fuzz_target!(|bytes| {
    let Some((which, rest)) = bytes.split_first() else {
        return;
    };
    let file = FOLDER.join("any.csv");
    std::fs::write(&file, rest).expect("written");
    let Some(text) = USES.get(usize::from(which % 11)) else {
        match Profile::read(&file) {
            Ok(profile) => assert!(profile.length_s() > 0.0),
            Err(error) => assert!(!error.to_string().is_empty()),
        }
        return;
    };
    let sheet = format!("{MOTOR}{text}{START}");
    match read_sheet_bytes(
        &FOLDER.join("bench.toml"),
        sheet.as_bytes(),
        &LoadOptions::default(),
    ) {
        Ok(bench) => {
            let tables = bench.tables.len() + bench.heat.len();
            assert!(tables == usize::from(which % 11 < 6), "{tables}");
        }
        Err(error) => assert!(!error.to_string().is_empty()),
    }
});
