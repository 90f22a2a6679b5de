//! Benches on which motor and instruments follow other laws than the estimator's model, each in one respect.

use crate::motor::{ContactLaw, Machine};
use crate::scenario::Scenario;
use crate::scope::ErrorLaw;

/// One law in which a bench departs from the estimator's model.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Departure {
    /// The contact drop rises with the logarithm of the current and has no plateau.
    LogarithmicContact,
    /// The contact drop falls by a fifth from small currents to the stall current.
    FallingContact,
    /// The inductance changes by up to 8 % either way over a turn.
    InductanceOverATurn,
    /// Brushes beside neutral: the stall current takes 3 % off the flux in a start and adds them in a brake.
    BrushesBack,
    /// The same on the other side of neutral.
    BrushesForward,
    /// Half of the variance of an oscilloscope's gain belongs to its single ranges; the sheet states one limit.
    RangeGains,
    /// Errors of instruments are anywhere inside their limits, and stated so.
    RectangularErrors,
    /// Four poles and four brushes.
    FourPoles,
    /// Three segments with a back-EMF ripple of 13.4 % of its mean, that of two coils in series in a uniform field: the ripple of the
    /// current heats the winding.
    ThreeSegments,
}

impl Departure {
    pub const ALL: [Self; 9] = [
        Self::LogarithmicContact,
        Self::FallingContact,
        Self::InductanceOverATurn,
        Self::BrushesBack,
        Self::BrushesForward,
        Self::RangeGains,
        Self::RectangularErrors,
        Self::FourPoles,
        Self::ThreeSegments,
    ];

    pub fn name(self) -> &'static str {
        match self {
            Self::LogarithmicContact => "a logarithmic contact drop",
            Self::FallingContact => "a falling contact drop",
            Self::InductanceOverATurn => "an inductance that varies over a turn",
            Self::BrushesBack => "brushes behind neutral",
            Self::BrushesForward => "brushes ahead of neutral",
            Self::RangeGains => "gains of single ranges",
            Self::RectangularErrors => "rectangular errors",
            Self::FourPoles => "four poles",
            Self::ThreeSegments => "three segments",
        }
    }

    /// `scenario` with this departure, named `label peeler with four poles` and the like.
    pub fn of(self, mut scenario: Scenario) -> Scenario {
        let stall_a = scenario.rig.supply_v
            / (scenario.machine.terminal_resistance_ohm + scenario.rig.source_resistance_ohm);
        scenario.facts.name = format!("{} with {}", scenario.facts.name, self.name());
        let machine = &mut scenario.machine;
        match self {
            Self::LogarithmicContact => {
                machine.contact = ContactLaw::Logarithmic { full_a: stall_a };
                machine.brush_scale_a *= 0.25;
            }
            Self::FallingContact => {
                machine.contact = ContactLaw::Falling {
                    share: 0.25,
                    half_a: 0.25 * stall_a,
                }
            }
            Self::InductanceOverATurn => machine.inductance_variation = 0.08,
            Self::BrushesBack => machine.brush_shift_per_a = 0.03 / stall_a,
            Self::BrushesForward => machine.brush_shift_per_a = -0.03 / stall_a,
            Self::RangeGains => {
                let own = scenario.instruments.vertical_gain_limit * 0.5_f64.sqrt();
                scenario.instruments.vertical_gain_limit = own;
                scenario.instruments.range_gain_limit = own;
            }
            Self::RectangularErrors => scenario.instruments.law = ErrorLaw::Rectangular,
            Self::FourPoles => {
                machine.commutator.poles = 4;
                scenario.facts.poles = Some(4);
            }
            Self::ThreeSegments => {
                commutated_by_three(machine);
                scenario.facts.commutator_segments = Some(3);
            }
        }
        scenario
    }
}

/// Six lobes of a cosine a turn dip by 1 − cos 30° from their tops.
fn commutated_by_three(machine: &mut Machine) {
    machine.commutator.segments = 3;
    machine.commutator.emf_ripple = 0.134;
}
