//! The bench sheet that a careful person would write for a simulated bench.

use crate::bench::{Capture, DrawnBench, Reading};
use crate::rig::CurrentSensor;
use crate::scenario::{Brushes, Magnets};
use crate::scope::{ErrorLaw, Instruments};
use crate::stated::Stated;
use crate::truth::CaptureTruth;
use std::fmt::Write as _;

/// The sheet in TOML; `files` are the names of the captures' files, in the order of the bench.
pub(crate) fn text(drawn: &DrawnBench, files: &[String]) -> String {
    let mut text = String::new();
    motor(&mut text, drawn);
    instruments(&mut text, drawn);
    for (capture, file) in drawn.captures.iter().zip(files) {
        let truth = drawn.truth_of(&capture.name);
        one_capture(&mut text, capture, file, truth);
    }
    for reading in &drawn.readings {
        one_reading(&mut text, reading);
    }
    text
}

// Writing to a String cannot fail, so results of `write!` are dropped throughout.

fn motor(text: &mut String, drawn: &DrawnBench) {
    let facts = &drawn.motor;
    let _ = writeln!(text, "[motor]\nname = {:?}", facts.name);
    if let Some(segments) = facts.commutator_segments {
        let _ = writeln!(text, "commutator_segments = {segments}");
    }
    if let Some(poles) = facts.poles {
        let _ = writeln!(text, "poles = {poles}");
    }
    let brushes = match facts.brushes {
        Brushes::Carbon => "carbon",
        Brushes::MetalCarbon => "metal-carbon",
        Brushes::Metal => "metal",
    };
    let magnets = match facts.magnets {
        Magnets::Ferrite => "ferrite",
        Magnets::Neodymium => "neodymium",
        Magnets::SamariumCobalt => "samarium-cobalt",
    };
    let room_c = drawn.truth.rig.temperature.room_c;
    let _ = writeln!(
        text,
        "brushes = \"{brushes}\"\nmagnets = \"{magnets}\"\nroom_temperature_c = {room_c}"
    );
    winding_temperature(text, drawn.winding_temperature_c);
    let rig = &drawn.truth.rig;
    let _ = writeln!(
        text,
        "\n[supply]\nvoltage = {{ v = {}, limit_percent = 0.5 }}",
        rig.supply_v
    );
    if let Some(limit) = rig.current_limit_a {
        let _ = writeln!(text, "current_limit_a = {limit}");
    }
}

fn winding_temperature(text: &mut String, stated: Stated) {
    let _ = writeln!(
        text,
        "winding_temperature = {{ c = {}, standard_k = {} }}",
        stated.value, stated.standard_uncertainty
    );
}

/// `limit` as an accuracy table of one key with that `unit`.
fn accuracy(instruments: &Instruments, limit: f64, unit: &str) -> String {
    let way = match instruments.law {
        ErrorLaw::TruncatedNormal => "coverage_95",
        ErrorLaw::Rectangular => "limit",
    };
    format!("{{ {way}_{unit} = {} }}", rounded(limit))
}

/// Without the last bits a product with 100 or 1e6 leaves.
fn rounded(value: f64) -> f64 {
    format!("{value:.9e}").parse().unwrap_or(value)
}

