//! A bench from flags alone, without a sheet: every accuracy is assumed, with a note.

use super::accuracy::Accuracy;
use super::capture::{ByHand, Capture, Role, Trace};
use super::captures::{CapturePlan, Expectations, Kept, load_all, stem, temperature_missing};
use super::channels::{ChannelPlan, converter_bits};
use super::error::BenchError;
use super::hardware::{Hardware, resolve};
use super::remarks::{BenchRemark, BenchRemarkKind};
use super::setup::{Bench, MotorFacts, Reading};
use super::sheet::{
    InstrumentKind, Measures, NameOrNumber, TypedInstrument, assumed_speed_accuracy,
};
use crate::capture::{self, ReadOptions};
use crate::quantity::units::RPM;
use crate::stats::simd;
use std::path::PathBuf;

/// Limits assumed where flags state values without an accuracy (common practice, no source).
const SUPPLY_LIMIT: f64 = 0.02;
const TEMPERATURE_LIMIT_K: f64 = 5.0;

/// Bits of the converter where no trace shows more.
const USUAL_BITS: u32 = 8;

/// What the flags of a quick run say. SI units; `None` is unknown.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct QuickRun {
    /// Role and file of each capture.
    pub captures: Vec<(Role, PathBuf)>,
    /// Name of the motor.
    pub name: Option<String>,
    /// Supply voltage, V.
    pub supply_v: Option<f64>,
    /// Number of commutator segments.
    pub commutator_segments: Option<u32>,
    /// Number of field poles.
    pub poles: Option<u32>,
    /// Of the winding, for all captures.
    pub winding_temperature_c: Option<f64>,
    /// Speed while running freely at the supply, as the first run-down, steady, brake or start capture (in this order)
    /// shows it.
    pub speed_rad_s: Option<f64>,
    /// Column of the voltage: a name, or a number counted from 1. `None`: by unit.
    pub voltage_column: Option<String>,
    /// Column of the current, likewise.
    pub current_column: Option<String>,
    /// Resistance of the shunt; `None` means a current probe.
    pub shunt_ohm: Option<f64>,
    /// The current column holds the raw volts across the shunt.
    pub raw_volts: bool,
    /// The voltage was measured across motor and shunt together.
    pub shunt_in_voltage: bool,
    /// True inverts the sign of the current column.
    pub reverse_current: bool,
    /// Ratio of the voltage probe, where it was not set in the oscilloscope.
    pub apply_probe_ratio: Option<f64>,
    /// Options of the importer, the same for all files.
    pub import: ReadOptions,
}

/// Builds a bench from flags: an 8-bit oscilloscope (2 % of reading, zero 0.1 division), a voltage probe (1 %), a
/// current probe (3 %) or a shunt (5 %), all read as limits (rectangular) and stated in the warnings.
///
/// # Errors
/// No capture, contradicting flags, or a capture that cannot be read or used.
pub fn quick_bench(run: &QuickRun) -> Result<Bench, BenchError> {
    check(run)?;
    let mut warnings = Vec::new();
    let mut assumptions = Vec::new();
    let mut hardware = resolve(&instruments(run, USUAL_BITS), &mut assumptions);
    let plans = plans(run, &hardware, &mut warnings);
    warnings.extend(temperature_missing(&plans));
    let readings = run
        .speed_rad_s
        .map(|speed| speed_reading(speed, run, &plans, &mut warnings))
        .transpose()?
        .into_iter()
        .collect();
    let expected = Expectations {
        supply_v: run.supply_v,
        current_limit_a: None,
    };
    let mut loaded = load_all(&plans, &hardware, &[], &expected, &mut Kept::default())?;
    if let Some(bits) = bits_shown(&loaded.captures).filter(|bits| *bits > USUAL_BITS) {
        assumptions.clear();
        hardware = resolve(&instruments(run, bits), &mut assumptions);
        loaded = load_all(&plans, &hardware, &[], &expected, &mut Kept::default())?;
    }
    warnings.extend(loaded.warnings);
    let assumed = BenchRemarkKind::QuickAssumed {
        assumed: assumptions,
    };
    Ok(Bench {
        path: None,
        sha256: None,
        motor: MotorFacts {
            name: run.name.clone().unwrap_or_else(|| "unnamed motor".into()),
            commutator_segments: run.commutator_segments,
            poles: run.poles,
            supply_v: run.supply_v,
            ..MotorFacts::default()
        },
        instruments: loaded.instruments,
        certificates: Vec::new(),
        captures: loaded.captures,
        readings,
        tables: Vec::new(),
        warnings,
        heat: Vec::new(),
        notes: [vec![assumed.of_sheet()], loaded.notes].concat(),
        capture_warnings: loaded.capture_warnings,
    })
}

