//! A bench without its samples.

use crate::bench::{Bench, Capture, Waveform};
use crate::capture::TimeAxis;

fn nothing_recorded() -> Waveform {
    Waveform {
        time: TimeAxis::Absent { len: 0 },
        voltage_v: None,
        current_a: None,
    }
}

/// Names, roles and instruments of a bench; a design needs no samples.
pub fn without_waveforms(bench: &Bench) -> Bench {
    Bench {
        path: None,
        sha256: None,
        motor: bench.motor.clone(),
        instruments: bench.instruments.clone(),
        certificates: Vec::new(),
        captures: bench
            .captures
            .iter()
            .map(|c| Capture {
                name: c.name.clone(),
                path: c.path.clone(),
                sha256: String::new(),
                further_files: c.further_files.clone(),
                role: c.role,
                waveform: nothing_recorded(),
                voltage_chain: c.voltage_chain.clone(),
                current_chain: c.current_chain.clone(),
                series_in_voltage: c.series_in_voltage,
                series_diode_sd_v: c.series_diode_sd_v,
                loop_resistance_ohm: c.loop_resistance_ohm,
                source_v: c.source_v,
                coasting: c.coasting,
                winding_temperature_c: c.winding_temperature_c,
                added_inertia_kg_m2: c.added_inertia_kg_m2,
                load_torque_nm: c.load_torque_nm,
                driven_speed_rad_s: c.driven_speed_rad_s,
                speed: None,
                ac_coupled: c.ac_coupled,
                by_hand: c.by_hand.clone(),
            })
            .collect(),
        readings: bench.readings.clone(),
        heat: Vec::new(),
        tables: bench.tables.clone(),
        warnings: Vec::new(),
        notes: Vec::new(),
        capture_warnings: Vec::new(),
    }
}
