//! The terms of a table with the unknowns that they need.

use super::super::meters::InductanceTerm;
use super::super::speeds::constant_entry;
use super::balance::{Balance, BalanceOf, Residual, RowTerm};
use super::meter::Metered;
use crate::bench::{Bench, Reading, ReadingTable, Stated, TableKind};
use crate::fit::data::position_sd;
use crate::fit::unknowns::{
    Entry, Layout, Parameter, ParameterKind, STEADY_KINDS, Source, TableUnknown,
};
use crate::motor::temperature::{copper_coefficient_per_k, copper_ratio};
use crate::quantity::units::Quantity;

/// How far a balance of voltages departs from row to row, relative to the voltage: contact and running state (common practice, no source).
const VOLTAGE_SHARE: f64 = 1e-3;

/// How far friction departs from one row to the next, relative (common practice, no source).
const FRICTION_SHARE: f64 = 0.02;

/// Friction that a held rotor can hold either way, over Coulomb friction: it begins to slip at more than it slides with (common practice, no
/// source).
const STICTION: f64 = 1.5;

/// Share of the largest warming by which one row may depart from a course that follows the rows or the losses (common practice, no source).
const WARMING_SHARE: f64 = 0.1;

/// Terms of every row of a table.
pub fn table_terms(
    bench: &Bench,
    index: usize,
    layout: &mut Layout,
    reference_c: Option<f64>,
) -> Vec<RowTerm> {
    let table = &bench.tables[index];
    let residuals: Vec<(usize, Residual)> = match table.kind {
        TableKind::Impedance => inductances(bench, index, layout),
        _ => {
            let Some(mut rows) = Rows::of(bench, index, layout, reference_c) else {
                return Vec::new();
            };
            let mut of_row = |row: usize| {
                let balances = rows.balances(row, layout).into_iter();
                balances.map(move |b| (row, Residual::Balance(Box::new(b))))
            };
            (0..table.rows()).flat_map(&mut of_row).collect()
        }
    };
    let name: std::sync::Arc<str> = table.name.as_str().into();
    let term = |(row, what)| RowTerm {
        table: index,
        name: name.clone(),
        row,
        what,
    };
    residuals.into_iter().map(term).collect()
}

/// Inductances against frequency: each as an inductance meter's reading.
fn inductances(bench: &Bench, index: usize, layout: &mut Layout) -> Vec<(usize, Residual)> {
    let table = &bench.tables[index];
    let (Some(frequency), Some(inductance)) = (
        table.column(Quantity::Frequency),
        table.column(Quantity::Inductance),
    ) else {
        return Vec::new();
    };
    // What a small alternating current sees differently is the same for every meter of the bench.
    let metered = |r: &Reading| matches!(r, Reading::InductanceMeter { .. });
    let first = bench.readings.iter().position(metered);
    let first = first.unwrap_or(bench.readings.len());
    let rows = inductance.values.iter().zip(&frequency.values).enumerate();
    rows.filter_map(|(row, (&henry, &hz))| {
        let read = Stated {
            value: henry,
            standard_uncertainty: (inductance.gain_uncertainty * henry)
                .hypot(inductance.zero_uncertainty),
        };
        let term = InductanceTerm::new(read, Some(hz), first, layout)?;
        Some((row, Residual::Inductance(term)))
    })
    .collect()
}

/// What the rows of a table have in common.
struct Rows<'a> {
    table: &'a ReadingTable,
    motor: [Entry; STEADY_KINDS.len()],
    /// First guesses of R, Ω, and of the friction current, A.
    resistance_ohm: f64,
    friction_a: f64,
    temperature_ratio: f64,
    /// Relative change of R per kelvin.
    per_kelvin: f64,
    temperature: Option<Entry>,
    warming: Option<Entry>,
    position: Option<Entry>,
    /// Spread of R over the rotor's positions, relative.
    position_sd: f64,
}

impl<'a> Rows<'a> {
    /// `None` while no motor is among the unknowns.
    fn of(
        bench: &'a Bench,
        index: usize,
        layout: &mut Layout,
        reference_c: Option<f64>,
    ) -> Option<Self> {
        let table = &bench.tables[index];
        let found = STEADY_KINDS.iter().map(|kind| layout.find(kind));
        let found = found.collect::<Option<Vec<Entry>>>()?;
        let motor: [Entry; STEADY_KINDS.len()] = found.try_into().ok()?;
        let here_c = table.winding_temperature_c;
        let temperature_ratio = match (reference_c, here_c) {
            (Some(reference), Some(here)) => copper_ratio(reference, here.value),
            _ => 1.0,
        };
        let per_kelvin = copper_coefficient_per_k(here_c.map_or(25.0, |t| t.value));
        let mut add = |of, start: f64, mean: f64, sd: f64, source| {
            let kind = ParameterKind::Table { table: index, of };
            let parameter = Parameter::free(kind, start).with_prior(mean, sd, source);
            layout.add(if of == TableUnknown::Warming {
                parameter.within(0.0, 1.0)
            } else {
                parameter
            })
        };
        let sd_k = here_c.map_or(0.0, |t| t.standard_uncertainty);
        let temperature = (sd_k > 0.0).then(|| {
            add(
                TableUnknown::Temperature,
                0.0,
                0.0,
                sd_k,
                Source::Temperature,
            )
        });
        // Anything up to the stated rise is as likely (JCGM 100:2008, 4.3.7).
        let warming = table.warmed_k.map(|_| {
            let sd = 1.0 / 12f64.sqrt();
            add(TableUnknown::Warming, 0.5, 0.5, sd, Source::Temperature)
        });
        let held = table.kind == TableKind::HeldRotor;
        let sd = position_sd(bench);
        let position = held.then(|| add(TableUnknown::Position, 0.0, 0.0, sd, Source::Position));
        let start = |entry: Entry| layout[entry].start;
        Some(Rows {
            table,
            resistance_ohm: start(motor[0]).exp(),
            friction_a: start(motor[1]),
            motor,
            temperature_ratio,
            per_kelvin,
            temperature,
            warming,
            position,
            position_sd: sd,
        })
    }

