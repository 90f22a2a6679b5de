//! Everything that was read beside the captures, as terms of the same least squares.

use super::group::Group;
use super::meters::{InductanceTerm, ResistanceTerm};
use super::shaft::ShaftTerm;
use super::speeds::{BackEmfTerm, ConstantTerm, SpeedOnVoltageTerm, SpeedTerm};
use super::tables::RowTerm;
use super::term::Term;
use crate::fit::model::{CaptureModel, Number, Prediction};
use crate::fit::unknowns::Source;
use crate::quantity::rounding::significant;
use nalgebra::DVector;

/// A reading prepared for the fit.
#[derive(Clone, Debug)]
pub enum ReadingTerm {
    Resistance(ResistanceTerm),
    Inductance(InductanceTerm),
    Speed(SpeedTerm),
    SpeedOnVoltage(SpeedOnVoltageTerm),
    BackEmf(BackEmfTerm),
    Constant(ConstantTerm),
    Row(RowTerm),
    Shaft(ShaftTerm),
}

impl ReadingTerm {
    /// The residual at `x`, given every capture's prediction; `None` where a log has no argument.
    pub(crate) fn evaluate<S: Number>(
        &self,
        x: &DVector<f64>,
        predictions: &[Prediction<S>],
    ) -> Option<Term> {
        match self {
            ReadingTerm::Resistance(term) => term.evaluate(x),
            ReadingTerm::Inductance(term) => Some(term.evaluate(x)),
            ReadingTerm::Speed(term) => term.evaluate(x, predictions),
            ReadingTerm::SpeedOnVoltage(term) => term.evaluate(x),
            ReadingTerm::BackEmf(term) => Some(term.evaluate(x)),
            ReadingTerm::Constant(term) => Some(term.evaluate(x)),
            ReadingTerm::Row(term) => term.evaluate(x),
            ReadingTerm::Shaft(term) => Some(term.evaluate(x, predictions)),
        }
    }

    /// The group with which it stands or falls; none of a reading that is an item of evidence by itself.
    pub(crate) fn group(&self) -> Option<Group> {
        match self {
            ReadingTerm::Row(term) => Some(Group::Table(term.table)),
            ReadingTerm::Shaft(term) => Some(Group::Shaft(term.model)),
            _ => None,
        }
    }

    /// Where this reading's uncertainty is booked.
    pub fn source(&self) -> Source {
        match self {
            ReadingTerm::Resistance(_) | ReadingTerm::Inductance(_) | ReadingTerm::Row(_) => {
                Source::Meter
            }
            ReadingTerm::Speed(_)
            | ReadingTerm::SpeedOnVoltage(_)
            | ReadingTerm::BackEmf(_)
            | ReadingTerm::Constant(_)
            | ReadingTerm::Shaft(_) => Source::SpeedReference,
        }
    }

    /// Relative standard uncertainty of what was read.
    pub(crate) fn relative_sd(&self) -> f64 {
        match self {
            ReadingTerm::Resistance(term) => term.relative_sd,
            ReadingTerm::Inductance(term) => term.relative_sd,
            ReadingTerm::Speed(term) => term.relative_sd,
            ReadingTerm::SpeedOnVoltage(term) => term.relative_sd,
            ReadingTerm::BackEmf(term) => term.relative_sd,
            ReadingTerm::Constant(term) => term.relative_sd,
            ReadingTerm::Row(_) => 1.0,
            ReadingTerm::Shaft(term) => term.relative_sd(),
        }
    }

    /// As messages name it.
    pub(crate) fn describe(&self, models: &[CaptureModel]) -> String {
        let name = |model: usize| &models[model].name;
        match self {
            ReadingTerm::Resistance(_) => "the ohmmeter".into(),
            ReadingTerm::Inductance(_) => "the inductance meter".into(),
            ReadingTerm::Speed(term) if term.probe.is_some() => {
                format!("the ripple of the current of {}", name(term.model))
            }
            ReadingTerm::Speed(_) | ReadingTerm::SpeedOnVoltage(_) => "the tachometer".into(),
            ReadingTerm::BackEmf(_) => "the driven back-EMF".into(),
            ReadingTerm::Constant(term) if term.cycles_per_revolution.is_some() => {
                format!("the commutation ripple of {}", name(term.model))
            }
            ReadingTerm::Constant(term) => format!("the driven record {}", name(term.model)),
            ReadingTerm::Row(term) => format!("the table {}", term.name),
            ReadingTerm::Shaft(term) => {
                format!("the channel {} of {}", term.name, name(term.model))
            }
        }
    }

    /// As a table names it.
    pub(crate) fn item(&self, models: &[CaptureModel]) -> String {
        let name = |model: usize| models.get(model).map_or("", |m| &m.name);
        match self {
            ReadingTerm::Resistance(_) => "ohmmeter".into(),
            ReadingTerm::Inductance(_) => "inductance meter".into(),
            ReadingTerm::Speed(term) if term.probe.is_some() => {
                format!("ripple of current ({})", name(term.model))
            }
            ReadingTerm::Speed(term) => format!("tachometer ({})", name(term.model)),
            ReadingTerm::SpeedOnVoltage(term) => {
                let volts = significant(term.on.voltage_v, 4);
                format!("tachometer at {volts} V")
            }
            ReadingTerm::BackEmf(_) => "driven back-EMF".into(),
            ReadingTerm::Constant(term) if term.cycles_per_revolution.is_some() => {
                format!("ripple ({})", name(term.model))
            }
            ReadingTerm::Constant(term) => format!("driven record ({})", name(term.model)),
            ReadingTerm::Row(term) => format!("table {}", term.name),
            ReadingTerm::Shaft(term) => format!("{} ({})", term.name, name(term.model)),
        }
    }

    /// What was read, in SI units, what makes a residual of it, and the UCUM code: the model has `value · exp(± residual · relative_sd)`, where the
    /// sign is that of the residual's model less reading.
    pub(crate) fn value(&self) -> (f64, f64, &'static str) {
        match self {
            ReadingTerm::Resistance(term) => (term.ohm, 1.0, "Ohm"),
            ReadingTerm::Inductance(term) => (term.henry, 1.0, "H"),
            // Its residual is the reading less the model.
            ReadingTerm::Speed(term) => (term.rad_s, -1.0, "rad/s"),
            ReadingTerm::SpeedOnVoltage(term) => (term.rad_s, -1.0, "rad/s"),
            ReadingTerm::BackEmf(term) => (term.v_s_per_rad, 1.0, "V.s/rad"),
            ReadingTerm::Constant(term) => (term.v_s_per_rad, 1.0, "V.s/rad"),
            ReadingTerm::Row(_) => (0.0, 1.0, "1"),
            ReadingTerm::Shaft(term) => (term.turned_rad, -1.0, "rad"),
        }
    }

    /// Whether the oscilloscope's clock gave the speed: ripple does, which makes K longer as the clock is slower.
    pub(crate) fn goes_by_the_clock(&self) -> bool {
        match self {
            ReadingTerm::Speed(term) => term.probe.is_some(),
            ReadingTerm::Constant(term) => term.cycles_per_revolution.is_some(),
            ReadingTerm::Shaft(term) => term.by_clock && term.turned_rad != 0.0,
            _ => false,
        }
    }

    /// Whether a tachometer showed the speed.
    pub(crate) fn is_tachometer(&self) -> bool {
        match self {
            ReadingTerm::Speed(term) => term.probe.is_none(),
            ReadingTerm::SpeedOnVoltage(_) => true,
            _ => false,
        }
    }
}
