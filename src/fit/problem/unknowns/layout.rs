//! The vector of fitted parameters: what each entry is, its prior, its bounds and where its uncertainty comes from.

use super::entry::Entry;
use nalgebra::DVector;
use std::ops::Index;

/// What one entry of the parameter vector stands for. Instruments, captures and readings are meant by their index in the bench.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
#[allow(
    missing_docs,
    reason = "the fields are indices, which the variants explain"
)]
pub enum ParameterKind {
    /// ln R, R in Ω.
    LogResistance,
    /// ln L₀, L₀ in H.
    LogInductance,
    /// ln C_m, C_m in F.
    LogCapacitance,
    /// I_c, A.
    FrictionCurrent,
    /// G_v, S.
    ViscousConductance,
    /// W, A/V².
    Windage,
    /// V_b, V.
    BrushDrop,
    /// ln I_b, I_b in A.
    LogBrushScale,
    /// 1/I_s², 1/A²: its square root has no slope at zero, where a fit would stay for ever.
    Saturation,
    /// a, 1/A.
    Reaction,
    /// Screened share of the inductance.
    EddyShare,
    /// ln of the resistance across that share, Ω.
    LogEddyResistance,
    /// ln K, K in V·s/rad.
    LogBackEmfConstant,
    /// Relative gain error of one piece of hardware (and of one vertical channel of it).
    Gain {
        instrument: usize,
        column: Option<String>,
    },
    /// ln of the time constant of a current probe over what its stated bandwidth gives.
    ProbeLag { instrument: usize },
    /// 1/C of the winding, K/J.
    InverseHeatCapacity,
    /// Delay of the current channel against the voltage channel through one piece of hardware, s.
    Skew { instrument: usize },
    /// Zero of the voltage channel in a capture, V.
    VoltageZero { capture: usize },
    /// Part of a channel's zero that all captures on the same range share, V or A.
    RangeZero {
        current: bool,
        column: String,
        range: i64,
    },
    /// Zero of the current channel in a capture, A.
    CurrentZero { capture: usize },
    /// Back-EMF at the beginning of a capture or after a stretch that could not be followed, V.
    InitialEmf { capture: usize, piece: usize },
    /// Current at the beginning of a connected stretch, A.
    InitialCurrent { capture: usize, piece: usize },
    /// Relative departure of the resistance at a held rotor's position from its mean over a turn.
    Position { capture: usize },
    /// Relative departure of the inductance from its mean over a turn, at the position in which the current rises in a capture.
    InductancePosition { capture: usize },
    /// Cosine (even) or sine (odd) of a wave of the relative back-EMF constant over a turn in a capture.
    Unevenness { capture: usize, wave: usize },
    /// Open-circuit voltage of an unrecorded source, as a departure from its stated value, V.
    Source { capture: usize },
    /// ln of the duty of a bridge that coasts, as a departure from the stated one.
    Duty { capture: usize },
    /// Resistance in the loop outside the motor, as a departure from its stated value, Ω.
    Loop { capture: usize },
    /// Drop of a diode inside the measured voltage, as a departure from its stated value, V.
    SeriesDiode { capture: usize },
    /// Relative error of the inertia or torque attached to the shaft in a capture.
    Attached { capture: usize },
    /// A nuisance of one scalar reading.
    Reading { index: usize },
    /// Zero that all readings of one meter share, in its stated standard uncertainties.
    MeterZero {
        quantity: MeterQuantity,
        meter: Option<String>,
    },
    /// What a speed channel has in all captures.
    Shaft { channel: String, of: ShaftUnknown },
    /// Zero of the speed channel in a capture, rad/s.
    ShaftZero { capture: usize },
    /// ln of a scale that one capture has for itself: at zero, but in a check that lets it move there.
    OwnScale,
    /// What all rows of a table of readings share.
    Table { table: usize, of: TableUnknown },
    /// Error that all readings of one meter share, in its stated standard uncertainties.
    MeterError {
        quantity: MeterQuantity,
        meter: Option<String>,
    },
}

impl ParameterKind {
    /// Whether a change by a standard uncertainty bends what the model predicts: the terms whose effect on a transient is not a factor or a sum.
    pub fn bends(&self) -> bool {
        matches!(
            self,
            ParameterKind::LogInductance
                | ParameterKind::LogBrushScale
                | ParameterKind::Saturation
                | ParameterKind::Reaction
                | ParameterKind::EddyShare
                | ParameterKind::LogEddyResistance
                | ParameterKind::ProbeLag { .. }
        )
    }
}

/// What all rows of a table of readings share.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum TableUnknown {
    /// Departure of the winding's temperature from the stated one, K.
    Temperature,
    /// Share of the largest stated warming that the last row has.
    Warming,
    /// Relative departure of the resistance at a held rotor's position from its mean over a turn.
    Position,
}

/// What a speed channel has in all captures.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum ShaftUnknown {
    /// Relative error of a tachogenerator's constant or of a gear.
    Gain,
    /// Departure of the delay from the stated one, s.
    Delay,
}

