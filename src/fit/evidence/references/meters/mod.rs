//! Ohmmeter and inductance meter as terms of the least squares.

pub mod shared_meters;

use super::term::Term;
use crate::bench::{BrushKind, Stated};
use crate::fit::unknowns::{Entry, Layout, MeterQuantity, Parameter, ParameterKind, Source};
use crate::fit::wording::RemarkKind;
use crate::motor::temperature::copper_ratio;
use nalgebra::DVector;
use shared_meters::{SharedError, SharedMeters};
use std::f64::consts::TAU;

/// ln of a resistance reading against R and the contact's excess.
#[derive(Clone, Copy, Debug)]
pub struct ResistanceTerm {
    pub ohm: f64,
    pub relative_sd: f64,
    /// R under the meter over R at the captures' temperature.
    pub temperature_ratio: f64,
    /// Standard uncertainty of the winding's temperature under the meter, K.
    pub temperature_sd_k: f64,
    pub resistance: Entry,
    pub excess: Entry,
    /// Error shared with the meter's other readings.
    shared: Option<SharedError>,
}

/// ln of an inductance.
#[derive(Clone, Copy, Debug)]
pub struct InductanceTerm {
    pub henry: f64,
    /// Of the reading against L₀, what all readings share inside.
    pub relative_sd: f64,
    /// Of the reading alone.
    own_sd: f64,
    pub inductance: Entry,
    /// What the meter reads too much, relative: one number for all readings.
    pub excess: Entry,
    /// What the iron screens at the meter's frequency, where that is stated.
    screened: Option<Screened>,
}

/// What an ohmmeter read across the terminals.
pub struct OhmmeterReading<'a> {
    /// Place of this meter's first reading among those of the bench: at its small current the contact shows them all the same excess.
    pub first: usize,
    /// Over rotor positions, leads inside.
    pub readings_ohm: &'a [f64],
    pub leads_ohm: Option<Stated>,
    pub relative_uncertainty: f64,
    pub temperature_c: Option<Stated>,
    pub meter: Option<&'a str>,
    pub meters: &'a SharedMeters,
}

/// Relative spread of the resistance over rotor positions where too few were read to show it (common practice, no source).
const POSITION_SD: f64 = 0.02;

/// Least relative standard uncertainty of an ohmmeter.
const LEAST_RESISTANCE_SD: f64 = 1e-3;

/// How far a meter's small alternating current may see another inductance than a step does, relative, whatever its frequency: iron at
/// small amplitude, rotor position (common practice, no source).
const INDUCTANCE_SD: f64 = 0.1;

/// How far readings at several frequencies may depart from the one screened share of the model, relative, each for itself (common
/// practice, no source).
const BESIDE_THE_LAW_SD: f64 = 0.02;

/// Largest excess of an ohmmeter's reading over R that brushes of a kind make usual, as a share of R (one standard
/// deviation of a half-normal prior): at the meter's small current a carbon contact is far from its plateau. Common practice, no source.
fn contact_excess_share(brushes: Option<BrushKind>) -> f64 {
    match brushes {
        Some(BrushKind::Metal) => 0.01,
        Some(BrushKind::MetalCarbon) => 0.15,
        Some(BrushKind::Carbon) | None => 0.5,
    }
}

impl OhmmeterReading<'_> {
    /// Its term; none without a resistance among the unknowns.
    ///
    /// # Errors
    /// Why it cannot be used.
    pub fn term(
        &self,
        brushes: Option<BrushKind>,
        reference_c: Option<f64>,
        layout: &mut Layout,
    ) -> Result<Option<ResistanceTerm>, RemarkKind> {
        let leads = self.leads_ohm.map_or(0.0, |l| l.value);
        let n = self.readings_ohm.len() as f64;
        let mean = self.readings_ohm.iter().sum::<f64>() / n - leads;
        let Some(resistance) = layout.find(&ParameterKind::LogResistance) else {
            return Ok(None);
        };
        if self.readings_ohm.is_empty() || mean <= 0.0 {
            return Err(RemarkKind::BelowLeads { leads_ohm: leads });
        }
        let temperature_ratio = match (reference_c, self.temperature_c) {
            (Some(reference), Some(t)) => copper_ratio(reference, t.value),
            _ => 1.0,
        };
        let share = contact_excess_share(brushes);
        let excess = Parameter::free(ParameterKind::Reading { index: self.first }, 0.3 * share)
            .with_prior(0.0, share, Source::Meter)
            .within(0.0, 10.0);
        let accuracy = self.relative_uncertainty;
        let (own, shared) =
            self.meters
                .split(layout, MeterQuantity::Resistance, self.meter, accuracy);
        Ok(Some(ResistanceTerm {
            ohm: mean,
            relative_sd: self.relative_sd(mean, leads, own),
            shared,
            temperature_ratio,
            temperature_sd_k: self.temperature_c.map_or(0.0, |t| t.standard_uncertainty),
            resistance,
            excess: layout.add(excess),
        }))
    }

    /// Relative standard uncertainty of the mean: the meter's `own`, that of the leads, and the spread over rotor positions.
    fn relative_sd(&self, mean: f64, leads: f64, own: f64) -> f64 {
        let n = self.readings_ohm.len() as f64;
        let spread = self
            .readings_ohm
            .iter()
            .map(|r| (r - leads - mean).powi(2))
            .sum::<f64>()
            / (n - 1.0).max(1.0);
        let position = if n >= 3.0 {
            spread.sqrt() / mean / n.sqrt()
        } else {
            POSITION_SD / n.sqrt()
        };
        let of_leads = self
            .leads_ohm
            .map_or(0.0, |l| l.standard_uncertainty / mean);
        (own.powi(2) + position.powi(2) + of_leads.powi(2))
            .sqrt()
            .max(LEAST_RESISTANCE_SD)
    }
}