fn instruments(text: &mut String, drawn: &DrawnBench) {
    let (stated, rig) = (&drawn.truth.instruments, &drawn.truth.rig);
    let percent = |limit: f64| accuracy(stated, 100.0 * limit, "percent");
    let mut shunt_inside = false;
    let sensor = if stated.perfect {
        if let CurrentSensor::Shunt {
            inside_voltage_channel,
            ..
        } = rig.sensor
        {
            shunt_inside = inside_voltage_channel;
        }
        None
    } else {
        let _ = writeln!(
            text,
            "\n[instruments.scope]\nkind = \"oscilloscope\"\nbits = {}\ngain = {}\nzero = {}\ntime_base = {}",
            stated.bits,
            percent(stated.stated_gain_limit()),
            accuracy(stated, stated.zero_limit_div, "divisions"),
            accuracy(stated, 1e6 * stated.time_base_limit, "ppm"),
        );
        let _ = writeln!(
            text,
            "\n[instruments.probe]\nkind = \"voltage-probe\"\ngain = {}",
            percent(stated.probe_gain_limit)
        );
        match rig.sensor {
            CurrentSensor::Shunt {
                nominal_ohm,
                tolerance,
                inside_voltage_channel,
            } => {
                shunt_inside = inside_voltage_channel;
                let _ = writeln!(
                    text,
                    "\n[instruments.shunt]\nkind = \"shunt\"\nresistance_ohm = {nominal_ohm}\ntolerance = {}",
                    percent(tolerance)
                );
                Some("shunt")
            }
            CurrentSensor::Clamp {
                gain_limit,
                zero_limit_a,
                bandwidth_hz,
            } => {
                let _ = writeln!(
                    text,
                    "\n[instruments.clamp]\nkind = \"current-probe\"\ngain = {}\nzero = {}\nbandwidth_hz = {bandwidth_hz}",
                    percent(gain_limit),
                    accuracy(stated, zero_limit_a, "a"),
                );
                Some("clamp")
            }
        }
    };
    let recorded = drawn
        .captures
        .iter()
        .any(|c| c.waveform.voltage_v.is_some());
    if recorded {
        let _ = writeln!(text, "\n[channels.CH1]\nmeasures = \"voltage\"");
        match sensor {
            Some(_) => {
                let _ = writeln!(text, "through = [\"scope\", \"probe\"]");
                if shunt_inside {
                    let _ = writeln!(text, "spans = \"shunt\"");
                }
            }
            None => {
                let _ = writeln!(text, "zero = {{ standard_v = 1e-6 }}");
                if let (true, Some(ohm)) = (shunt_inside, drawn.truth.shunt_ohm) {
                    let _ = writeln!(text, "spans_ohm = {ohm}");
                }
            }
        }
    }
    let _ = writeln!(text, "\n[channels.CH2]\nmeasures = \"current\"");
    match sensor {
        Some(sensor) => {
            let _ = writeln!(text, "through = [\"scope\", \"{sensor}\"]");
        }
        None => {
            let _ = writeln!(text, "zero = {{ standard_a = 1e-6 }}");
        }
    }
}

fn one_capture(text: &mut String, capture: &Capture, file: &str, truth: Option<&CaptureTruth>) {
    let role = capture.kind.role();
    let _ = writeln!(
        text,
        "\n[[captures]]\nname = {:?}\nfile = {file:?}\nrole = \"{role}\"",
        capture.name
    );
    if let Some(truth) = truth {
        let _ = writeln!(
            text,
            "current.per_division = {}",
            truth.current_vertical.per_division
        );
        if capture.waveform.voltage_v.is_some() {
            let _ = writeln!(
                text,
                "voltage.per_division = {}",
                truth.voltage_vertical.per_division
            );
        }
    }
    if capture.waveform.voltage_v.is_none() {
        let _ = writeln!(text, "voltage.recorded = false");
    }
    for (key, unit, stated) in [
        ("loop_resistance", "ohm", capture.loop_resistance_ohm),
        ("source", "v", capture.source_v),
        ("added_inertia", "kg_m2", capture.added_inertia_kg_m2),
        ("load_torque", "n_m", capture.load_torque_nm),
        ("driven_speed", "rad_s", capture.driven_speed_rad_s),
    ] {
        if let Some(stated) = stated {
            let _ = writeln!(text, "{key} = {}", quantity(stated, unit));
        }
    }
}

fn quantity(stated: Stated, unit: &str) -> String {
    format!(
        "{{ {unit} = {}, standard_{unit} = {} }}",
        float(stated.value),
        float(stated.standard_uncertainty)
    )
}

/// A number that TOML reads as a float with the same bits.
fn float(value: f64) -> String {
    format!("{value:e}")
}

fn one_reading(text: &mut String, reading: &Reading) {
    match reading {
        Reading::Ohmmeter {
            readings_ohm,
            leads_ohm,
            relative_uncertainty,
            winding_temperature_c,
        } => {
            let list: Vec<String> = readings_ohm.iter().map(|v| float(*v)).collect();
            let _ = writeln!(
                text,
                "\n[[readings]]\nkind = \"ohmmeter\"\nreadings_ohm = [{}]\naccuracy = {{ standard_percent = {} }}\nleads = {}",
                list.join(", "),
                rounded(100.0 * relative_uncertainty),
                quantity(*leads_ohm, "ohm")
            );
            winding_temperature(text, *winding_temperature_c);
        }
        Reading::Tachometer {
            speed_rad_s,
            capture,
        } => {
            let _ = writeln!(
                text,
                "\n[[readings]]\nkind = \"tachometer\"\nspeed = {}\ncapture = {capture:?}",
                quantity(*speed_rad_s, "rad_s")
            );
        }
        Reading::SpunBackEmf {
            voltage_v,
            speed_rad_s,
        } => {
            let _ = writeln!(
                text,
                "\n[[readings]]\nkind = \"spun-back-emf\"\nvoltage = {}\nspeed = {}",
                quantity(*voltage_v, "v"),
                quantity(*speed_rad_s, "rad_s")
            );
        }
    }
}
