//! The bench sheet that a careful person would write for a simulated bench.

use super::draw::SyntheticBench;
use super::instruments::{ErrorLaw, Instruments};
use super::rig::CurrentSensor;
use super::truth::CaptureTruth;
use crate::bench::{BrushKind, Capture, MagnetKind, Reading, Role, Stated};
use std::fmt::Write as _;

/// The sheet in TOML; `files` are the names of the captures' files, in the order of the bench.
pub(crate) fn text(drawn: &SyntheticBench, files: &[String]) -> String {
    let mut text = String::new();
    motor(&mut text, drawn);
    instruments(&mut text, drawn);
    for (capture, file) in drawn.bench.captures.iter().zip(files) {
        let truth = drawn.truth.captures.iter().find(|t| t.name == capture.name);
        one_capture(&mut text, capture, file, truth);
    }
    for reading in &drawn.bench.readings {
        one_reading(&mut text, reading);
    }
    text
}

// Writing to a String cannot fail, so results of `write!` are dropped throughout.

fn motor(text: &mut String, drawn: &SyntheticBench) {
    let facts = &drawn.bench.motor;
    let _ = writeln!(text, "[motor]\nname = {:?}", facts.name);
    if let Some(segments) = facts.commutator_segments {
        let _ = writeln!(text, "commutator_segments = {segments}");
    }
    if let Some(brushes) = facts.brushes {
        let name = match brushes {
            BrushKind::Carbon => "carbon",
            BrushKind::MetalCarbon => "metal-carbon",
            BrushKind::Metal => "metal",
        };
        let _ = writeln!(text, "brushes = \"{name}\"");
    }
    if let Some(magnets) = facts.magnets {
        let name = match magnets {
            MagnetKind::Ferrite => "ferrite",
            MagnetKind::Neodymium => "neodymium",
            MagnetKind::SamariumCobalt => "samarium-cobalt",
        };
        let _ = writeln!(text, "magnets = \"{name}\"");
    }
    if let Some(room) = facts.room_temperature_c {
        let _ = writeln!(text, "room_temperature_c = {room}");
    }
    if let Some(winding) = drawn
        .bench
        .captures
        .first()
        .and_then(|c| c.winding_temperature_c)
    {
        let _ = writeln!(
            text,
            "winding_temperature = {{ c = {}, standard_k = {} }}",
            winding.value, winding.standard_uncertainty
        );
    }
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

/// `limit` as an accuracy table of one key with that `unit`.
fn accuracy(instruments: &Instruments, limit: f64, unit: &str) -> String {
    let way = match instruments.law {
        ErrorLaw::TruncatedNormal => "limit",
        ErrorLaw::Rectangular => "half_width",
    };
    format!("{{ {way}_{unit} = {} }}", rounded(limit))
}

/// Without the last bits a product with 100 or 1e6 leaves.
fn rounded(value: f64) -> f64 {
    format!("{value:.9e}").parse().unwrap_or(value)
}

fn instruments(text: &mut String, drawn: &SyntheticBench) {
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
            percent(stated.vertical_gain_limit),
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
        .bench
        .captures
        .iter()
        .any(|c| c.voltage_chain.is_some());
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
    let role = match capture.role {
        Role::Start => "start",
        Role::RunDown => "run-down",
        Role::Brake => "brake",
        Role::LockedRotor => "locked-rotor",
        Role::TurnOff => "turn-off",
        Role::Pwm => "pwm",
        Role::PwmLocked => "pwm-locked",
        Role::Steady => "steady",
        Role::Driven => "driven",
    };
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
        if capture.voltage_chain.is_some() {
            let _ = writeln!(
                text,
                "voltage.per_division = {}",
                truth.voltage_vertical.per_division
            );
        }
    }
    if capture.voltage_chain.is_none() {
        let _ = writeln!(text, "voltage.recorded = false");
    }
    for (key, unit, stated) in [
        ("loop_resistance", "ohm", capture.loop_resistance_ohm),
        ("source", "v", capture.source_v),
        ("added_inertia", "kg_m2", capture.added_inertia_kg_m2),
        ("load_torque", "nm", capture.load_torque_nm),
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
            temperature_c,
        } => {
            let list: Vec<String> = readings_ohm.iter().map(|v| float(*v)).collect();
            let _ = writeln!(
                text,
                "\n[[readings]]\nkind = \"ohmmeter\"\nreadings_ohm = [{}]\naccuracy = {{ standard_percent = {} }}",
                list.join(", "),
                rounded(100.0 * relative_uncertainty)
            );
            if let Some(leads) = leads_ohm {
                let _ = writeln!(text, "leads = {}", quantity(*leads, "ohm"));
            }
            if let Some(winding) = temperature_c {
                let _ = writeln!(
                    text,
                    "winding_temperature = {{ c = {}, standard_k = {} }}",
                    winding.value, winding.standard_uncertainty
                );
            }
        }
        Reading::InductanceMeter {
            inductance_h,
            frequency_hz,
        } => {
            let _ = writeln!(
                text,
                "\n[[readings]]\nkind = \"inductance-meter\"\ninductance = {}",
                quantity(*inductance_h, "h")
            );
            if let Some(frequency) = frequency_hz {
                let _ = writeln!(text, "frequency_hz = {frequency}");
            }
        }
        Reading::Speed {
            speed_rad_s,
            capture,
            ..
        } => {
            let _ = writeln!(
                text,
                "\n[[readings]]\nkind = \"tachometer\"\nspeed = {}",
                quantity(*speed_rad_s, "rad_s")
            );
            if let Some(capture) = capture {
                let _ = writeln!(text, "capture = {capture:?}");
            }
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