impl ResistanceTerm {
    /// Its residual at `x`; `None` where the log has no argument.
    pub fn evaluate(&self, x: &DVector<f64>) -> Option<Term> {
        let total = 1.0 + x[self.excess];
        (total > 0.0).then(|| {
            let term = Term {
                residual: (x[self.resistance] + (self.temperature_ratio * total).ln()
                    - self.ohm.ln())
                    / self.relative_sd,
                gradient: vec![
                    (self.resistance, 1.0 / self.relative_sd),
                    (self.excess, 1.0 / (total * self.relative_sd)),
                ],
            };
            term.shifted(x, self.shared, self.relative_sd)
        })
    }
}

impl InductanceTerm {
    /// Of a meter's reading at a frequency, where that is stated; none without an inductance among the unknowns. `first`: place of the first
    /// inductance reading of the bench, with which all share their meter's gain.
    pub fn new(
        inductance_h: Stated,
        frequency_hz: Option<f64>,
        first: usize,
        layout: &mut Layout,
    ) -> Option<Self> {
        let relative = inductance_h.standard_uncertainty / inductance_h.value;
        let inductance = layout.find(&ParameterKind::LogInductance)?;
        let screened = frequency_hz.and_then(|hz| Screened::at(layout, hz));
        let kind = ParameterKind::Reading { index: first };
        let shared_sd = relative.hypot(INDUCTANCE_SD);
        let excess = Parameter::free(kind, 0.0)
            .with_prior(0.0, shared_sd, Source::Meter)
            .stepping(0.2);
        Some(InductanceTerm {
            inductance,
            henry: inductance_h.value,
            relative_sd: shared_sd.hypot(BESIDE_THE_LAW_SD),
            own_sd: BESIDE_THE_LAW_SD,
            excess: layout.add(excess),
            screened,
        })
    }

    /// Relative standard deviation of the reading alone.
    pub fn own_sd(&self) -> f64 {
        self.own_sd
    }

    /// Its residual at `x`.
    pub fn evaluate(&self, x: &DVector<f64>) -> Term {
        let (log_left, by_entry) = self
            .screened
            .map_or((0.0, None), |s| s.log_left(x, self.inductance));
        let mut gradient = vec![
            (self.inductance, 1.0 / self.own_sd),
            (self.excess, 1.0 / self.own_sd),
        ];
        let by_entry = by_entry.into_iter().flatten();
        gradient.extend(by_entry.map(|(entry, by)| (entry, by / self.own_sd)));
        let log_ratio = x[self.inductance] + log_left + x[self.excess] - self.henry.ln();
        Term {
            residual: log_ratio / self.own_sd,
            gradient,
        }
    }
}

/// An alternating current of one frequency, by which part of the inductance is screened.
#[derive(Clone, Copy, Debug)]
struct Screened {
    rad_per_s: f64,
    share: Entry,
    log_resistance: Entry,
}

impl Screened {
    fn at(layout: &Layout, hz: f64) -> Option<Self> {
        Some(Screened {
            rad_per_s: TAU * hz,
            share: layout.find(&ParameterKind::EddyShare)?,
            log_resistance: layout.find(&ParameterKind::LogEddyResistance)?,
        })
    }

    /// ln of the inductance that is left, over the whole one, and its derivatives: the share s beside its resistance R_e has the
    /// impedance jωsL R_e/(R_e + jωsL), whose imaginary part over ω is s L/(1 + q²) with q = ωsL/R_e.
    fn log_left(&self, x: &DVector<f64>, inductance: Entry) -> (f64, Option<[(Entry, f64); 3]>) {
        let share = x[self.share];
        let q = self.rad_per_s * share * (x[inductance] - x[self.log_resistance]).exp();
        let kept = 1.0 / (1.0 + q * q);
        let left = 1.0 - share + share * kept;
        // By the logarithm of L; that of R_e turns the sign.
        let by_log = -2.0 * share * (q * kept).powi(2) / left;
        let by_share = (kept - 1.0 - 2.0 * (q * kept).powi(2)) / left;
        let gradient = [
            (inductance, by_log),
            (self.log_resistance, -by_log),
            (self.share, by_share),
        ];
        (left.ln(), Some(gradient))
    }
}
