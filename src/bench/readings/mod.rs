//! Scalar readings: their tables of the sheet, with the accuracy of their own, of the instrument they were taken with, or an assumed one.

pub mod heat;
pub mod table;

use crate::bench::accuracy::{Accuracy, Range, Stated};
use crate::bench::channels::GainCheck;
use crate::bench::error::BenchError;
use crate::bench::remarks::{BenchRemark, BenchRemarkKind};
use crate::bench::setup::Reading;
use crate::bench::sheet::{
    CURRENT, INDUCTANCE, InstrumentKind, Quantity, RESISTANCE, SPEED, TEMPERATURE, Table,
    TypedChannel, TypedInstrument, VOLTAGE, accuracy_at, quantity_at, size_at, speed as speed_of,
    stated, winding_temperature,
};
use crate::quantity::units::Quantity as Kind;

/// What the readings of a sheet refer to, and what they come to.
#[derive(Default)]
pub(in crate::bench) struct Readings<'a> {
    pub instruments: &'a [TypedInstrument],
    pub channels: &'a [TypedChannel],
    pub captures: Vec<&'a str>,
    pub readings: Vec<Reading>,
    pub gain_checks: Vec<GainCheck>,
    pub warnings: Vec<BenchRemark>,
    /// What was made of a reading that asks nothing of the reader.
    pub notes: Vec<BenchRemark>,
}

impl<'a> Readings<'a> {
    /// Reads a table of `[[readings]]`.
    pub fn read(&mut self, table: &Table<'_>) -> Result<(), BenchError> {
        let kinds = [
            "ohmmeter",
            "inductance-meter",
            "tachometer",
            "spun-back-emf",
            "gain-check",
        ];
        let kind = table.kind("kind of reading", &kinds.map(|kind| (kind, kind)))?;
        let with = table.text("with")?;
        table.free_text("note")?;
        let reading = match kind {
            "ohmmeter" => self.ohmmeter(table, with)?,
            "inductance-meter" => self.inductance_meter(table, with)?,
            "tachometer" => self.tachometer(table, with)?,
            "spun-back-emf" => self.spun(table, with)?,
            _ => return self.gain_check(table, with),
        };
        self.readings.push(reading);
        Ok(())
    }