/// Refuses flags that say nothing, cannot be meant or contradict each other.
fn check(run: &QuickRun) -> Result<(), BenchError> {
    if run.captures.is_empty() {
        return Err(BenchError::new(
            "no capture given. Name a bench sheet, or captures by role, e.g. --start A.csv --rundown B.csv --brake C.csv",
        ));
    }
    for (value, flag) in [
        (run.supply_v, "the supply voltage"),
        (run.shunt_ohm, "the shunt resistance"),
        (run.apply_probe_ratio, "the probe ratio"),
        (run.speed_rad_s, "the speed"),
    ] {
        if let Some(bad) = value.filter(|v| !(v.is_finite() && *v > 0.0)) {
            return Err(BenchError::new(format!(
                "{flag} is given as {bad}, expected a number above zero"
            )));
        }
    }
    if run.shunt_ohm.is_none() && (run.raw_volts || run.shunt_in_voltage) {
        return Err(BenchError::new(
            "the shunt is said to be unscaled or inside the voltage, but its resistance is not given",
        ));
    }
    Ok(())
}

/// Every capture through the same channels, each under a name of its own.
fn plans(
    run: &QuickRun,
    hardware: &[Hardware],
    warnings: &mut Vec<BenchRemark>,
) -> Vec<CapturePlan> {
    let voltage = channel(run, Measures::Voltage, hardware);
    let current = channel(run, Measures::Current, hardware);
    let winding_temperature_c = run.winding_temperature_c.map(|c| {
        let kind = BenchRemarkKind::QuickTemperature {
            temperature_c: c,
            limit_k: TEMPERATURE_LIMIT_K,
        };
        warnings.push(kind.of_sheet());
        Accuracy::limit_absolute(TEMPERATURE_LIMIT_K).state(c)
    });
    let mut plans: Vec<CapturePlan> = Vec::new();
    for (role, files) in events(run) {
        let Some((path, further)) = files.split_first() else {
            continue;
        };
        let base = stem(&path.to_string_lossy());
        let taken = plans.iter().filter(|p| p.name.starts_with(&base)).count();
        plans.push(CapturePlan {
            name: match taken {
                0 => base,
                _ => format!("{base} ({})", taken + 1),
            },
            place: None,
            path: path.clone(),
            further: further.to_vec(),
            role,
            voltage: Some(voltage.clone()),
            current: Some(current.clone()),
            speed: Vec::new(),
            winding_temperature_c,
            series_diode_v: None,
            loop_resistance_ohm: None,
            source_v: None,
            coasting: None,
            added_inertia_kg_m2: None,
            load_torque_nm: None,
            driven_speed_rad_s: None,
            by_hand: ByHand::default(),
            used: true,
            import: run.import.clone(),
        });
    }
    plans
}

/// The files of each event: those of one role that name one channel each and overlap in time are one event.
fn events(run: &QuickRun) -> Vec<(Role, Vec<PathBuf>)> {
    let mut roles: Vec<(Role, Vec<PathBuf>)> = Vec::new();
    for (role, path) in &run.captures {
        match roles.iter_mut().find(|(r, _)| r == role) {
            Some((_, files)) => files.push(path.clone()),
            None => roles.push((*role, vec![path.clone()])),
        }
    }
    let mut events = Vec::new();
    for (role, files) in roles {
        for group in capture::group_by_channel(&files) {
            let together = match group.len() {
                1 => vec![group],
                _ => {
                    let read = capture::read_group(&group, &run.import).into_iter();
                    read.map(|(files, _)| files).collect()
                }
            };
            events.extend(together.into_iter().map(|files| (role, files)));
        }
    }
    events
}

