//! Any text as a bench sheet, with two small captures beside it.
#![no_main]

mod target;

use rundown::bench::{LoadOptions, read_sheet_bytes};
use std::path::PathBuf;
use std::sync::LazyLock;
use target::fuzz_target;

static SHEET: LazyLock<PathBuf> = LazyLock::new(|| {
    let folder = tempfile::tempdir().expect("a folder").keep();
    let rows = |start: bool| {
        let mut text = String::from("t (s),CH1 (V),CH2 (A)\n");
        for k in 0..120 {
            let on = f64::from(u8::from((k > 30) == start));
            let decay = (-0.05 * f64::from(k)).exp();
            text.push_str(&format!(
                "{k}e-4,{:.2},{:.3}\n",
                12.0 * on,
                2.0 * on * decay
            ));
        }
        text
    };
    std::fs::write(folder.join("a.csv"), rows(true)).expect("a capture");
    std::fs::write(folder.join("b.csv"), rows(false)).expect("a capture");
    folder.join("bench.toml")
});

fuzz_target!(|bytes| {
    match read_sheet_bytes(&SHEET, bytes, &LoadOptions::default()) {
        Ok(bench) => {
            for capture in &bench.captures {
                assert!(!capture.sha256.is_empty());
            }
            for instrument in &bench.instruments {
                let u = instrument.gain_relative_uncertainty;
                assert!(u.is_finite() && u >= 0.0, "{}: {u}", instrument.name);
            }
        }
        Err(error) => assert!(!error.to_string().is_empty()),
    }
});