    /// The instrument that a reading was taken with.
    fn meter(
        &self,
        with: Option<&str>,
        table: &Table<'_>,
    ) -> Result<Option<&'a TypedInstrument>, BenchError> {
        let reads = |i: &&TypedInstrument| {
            matches!(i.kind, InstrumentKind::Meter | InstrumentKind::Tachometer)
        };
        let Some(name) = with else {
            return Ok(None);
        };
        let readers = || self.instruments.iter().filter(reads);
        let unknown = || {
            let known = readers().map(|i| i.name.as_str());
            BenchError::unknown(&table.place(), "meter or tachometer", name, known)
        };
        readers()
            .find(|i| i.name == name)
            .ok_or_else(unknown)
            .map(Some)
    }

    /// The accuracy with which that instrument reads a quantity.
    fn accuracy(
        &self,
        with: Option<&str>,
        kind: Kind,
        table: &Table<'_>,
    ) -> Result<Option<Accuracy>, BenchError> {
        Ok(self.meter(with, table)?.and_then(|meter| meter.reads(kind)))
    }

    fn inductance_meter(
        &self,
        table: &Table<'_>,
        with: Option<String>,
    ) -> Result<Reading, BenchError> {
        let inductance = size_at(table, "inductance", INDUCTANCE)?;
        let frequency_hz = table.positive("frequency_hz")?;
        table.finish()?;
        let example = "e.g. inductance = { mh = 0.42, limit_percent = 2 }";
        let inductance = table.require("inductance", inductance, example)?;
        let accuracy = self.accuracy(with.as_deref(), Kind::Inductance, table)?;
        Ok(Reading::InductanceMeter {
            inductance_h: by(&inductance, accuracy, "inductance")?,
            frequency_hz,
        })
    }

    fn tachometer(
        &mut self,
        table: &Table<'_>,
        with: Option<String>,
    ) -> Result<Reading, BenchError> {
        let speed = size_at(table, "speed", SPEED)?;
        let capture = table.text("capture")?;
        let terminal_voltage = size_at(table, "terminal_voltage", VOLTAGE)?;
        let current = quantity_at(table, "current", CURRENT)?;
        table.finish()?;
        if capture.is_none() && terminal_voltage.is_none() {
            return table.invalid(
                "speed",
                "a speed says nothing without the state it was read in: name the `capture` that shows it, or give the `terminal_voltage`",
            );
        }
        let speed = table.require("speed", speed, "e.g. speed = { rpm = 5160 }")?;
        let accuracy = self.accuracy(with.as_deref(), Kind::Speed, table)?;
        let missing = |name: &&String| !self.captures.contains(&name.as_str());
        if let Some(name) = capture.as_ref().filter(missing) {
            let known = self.captures.iter().copied();
            return Err(BenchError::unknown(&table.place(), "capture", name, known));
        }
        Ok(Reading::Speed {
            speed_rad_s: speed_of(&speed, accuracy, table.place().line, &mut self.warnings),
            capture,
            terminal_voltage_v: stated(&terminal_voltage, "terminal_voltage")?,
            current_a: stated(&current, "current")?,
            meter: with,
        })
    }

    fn spun(&mut self, table: &Table<'_>, with: Option<String>) -> Result<Reading, BenchError> {
        let voltage = size_at(table, "voltage", VOLTAGE)?;
        let speed = size_at(table, "speed", SPEED)?;
        table.finish()?;
        let voltage = table.require("voltage", voltage, "e.g. voltage = { v = 4.12 }")?;
        let speed = table.require("speed", speed, "e.g. speed = { rpm = 1500 }")?;
        let accuracy = self.accuracy(with.as_deref(), Kind::Voltage, table)?;
        Ok(Reading::SpunBackEmf {
            voltage_v: by(&voltage, accuracy, "voltage")?,
            speed_rad_s: speed_of(&speed, None, table.place().line, &mut self.warnings),
            meter: with,
        })
    }

    /// A known voltage or current on a channel, and what the channel showed.
    fn gain_check(&mut self, table: &Table<'_>, with: Option<String>) -> Result<(), BenchError> {
        let channel = table.text("channel")?;
        let per_division = table.positive("per_division")?;
        // The unit of the applied value decides what the channel reads.
        let keys = table.table("applied")?.map(|t| t.keys());
        let is_current = |keys: Vec<String>| keys.iter().any(|key| key == "a" || key == "ma");
        let units = match keys.is_some_and(is_current) {
            true => CURRENT,
            false => VOLTAGE,
        };
        let applied = quantity_at(table, "applied", units)?;
        let read = quantity_at(table, "read", units)?;
        table.finish()?;
        let example = "e.g. applied = { v = 5.000, limit_percent = 0.1 } and read = { v = 4.93, standard_v = 0.005 }";
        let applied = table.require("applied", applied, example)?;
        if applied.value == 0.0 {
            return table.invalid(
                "applied",
                format!("a gain cannot be checked with nothing applied; {example}"),
            );
        }
        let channel = table.require("channel", channel, "the scope channel that was checked")?;
        let read = table.require("read", read, example)?;
        let channels = || self.channels.iter().map(|c| c.name.as_str());
        if !channels().any(|known| known == channel) {
            let place = table.place();
            return Err(BenchError::unknown(&place, "channel", &channel, channels()));
        }
        let reads = self.accuracy(with.as_deref(), units.quantity, table)?;
        let ratio = read.value / applied.value;
        if !(0.5..=2.0).contains(&ratio) {
            let text = format!(
                "{} read where {} was applied: a gain {ratio:.3} times too large is no error of a gain. Give both in the unit of the channel, with the probe's ratio applied",
                read.value, applied.value
            );
            return Err(BenchError::at(&table.place(), text));
        }
        let of_meter = reads.filter(|_| applied.accuracy.is_empty());
        let relative = |stated: Stated| stated.standard_uncertainty / stated.value.abs();
        let own = match of_meter {
            Some(_) => 0.0,
            None => relative(applied.stated("applied")?),
        };
        let meter = of_meter.zip(with).map(|(accuracy, name)| {
            let u = relative(accuracy.state(applied.value));
            (name, u, accuracy.distribution())
        });
        self.gain_checks.push(GainCheck {
            channel,
            per_division,
            ratio,
            own_relative_uncertainty: relative(read.stated("read")?).hypot(own).max(1e-6),
            meter,
        });
        Ok(())
    }

    fn ohmmeter(&mut self, table: &Table<'_>, with: Option<String>) -> Result<Reading, BenchError> {
        let readings = table.numbers("readings_ohm")?;
        let range = table.numbers("range_ohm")?;
        let positions = table.count("positions")?;
        let accuracy = accuracy_at(table, "accuracy", RESISTANCE, false)?;
        let leads = size_at(table, "leads", RESISTANCE)?;
        let temperature = quantity_at(table, "winding_temperature", TEMPERATURE)?;
        table.finish()?;
        let line = table.place().line;
        let (key, readings_ohm) = match (readings, range.as_deref(), positions) {
            (Some(_), Some(_), _) => {
                return table.invalid(
                    "range_ohm",
                    "give either `readings_ohm` or `range_ohm` with `positions`, not both",
                );
            }
            (Some(readings), None, _) => ("readings_ohm", readings),
            (None, Some([low, high]), Some(n)) if low <= high && n >= 2 => {
                let readings = n;
                let kind = BenchRemarkKind::RangeOnly { line, readings };
                self.notes.push(kind.of_sheet());
                let step = (high - low) / f64::from(n - 1);
                let spread = (0..n).map(|k| low + f64::from(k) * step);
                ("range_ohm", spread.collect())
            }
            (None, Some(given), _) => {
                let text = format!(
                    "`range_ohm` is {given:?}, expected the lowest reading, then the highest, with `positions`: how many (2 or more) were read"
                );
                return table.invalid("range_ohm", text);
            }
            (None, None, _) => {
                return Err(table.missing(
                    "readings_ohm",
                    "the readings over the rotor positions, or `range_ohm` with `positions`",
                ));
            }
        };
        if let Some(bad) = readings_ohm.iter().find(|r| **r <= 0.0) {
            let text = format!("an ohmmeter cannot have read {bad} Ω across a motor");
            return table.invalid(key, text);
        }
        let of_meter = self.accuracy(with.as_deref(), Kind::Resistance, table)?;
        let accuracy = accuracy.or(of_meter).unwrap_or_else(|| {
            let kind = BenchRemarkKind::ResistanceWithoutAccuracy { line };
            self.warnings.push(kind.of_sheet());
            Accuracy::limit_relative(0.01)
        });
        let mean = readings_ohm.iter().sum::<f64>() / readings_ohm.len() as f64;
        let temperature = temperature.map(|t| winding_temperature(&t, &mut self.warnings));
        Ok(Reading::Ohmmeter {
            readings_ohm,
            leads_ohm: stated(&leads, "leads")?,
            relative_uncertainty: accuracy.standard_uncertainty(mean, Range::default()) / mean,
            temperature_c: temperature.transpose()?,
            meter: with,
        })
    }
}

fn by(quantity: &Quantity, meter: Option<Accuracy>, key: &str) -> Result<Stated, BenchError> {
    match meter {
        Some(accuracy) => Ok(quantity.stated_or(accuracy)),
        None => quantity.stated(key),
    }
}
