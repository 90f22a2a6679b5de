//! The relations between entries that a sheet may print.

use crate::claim::entry::Entry;
use crate::claim::sheet::{Sheet, Stall};
use crate::motor::temperature::copper_ratio;
use Entry as E;

/// Left over right side of a relation for the values of its entries.
pub type SideRatio = Box<dyn Fn(&[f64]) -> f64>;

/// A relation that a sheet may print all entries of.
pub struct Candidate {
    pub formula: &'static str,
    pub entries: Vec<Entry>,
    /// Relative disagreement that the relation's own approximations may cause.
    pub allowance: f64,
    /// Left over right side.
    pub ratio: SideRatio,
}

impl Candidate {
    fn new(
        formula: &'static str,
        entries: &[Entry],
        allowance: f64,
        ratio: impl Fn(&[f64]) -> f64 + 'static,
    ) -> Candidate {
        Candidate {
            formula,
            entries: entries.to_vec(),
            allowance,
            ratio: Box::new(ratio),
        }
    }
}

/// All of them for a sheet.
pub fn candidates(sheet: &Sheet) -> Vec<Candidate> {
    let constants = Constants::of(sheet);
    let mut all = constants.equal();
    all.extend(time_constants(&constants));
    all.extend(stall(sheet, &constants));
    all.extend(maxima());
    all.extend(at_the_voltage(sheet, &constants));
    all
}

fn is_printed(sheet: &Sheet, entry: Entry) -> bool {
    let claim = sheet.claims.get(&entry);
    claim.is_some_and(|claim| claim.value.is_some())
}

/// The motor constant in the units in which a sheet prints it.
struct Constants {
    printed: Vec<Entry>,
    /// The one nearest to torque, and the one nearest to speed.
    by_torque: Entry,
    by_speed: Entry,
}

impl Constants {
    fn of(sheet: &Sheet) -> Constants {
        let printed: Vec<Entry> = [E::TorqueConstant, E::BackEmfConstant, E::SpeedConstant]
            .into_iter()
            .filter(|entry| is_printed(sheet, *entry))
            .collect();
        Constants {
            by_torque: printed.first().copied().unwrap_or(E::TorqueConstant),
            by_speed: printed.last().copied().unwrap_or(E::TorqueConstant),
            printed,
        }
    }

    /// One number stated in several units.
    fn equal(&self) -> Vec<Candidate> {
        let pairs = self.printed.iter().enumerate().flat_map(|(place, one)| {
            self.printed[place + 1..]
                .iter()
                .map(move |other| [*one, *other])
        });
        pairs
            .map(|pair| {
                Candidate::new(
                    "torque constant = back-EMF constant = 1/speed constant in SI units",
                    &pair,
                    0.0,
                    |v| v[0] / v[1],
                )
            })
            .collect()
    }
}

fn time_constants(constants: &Constants) -> [Candidate; 2] {
    [
        Candidate::new(
            "electrical time constant = L/R",
            &[
                E::ElectricalTimeConstant,
                E::ArmatureInductance,
                E::TerminalResistance,
            ],
            0.02,
            |v| v[0] / (v[1] / v[2]),
        ),
        Candidate::new(
            "mechanical time constant = J R/K²",
            &[
                E::MechanicalTimeConstant,
                E::RotorInertia,
                E::TerminalResistance,
                constants.by_torque,
            ],
            0.03,
            |v| v[0] / (v[1] * v[2] / (v[3] * v[3])),
        ),
    ]
}

fn stall(sheet: &Sheet, constants: &Constants) -> Vec<Candidate> {
    let k = constants.by_torque;
    let mut candidates = vec![Candidate::new(
        "stall torque = K (stall current - no-load current)",
        &[E::StallTorque, k, E::StallCurrent, E::NoLoadCurrent],
        0.03,
        |v| v[0] / (v[1] * (v[2] - v[3])),
    )];
    if !is_printed(sheet, E::NoLoadCurrent) {
        candidates.push(Candidate::new(
            "stall torque = K · stall current",
            &[E::StallTorque, k, E::StallCurrent],
            0.05,
            |v| v[0] / (v[1] * v[2]),
        ));
    }
    candidates
}

fn maxima() -> [Candidate; 2] {
    [
        Candidate::new(
            "maximum power = stall torque · no-load speed/4",
            &[E::MaximumPower, E::StallTorque, E::NoLoadSpeed],
            0.05,
            |v| v[0] / (0.25 * v[1] * v[2]),
        ),
        Candidate::new(
            "maximum efficiency = (1 - √(no-load current/stall current))²",
            &[E::MaximumEfficiency, E::NoLoadCurrent, E::StallCurrent],
            0.05,
            |v| v[0] / (1.0 - (v[1] / v[2]).sqrt()).powi(2),
        ),
    ]
}

/// Relations that hold at the nominal voltage.
fn at_the_voltage(sheet: &Sheet, constants: &Constants) -> Vec<Candidate> {
    let Some(voltage) = sheet.nominal_voltage_v else {
        return Vec::new();
    };
    let k = constants.by_speed;
    let warmer = match sheet.stall {
        Stall::Extrapolated => 1.0,
        Stall::Measured {
            winding_temperature_c,
        } => copper_ratio(sheet.reference_temperature_c, winding_temperature_c),
    };
    let mut candidates = vec![
        Candidate::new(
            "stall current = nominal voltage/R",
            &[E::StallCurrent, E::TerminalResistance],
            0.05,
            move |v| v[0] * v[1] * warmer / voltage,
        ),
        Candidate::new(
            "K · no-load speed = nominal voltage - R · no-load current",
            &[k, E::NoLoadSpeed, E::TerminalResistance, E::NoLoadCurrent],
            0.05,
            move |v| v[0] * v[1] / (voltage - v[2] * v[3]),
        ),
    ];
    if !(is_printed(sheet, E::TerminalResistance) && is_printed(sheet, E::NoLoadCurrent)) {
        candidates.push(Candidate::new(
            "K · no-load speed = nominal voltage",
            &[k, E::NoLoadSpeed],
            0.1,
            move |v| v[0] * v[1] / voltage,
        ));
    }
    candidates
}
