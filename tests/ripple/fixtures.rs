//! The run-downs of two benches in `fixtures/`, against what the analysis found before it was made fast (every fit in full,
//! every hypothesis for itself). Tolerances: frequency to 1e-3 of its noise uncertainty, probabilities to 0.01.

use rundown::{
    bench::{LoadOptions, Role, read_sheet},
    events::{find, open_stretch},
    ripple::{Counted, LineKind, RippleOptions, RippleResult, analyse_run_down},
};
use std::path::Path;

/// Result of the one run-down of a bench.
fn analyse(bench: &str) -> RippleResult {
    let sheet = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("fixtures")
        .join(bench)
        .join("bench.toml");
    let bench = read_sheet(&sheet, &LoadOptions::default()).expect("a bench sheet");
    let capture = bench
        .captures
        .iter()
        .find(|c| c.role == Role::RunDown)
        .expect("a run-down");
    let timeline = find(&capture.waveform, capture.role);
    let stretch = open_stretch(&capture.waveform, &timeline).expect("an open stretch");
    let zero = capture.voltage_chain.as_ref().map(|c| c.zero_uncertainty);
    let options = RippleOptions::for_stretch(&stretch, Counted::of(&bench.motor), zero);
    analyse_run_down(&stretch.time_s, &stretch.voltage_v, &options).expect("a run-down")
}

/// What was found: frequency and its noise uncertainty (cycles per V·s), harmonic, (segments, probability) in order, hum in Hz and V.
struct Earlier {
    bench: &'static str,
    frequency: (f64, f64),
    harmonic: u32,
    candidates: &'static [(u32, f64)],
    hum: (f64, f64),
}

fn holds(earlier: &Earlier) {
    let found = analyse(earlier.bench);
    let line = found.line.as_ref().expect("a line");
    let (frequency, sd) = earlier.frequency;
    let moved = (line.cycles_per_volt_second - frequency) / sd;
    assert!(moved.abs() < 1e-3, "{}: {moved} of its sd", earlier.bench);
    assert!((line.noise_uncertainty / sd - 1.0).abs() < 0.01);
    assert_eq!(line.harmonic_of_revolution, earlier.harmonic);
    assert!(line.false_alarm_probability < 1e-12);
    for (candidate, (segments, probability)) in found.candidates.iter().zip(earlier.candidates) {
        assert_eq!(candidate.commutator.segments, *segments);
        assert!((candidate.probability - probability).abs() < 0.01);
    }
    assert_eq!(found.foreign_lines.len(), 1, "{:?}", found.foreign_lines);
    let hum = &found.foreign_lines[0];
    assert_eq!(hum.kind, LineKind::Time);
    let (hertz, volts) = earlier.hum;
    assert!((hum.frequency - hertz).abs() < 0.01 && (hum.amplitude / volts - 1.0).abs() < 0.01);
}

#[test]
fn regress_ticket_printer() {
    holds(&Earlier {
        bench: "ticket_printer",
        frequency: (52.904_121_309, 0.014_859_421_6),
        harmonic: 14,
        candidates: &[(7, 0.997_770), (14, 0.002_213)],
        hum: (49.604_872, 0.018_497_29),
    });
}

#[test]
fn regress_camera_slider() {
    holds(&Earlier {
        bench: "camera_slider",
        frequency: (172.977_341_294, 0.003_846_111_7),
        harmonic: 18,
        candidates: &[(9, 0.713_612), (18, 0.285_445)],
        hum: (50.001_117, 0.007_942_290),
    });
}
