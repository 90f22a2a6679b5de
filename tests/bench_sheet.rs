//! Bench sheets: the five public motors load, the texts of the errors, the numbers that come out.
use std::path::Path;
use rundown::bench::*;
fn fixture(m: &str) -> Bench {
    let p = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures").join(m).join("bench.toml");
    read_sheet(&p, &LoadOptions::default()).unwrap_or_else(|e| panic!("{e}"))
}
#[test]
fn all() {
    for m in ["camera_slider","dosing_pump","floor_scrubber","telescope_focuser","ticket_printer"] {
        let b = fixture(m);
        println!("== {m}");
        for c in &b.captures { println!("{} {:?} rows {} v {:?} i {:?} {:?} clip {}", c.name, c.role, c.waveform.time.len(), c.voltage_chain, c.current_chain, c.series_in_voltage, c.waveform.voltage_v.as_ref().map_or(0,|t|t.clipped.iter().filter(|x|**x).count())); }
        for r in &b.remarks { println!("  - {r}"); }
        println!("{:?}", b.readings); println!("{:?}", b.instruments);
    }
}