/// What a meter reads.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum MeterQuantity {
    /// A resistance.
    Resistance,
    /// A voltage.
    Voltage,
    /// A current.
    Current,
    /// A speed.
    Speed,
    /// A torque.
    Torque,
}

impl MeterQuantity {
    /// As messages name it.
    pub fn name(self) -> &'static str {
        match self {
            MeterQuantity::Resistance => "resistance",
            MeterQuantity::Voltage => "voltage",
            MeterQuantity::Current => "current",
            MeterQuantity::Speed => "speed",
            MeterQuantity::Torque => "torque",
        }
    }
}

/// Where an uncertainty comes from, for the budget.
#[derive(Clone, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Source {
    /// What is estimated from the captures; its share is the noise's.
    Noise,
    /// Gain of the named instrument.
    Instrument(String),
    /// Bandwidth and delay of the named instrument.
    Lag(String),
    /// Zero of a channel.
    Zero,
    /// Resistance and inductance against rotor position.
    Position,
    /// Temperature.
    Temperature,
    /// Source and switch resistance.
    Loop,
    /// The oscilloscope's clock.
    Clock,
    /// A speed, an added inertia or a load torque.
    SpeedReference,
    /// Ohmmeter, inductance meter.
    Meter,
    /// Terms of the model that the captures hardly determine and a stated prior limits.
    Model,
    /// The size that a first guess gives what no capture shows.
    Size,
}

impl Source {
    /// Name in tables and files.
    pub fn label(&self) -> String {
        match self {
            Source::Noise => "noise and ripple".into(),
            Source::Instrument(name) => format!("gain of {name}"),
            Source::Lag(name) => format!("bandwidth and delay of {name}"),
            Source::Zero => "zero of a channel".into(),
            Source::Position => "rotor position".into(),
            Source::Temperature => "temperature".into(),
            Source::Loop => "source and switch".into(),
            Source::Clock => "time base".into(),
            Source::SpeedReference => "speed reference".into(),
            Source::Meter => "meter readings".into(),
            Source::Model => "model terms".into(),
            Source::Size => "first guess of the size".into(),
        }
    }
}

/// One entry of the parameter vector.
#[derive(Clone, Debug)]
pub struct Parameter {
    pub kind: ParameterKind,
    pub start: f64,
    /// Mean and standard deviation of a Gaussian prior.
    pub prior: Option<(f64, f64)>,
    pub lower: f64,
    pub upper: f64,
    /// Largest change in one trial of the solver.
    pub step_limit: f64,
    pub source: Source,
}

impl Parameter {
    /// A parameter without prior or bounds.
    pub fn free(kind: ParameterKind, start: f64) -> Self {
        Parameter {
            kind,
            start,
            prior: None,
            lower: f64::NEG_INFINITY,
            upper: f64::INFINITY,
            step_limit: f64::INFINITY,
            source: Source::Noise,
        }
    }

    /// Adds a prior and says where it comes from.
    pub fn with_prior(mut self, mean: f64, sd: f64, source: Source) -> Self {
        self.prior = Some((mean, sd));
        self.source = source;
        self
    }

    /// Adds bounds.
    pub fn within(mut self, lower: f64, upper: f64) -> Self {
        self.lower = lower;
        self.upper = upper;
        self
    }

    /// Limits the solver's step.
    pub fn stepping(mut self, limit: f64) -> Self {
        self.step_limit = limit;
        self
    }
}

/// The whole vector.
#[derive(Clone, Debug, Default)]
pub struct Layout {
    /// By entry.
    pub parameters: Vec<Parameter>,
}

impl Layout {
    /// Adds a parameter and returns its entry; a kind already there is returned as it stands.
    pub fn add(&mut self, parameter: Parameter) -> Entry {
        match self.find(&parameter.kind) {
            Some(entry) => entry,
            None => {
                self.parameters.push(parameter);
                Entry::new(self.parameters.len() - 1)
            }
        }
    }

    /// Entry of a kind.
    pub fn find(&self, kind: &ParameterKind) -> Option<Entry> {
        let place = self.parameters.iter().position(|p| &p.kind == kind);
        place.map(Entry::new)
    }

    /// Every entry with what it is.
    pub fn entries(&self) -> impl Iterator<Item = (Entry, &Parameter)> {
        let parameters = self.parameters.iter().enumerate();
        parameters.map(|(k, parameter)| (Entry::new(k), parameter))
    }

    /// Number of parameters.
    pub fn len(&self) -> usize {
        self.parameters.len()
    }

    /// True without parameters.
    pub fn is_empty(&self) -> bool {
        self.parameters.is_empty()
    }

    /// Starting point.
    pub fn start(&self) -> DVector<f64> {
        DVector::from_iterator(self.len(), self.parameters.iter().map(|p| p.start))
    }

    /// One of the vectors that the solver asks for.
    pub fn vector(&self, of: impl Fn(&Parameter) -> f64) -> DVector<f64> {
        DVector::from_iterator(self.len(), self.parameters.iter().map(of))
    }
}

impl Index<Entry> for Layout {
    type Output = Parameter;

    fn index(&self, entry: Entry) -> &Parameter {
        &self.parameters[entry.index()]
    }
}