    /// Course of the warming at a row, from 0 to 1, and how far it may be off: it follows the rows, the losses, or something between.
    fn warmed(&self, row: usize) -> (f64, f64) {
        let losses = |row: usize| {
            let current = self.table.column(Quantity::Current);
            current.map_or(0.0, |c| c.values[row] * c.values[row])
        };
        let last = self.table.rows() - 1;
        let largest = (0..=last).map(losses).fold(f64::MIN_POSITIVE, f64::max);
        let first = losses(0);
        let by_loss = (losses(row) - first).max(0.0) / (largest - first).max(f64::MIN_POSITIVE);
        let by_row = row as f64 / last.max(1) as f64;
        let apart = 0.5 * (by_loss - by_row).abs();
        (0.5 * (by_loss + by_row), apart.hypot(WARMING_SHARE))
    }

    /// The balances of a row.
    fn balances(&mut self, row: usize, layout: &mut Layout) -> Vec<Balance> {
        let mut metered = |quantity| {
            let column = self.table.column(quantity);
            column.map(|column| Metered::new(column, row, layout))
        };
        let (Some(voltage), Some(current)) =
            (metered(Quantity::Voltage), metered(Quantity::Current))
        else {
            return Vec::new();
        };
        let (speed, torque) = (metered(Quantity::Speed), metered(Quantity::Torque));
        let standing = speed.is_some_and(|s| s.reading == 0.0);
        let held = self.table.kind == TableKind::HeldRotor || standing;
        let speed = speed.filter(|_| !held);
        let (v, i) = (voltage.reading, current.reading);
        let r = self.resistance_ohm;
        // Volts per rad/s at this row, and from its torque, for a first guess and for the weights.
        let of_speed = speed.map(|s| ((v - r * i) / s.reading).max(0.05 * v / s.reading));
        let of_torque = torque.filter(|t| t.reading > 0.0).map(|t| t.reading / i);
        let guess = of_speed.or(of_torque);
        let constant = guess.map(|k| constant_entry(layout, k));
        let (course, apart) = self.warmed(row);
        let warmed_k = self.table.warmed_k.unwrap_or(0.0);
        let mut rise = Vec::new();
        rise.extend(self.temperature.map(|entry| (entry, self.per_kelvin)));
        let by_warming = self.per_kelvin * warmed_k;
        rise.extend(self.warming.map(|entry| (entry, by_warming * course)));
        rise.extend(self.position.map(|entry| (entry, 1.0)));
        let of_temperature = if self.warming.is_some() {
            r * i * by_warming * apart
        } else {
            0.0
        };
        let k = guess.unwrap_or(0.0);
        let volts = [
            voltage.own_sd,
            r * current.own_sd,
            speed.map_or(0.0, |s| k * s.own_sd),
            of_temperature,
            VOLTAGE_SHARE * v,
            // The rotor may stand elsewhere in each row, or in the same place in all of them.
            if held { r * i * self.position_sd } else { 0.0 },
        ];
        let friction_a = match held {
            // Either way up to that (JCGM 100:2008, 4.3.7).
            true => STICTION * self.friction_a / 3f64.sqrt(),
            false => FRICTION_SHARE * self.friction_a,
        };
        let amperes = [
            current.own_sd,
            torque.map_or(0.0, |t| t.own_sd / k.max(f64::MIN_POSITIVE)),
            friction_a,
        ];
        let balance = |of, parts: &[f64]| Balance {
            of,
            held,
            sd: parts.iter().fold(0.0, |sum: f64, part| sum.hypot(*part)),
            voltage,
            current,
            speed,
            torque: torque.filter(|_| constant.is_some()),
            motor: self.motor,
            constant,
            temperature_ratio: self.temperature_ratio,
            rise: rise.clone(),
        };
        let by_voltage = (held || speed.is_some()).then(|| balance(BalanceOf::Voltage, &volts));
        let free = self.table.kind == TableKind::NoLoad;
        let loaded = torque.is_some() && constant.is_some();
        let by_torque = (free || loaded).then(|| balance(BalanceOf::Torque, &amperes));
        by_voltage.into_iter().chain(by_torque).collect()
    }
}
