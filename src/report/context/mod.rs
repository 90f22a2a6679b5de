//! Everything the page shows, as plain data: the template and the scripts of the page take it, and so may any other reader.
//!
//! Numbers are in SI units, as the names say; arrays of one picture have one entry a point, `null` where there is none.

mod captures;
mod provenance;
mod uncertainty;

pub use captures::{
    Autocorrelation, CandidateRow, CaptureView, CutView, Envelope, HeatSection, HeatView, Inset,
    Instant, ModelCurve, MotionView, RippleView, TableView, Tooth, TraceView,
};
pub use provenance::{InputRow, NuisanceRow, Provenance, TermRow};
pub use uncertainty::{
    Budget, BudgetRow, BudgetSegment, BudgetSource, BudgetTableLine, Correlation, CorrelationCell,
};

pub use super::operating::Operating;
use serde::Serialize;

/// Value of the key `format` in the JSON.
pub const FORMAT: &str = "rundown-report-data/1";

/// The whole report.
#[derive(Clone, Debug, Serialize)]
pub struct Report {
    /// [`FORMAT`].
    pub format: &'static str,
    /// Program that made the report.
    pub program: String,
    /// Its version.
    pub version: String,
    /// The motor's name.
    pub motor: String,
    /// What was known of the motor before any capture, one phrase each.
    pub facts: Vec<String>,
    /// Level of all intervals.
    pub level: f64,
    /// Whether the fit can be trusted.
    pub verdict: Verdict,
    /// The motor's own parameters, then those that the terminals see.
    pub parameters: Vec<ParameterRow>,
    /// Each item of evidence: its name, stated value, the model's, whether they agree.
    pub evidence: Vec<[String; 4]>,
    /// Warnings by subject.
    pub warnings: Vec<WarningGroup>,
    /// What the ripple showed.
    pub findings: Vec<String>,
    /// Each capture.
    pub captures: Vec<CaptureView>,
    /// The ripple of run-downs.
    pub ripple: Vec<RippleView>,
    /// Speed over time from the ripple of currents.
    pub motion: Vec<MotionView>,
    /// Speed over time by sensors on the shaft.
    pub shaft: Vec<MotionView>,
    /// Tables of readings.
    pub tables: Vec<TableView>,
    /// Thermal model; absent without one.
    pub heat: Option<HeatSection>,
    /// Correlation of the parameters.
    pub correlation: Option<Correlation>,
    /// Where the uncertainties come from.
    pub budget: Budget,
    /// Torque, speed and current.
    pub operating: Option<Operating>,
    /// What would settle or sharpen the most.
    pub next: Vec<NextStep>,
    /// Dangers.
    pub cautions: Vec<&'static str>,
    /// Inputs and model.
    pub provenance: Provenance,
}

/// Whether the result may be used.
#[derive(Clone, Debug, Serialize)]
pub struct Verdict {
    /// True when nothing contradicts the values.
    pub stands: bool,
    /// A few words, then the sentences.
    pub head: &'static str,
    /// The verdict in sentences.
    pub text: String,
}

/// A value and its interval as written for the person.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Written {
    /// Value and standard uncertainty.
    pub value: String,
    /// The interval.
    pub interval: String,
}

/// One parameter.
#[derive(Clone, Debug, Serialize)]
pub struct ParameterRow {
    /// Key in the motor file.
    pub key: &'static str,
    /// Name.
    pub words: &'static str,
    /// The letter and its subscript.
    pub symbol: (String, String),
    /// True for what the terminals see without a speed.
    pub terminal: bool,
    /// Where the value comes from.
    pub status: &'static str,
    /// In SI units.
    pub si: Option<Written>,
    /// In common units; the same as `si` where SI is common.
    pub trade: Option<Written>,
    /// Half the interval over the value, in per cent.
    pub relative: Option<String>,
    /// Its place on the strip.
    pub bar: Option<Bar>,
    /// Temperature, value at 25 °C, notes.
    pub notes: Vec<String>,
    /// The measurement that would help most.
    pub suggestion: Option<String>,
}

/// Places on a logarithmic strip, 0 to 100.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Bar {
    /// Place of the value in percent of the strip.
    pub value: f64,
    /// Place of the lower bound.
    pub lower: f64,
    /// Width of the interval.
    pub width: f64,
    /// Ends of the usual range.
    pub usual: (f64, f64),
    /// One a power of ten.
    pub ticks: Vec<f64>,
    /// The usual range in words.
    pub usual_words: String,
    /// Where the value lies outside the strip: `below` or `above`.
    pub outside: Option<&'static str>,
}

/// Warnings about one thing.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct WarningGroup {
    /// Capture or reading.
    pub about: String,
    /// The warnings.
    pub texts: Vec<String>,
}

/// What to measure next.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct NextStep {
    /// Parameters that it settles.
    pub about: String,
    /// What to measure.
    pub text: String,
}
