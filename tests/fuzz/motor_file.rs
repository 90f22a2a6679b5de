//! Any text as a motor file; what is read is written again exactly, and every text format stands or says why not.
#![no_main]

mod target;

use rundown::export::{End, Instance, c_header, modelica, script, spice, state_space};
use rundown::motor_file::{self, ParameterName, from_text, to_text};
use std::path::Path;
use target::fuzz_target;

fuzz_target!(|bytes| {
    let Ok(text) = std::str::from_utf8(bytes) else {
        return;
    };
    let path = Path::new("m.json");
    let file = match from_text(path, text) {
        Ok(file) => file,
        Err(error) => {
            assert!(!error.to_string().is_empty());
            return;
        }
    };
    let again = to_text(path, &file).expect("what was read can be written");
    let back = from_text(path, &again).expect("what was written can be read");
    assert_eq!(file, back);
    motor_file::table::render(&file);
    motor_file::table::screen(&file);
    motor_file::table::evidence(&file);
    motor_file::table::diagnostics(&file, true);
    for motor in [
        Instance::estimate(&file, "a test"),
        Instance::corner(
            &file,
            "a test",
            ParameterName::TerminalResistance,
            End::High,
        ),
    ]
    .into_iter()
    .flatten()
    {
        let texts = [
            Ok(spice::subcircuit(&motor)),
            spice::half_bridge(&motor, None),
            modelica::record(&motor, Some(12.0)),
            c_header::header(&motor),
            script::python(&motor, Some(12.0)),
            script::octave(&motor, Some(12.0)),
        ];
        for text in texts.into_iter().flatten() {
            assert!(text.is_ascii());
        }
        state_space::document(&motor, Some(1e-4));
    }
});
