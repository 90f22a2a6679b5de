//! A sensor on the shaft: the column that it adds to each capture.

use super::edit;
use crate::bench::DrawnBench;
use crate::chance::Dice;
use crate::files::FolderError;
use std::f64::consts::TAU;
use std::fmt::Write as _;
use std::path::Path;

/// What is on the shaft.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ShaftSensor {
    /// A tachogenerator of about 3 V per 1000 rpm within 1 %, zero within 10 mV, behind a filter of 1 ms; its own ripple is 1 %.
    Tachogenerator,
    /// 1000 counts a turn.
    Encoder,
    /// One mark a turn.
    Pickup,
}

const VOLTS_PER_KRPM: f64 = 3.0;
const RAD_S_PER_KRPM: f64 = 1000.0 * TAU / 60.0;
const FILTER_S: f64 = 1e-3;
const COUNTS: f64 = 1000.0;

/// Adds the column to the captures' files and gives what the sheet says of it.
pub fn add(
    drawn: &DrawnBench,
    sensor: ShaftSensor,
    folder: &Path,
    dice: &mut Dice,
) -> Result<String, FolderError> {
    let constant = VOLTS_PER_KRPM / RAD_S_PER_KRPM * (1.0 + 5e-3 * dice.normal().clamp(-2.0, 2.0));
    let zero_v = 5e-3 * dice.normal().clamp(-2.0, 2.0);
    for capture in &drawn.captures {
        let Some(truth) = drawn
            .truth_of(&capture.name)
            .filter(|_| !capture.kind.held())
        else {
            continue;
        };
        let step_s = capture.waveform.step_s;
        let mut angle = dice.uniform(0.0, TAU);
        let mut filtered = truth.speed_rad_s.first().copied().unwrap_or(0.0);
        let mut before = filtered;
        let kept = libm::exp(-step_s / FILTER_S);
        let column: Vec<String> = truth
            .speed_rad_s
            .iter()
            .map(|&speed| {
                angle += 0.5 * (before + speed) * step_s;
                before = speed;
                filtered = speed + (filtered - speed) * kept;
                match sensor {
                    ShaftSensor::Tachogenerator => {
                        let ripple = 1.0 + 0.01 * libm::sin(14.0 * angle);
                        let volts = constant * filtered * ripple + zero_v + 0.01 * dice.normal();
                        format!("{:.2}", 0.04 * (volts / 0.04).round())
                    }
                    ShaftSensor::Encoder => format!("{:.0}", (angle / TAU * COUNTS).floor()),
                    ShaftSensor::Pickup => {
                        let high = angle.rem_euclid(TAU) < 0.1 * TAU;
                        let level = if high { 3.3 } else { 0.1 } + 0.03 * dice.normal();
                        format!("{:.2}", 0.04 * (level / 0.04).round())
                    }
                }
            })
            .collect();
        edit(&folder.join(format!("{}.csv", capture.name)), |text| {
            let mut out = String::with_capacity(text.len() + 8 * column.len());
            for (row, line) in text.lines().enumerate() {
                let cell = match row.checked_sub(1) {
                    None if sensor == ShaftSensor::Encoder => "Encoder (counts)",
                    None => "CH3 (V)",
                    Some(row) => column.get(row).map_or("", String::as_str),
                };
                let _ = writeln!(out, "{line},{cell}");
            }
            out
        })?;
    }
    Ok(match sensor {
        ShaftSensor::Tachogenerator => format!(
            "\n[channels.tacho]\nmeasures = \"speed\"\ncolumn = \"CH3\"\nvolts_per_speed = {{ v_per_krpm = {VOLTS_PER_KRPM:?}, coverage_95_percent = 1 }}\nzero = {{ coverage_95_mv = 10 }}\ndelay = {{ ms = 1, coverage_95_ms = 0.2 }}\n"
        ),
        ShaftSensor::Encoder => format!(
            "\n[channels.encoder]\nmeasures = \"position\"\ncolumn = \"Encoder\"\ncounts_per_turn = {COUNTS}\n"
        ),
        ShaftSensor::Pickup => {
            "\n[channels.pickup]\nmeasures = \"pulses\"\ncolumn = \"CH3\"\npulses_per_turn = 1\n"
                .to_owned()
        }
    })
}