/// Bits of the converter, as most captures show them: the trace of a single one may have steps of its own (averaged, filtered by software).
fn bits_shown(captures: &[Capture]) -> Option<u32> {
    let steps = |trace: &Trace| {
        let (low, high) = simd::range(&trace.values);
        Some((high - low) / trace.quantisation_step.filter(|s| *s > 0.0)?)
    };
    let of_capture = |capture: &Capture| {
        let waveform = &capture.waveform;
        let traces = waveform.voltage_v.iter().chain(&waveform.current_a);
        converter_bits(traces.filter_map(steps).fold(0.0, f64::max))
    };
    let mut bits: Vec<u32> = captures.iter().filter_map(of_capture).collect();
    bits.sort_unstable();
    bits.get(bits.len().checked_sub(1)? / 2).copied()
}

fn instruments(run: &QuickRun, bits: u32) -> Vec<TypedInstrument> {
    let mut scope = TypedInstrument::unstated("scope", InstrumentKind::Oscilloscope);
    scope.bits = Some(bits);
    let probe = TypedInstrument::unstated("probe", InstrumentKind::VoltageProbe);
    let mut sensor = match run.shunt_ohm {
        Some(_) => TypedInstrument::unstated("shunt", InstrumentKind::Shunt),
        None => TypedInstrument::unstated("clamp", InstrumentKind::CurrentProbe),
    };
    sensor.resistance_ohm = run.shunt_ohm;
    vec![scope, probe, sensor]
}

fn channel(run: &QuickRun, measures: Measures, hardware: &[Hardware]) -> ChannelPlan {
    let is_voltage = measures == Measures::Voltage;
    let raw_volts = !is_voltage && run.raw_volts;
    let (asked, factor) = match measures {
        Measures::Voltage => (&run.voltage_column, run.apply_probe_ratio.unwrap_or(1.0)),
        Measures::Current => {
            let per_volt = run.shunt_ohm.filter(|_| raw_volts).map_or(1.0, f64::recip);
            let sign = if run.reverse_current { -1.0 } else { 1.0 };
            (&run.current_column, sign * per_volt)
        }
    };
    let columns = asked.iter().map(|text| match text.parse::<usize>() {
        Ok(number) if number > 0 => NameOrNumber::Number(number),
        _ => NameOrNumber::Name(text.clone()),
    });
    let shunt = hardware
        .iter()
        .position(|h| h.kind == InstrumentKind::Shunt);
    ChannelPlan {
        name: measures.word().to_string(),
        place: None,
        measures,
        columns: columns.collect(),
        // The order of `instruments`: scope, probe, clamp or shunt.
        through: vec![0, if is_voltage { 1 } else { 2 }],
        spans: (is_voltage && run.shunt_in_voltage)
            .then(|| run.shunt_ohm.map(|ohm| (ohm, shunt)))
            .flatten(),
        factor,
        raw_volts,
        scale_stated: raw_volts,
        ac_coupled: None,
        per_division: None,
        zero: None,
    }
}

fn speed_reading(
    speed: f64,
    run: &QuickRun,
    plans: &[CapturePlan],
    warnings: &mut Vec<BenchRemark>,
) -> Result<Reading, BenchError> {
    let capture = [Role::RunDown, Role::Steady, Role::Brake, Role::Start]
        .iter()
        .find_map(|role| plans.iter().find(|p| p.role == *role))
        .map(|p| p.name.clone());
    let terminal_voltage_v = match (&capture, run.supply_v) {
        (Some(_), _) => None,
        (None, Some(volts)) => Some(Accuracy::limit_relative(SUPPLY_LIMIT).state(volts)),
        (None, None) => {
            return Err(BenchError::new(
                "a speed says nothing without the state it was read in: give a run-down, steady, brake or start capture, or the supply voltage",
            ));
        }
    };
    let kind = BenchRemarkKind::QuickSpeed {
        rpm: speed / RPM,
        read_in: capture.clone(),
    };
    warnings.push(kind.of_sheet());
    Ok(Reading::Speed {
        speed_rad_s: assumed_speed_accuracy().state(speed),
        capture,
        terminal_voltage_v,
        current_a: None,
        meter: None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_quick_run_without_captures_says_what_to_give() {
        let error = quick_bench(&QuickRun::default()).unwrap_err();
        assert!(error.to_string().contains("--start A.csv"), "{error}");
    }
}
