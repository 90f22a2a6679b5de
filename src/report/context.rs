//! Everything the page shows, as plain data: the template and the scripts of the page take it, and so may any other reader.
//!
//! Numbers are in SI units, as the names say; arrays of one picture have one entry a point, `null` where there is none. `words` and `description`
//! are for readers who do not see the picture.

pub use super::operating::Operating;
use super::provenance::Provenance;
use crate::quantity::rounding::significant;
use serde::Serialize;

/// Value of the key `format` in the JSON.
pub const FORMAT: &str = "rundown-report-data/1";

/// The whole report.
#[derive(Clone, Debug, Serialize)]
pub struct Report {
    /// `FORMAT`.
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
    pub stands: bool,
    pub head: &'static str,
    pub text: String,
}

/// A value and its interval as written for the person.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Written {
    pub value: String,
    pub interval: String,
}

/// One parameter.
#[derive(Clone, Debug, Serialize)]
pub struct ParameterRow {
    pub key: &'static str,
    pub words: &'static str,
    /// The letter and its subscript.
    pub symbol: (String, String),
    /// True for what the terminals see without a speed.
    pub terminal: bool,
    pub status: &'static str,
    /// In SI units.
    pub si: Option<Written>,
    /// As on the terminal, in common units.
    pub trade: Option<Written>,
    /// Half the interval over the value, in per cent.
    pub relative: Option<String>,
    /// Length of its bar: on a logarithmic strip from 0.1 % to 100 %, in per cent of the strip.
    pub bar: Option<f64>,
    /// Temperature, value at 25 °C, notes.
    pub notes: Vec<String>,
    pub suggestion: Option<String>,
}

/// Warnings about one thing.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct WarningGroup {
    pub about: String,
    pub texts: Vec<String>,
}

/// What to measure next.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct NextStep {
    pub about: String,
    pub text: String,
}

/// One capture with model and residuals.
#[derive(Clone, Debug, Serialize)]
pub struct CaptureView {
    pub name: String,
    pub role: &'static str,
    pub file: String,
    pub rows: usize,
    pub description: String,
    pub trace: TraceView,
    /// Model of the voltage where it was compared.
    pub voltage_model: Option<ModelCurve>,
    pub current_model: Option<ModelCurve>,
    pub instants: Vec<Instant>,
    pub cuts: Vec<CutView>,
    pub autocorrelation: Vec<Autocorrelation>,
    /// The first milliseconds, for captures that begin with a make.
    pub inset: Option<Inset>,
}

/// A record averaged over bins for display, with the lowest and highest sample of each bin.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct TraceView {
    /// Middle of each bin in s.
    pub time_s: Vec<f64>,
    pub voltage_v: Option<Envelope>,
    pub current_a: Option<Envelope>,
}

/// Mean, lowest and highest sample of each bin.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Envelope {
    pub mean: Vec<f64>,
    pub least: Vec<f64>,
    pub most: Vec<f64>,
}

/// What the model says at the rows that were compared; entries are not-a-number between stretches.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct ModelCurve {
    pub time_s: Vec<f64>,
    pub value: Vec<f64>,
    /// Ends of the interval of the model itself, from the covariance of all that was fitted.
    pub lower: Vec<f64>,
    pub upper: Vec<f64>,
    /// (recorded − model) over the deviation by which the fit weighs the row.
    pub residual: Vec<f64>,
}

/// An event.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Instant {
    pub name: String,
    pub time_s: f64,
    pub words: String,
}

/// A stretch the fit did not use.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct CutView {
    pub reason: String,
    pub from_s: f64,
    pub to_s: f64,
    pub words: String,
}

/// Autocorrelation of the weighted residuals of one channel, lags counted in bins of the fit, from 1.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Autocorrelation {
    /// Voltage or current.
    pub channel: &'static str,
    pub lags: Vec<f64>,
    pub values: Vec<f64>,
    /// 95 % of the values of white residuals lie within.
    pub band: f64,
    pub description: String,
}

/// The beginning of a capture at full resolution, or nearly so.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Inset {
    pub from_s: f64,
    pub to_s: f64,
    pub trace: TraceView,
    pub description: String,
}

/// The ripple of one run-down.
#[derive(Clone, Debug, Serialize)]
pub struct RippleView {
    pub capture: String,
    /// Whether its constant entered the fit.
    pub used: bool,
    pub words: String,
    /// `cycles per revolution`, or `cycles per V·s` where the constant is not known.
    pub axis: &'static str,
    pub frequency: Vec<f64>,
    /// Share of the back-EMF.
    pub amplitude: Vec<f64>,
    pub floor: Vec<f64>,
    pub threshold: Vec<f64>,
    pub comb: Vec<Tooth>,
    /// Where the picture begins and ends at first.
    pub view: (f64, f64),
    #[serde(flatten)]
    pub curve: SpeedCurve,
    pub candidates: Vec<CandidateRow>,
    pub speed_words: String,
}

/// Speed over time with its interval.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct SpeedCurve {
    pub speed_time_s: Vec<f64>,
    pub speed_rad_s: Vec<f64>,
    pub speed_lower_rad_s: Vec<f64>,
    pub speed_upper_rad_s: Vec<f64>,
}

impl SpeedCurve {
    /// Of times, speeds and their standard uncertainties; `z` of these either way are the interval.
    pub fn new(points: &[(f64, f64, f64)], z: f64) -> SpeedCurve {
        let column = |digits, of: &dyn Fn(&(f64, f64, f64)) -> f64| {
            points.iter().map(|p| significant(of(p), digits)).collect()
        };
        SpeedCurve {
            speed_time_s: column(9, &|p| p.0),
            speed_rad_s: column(6, &|p| p.1),
            speed_lower_rad_s: column(6, &|p| p.1 - z * p.2),
            speed_upper_rad_s: column(6, &|p| p.1 + z * p.2),
        }
    }
}

/// Speed over time from the ripple of one capture's current, or from a sensor on the shaft.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct MotionView {
    pub capture: String,
    pub role: String,
    pub words: String,
    #[serde(flatten)]
    pub curve: SpeedCurve,
    pub model_rad_s: Vec<f64>,
}

/// Readings of one quantity of a table beside the fitted motor, in common units.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct TableView {
    pub table: String,
    pub kind: &'static str,
    pub words: String,
    pub x_name: &'static str,
    pub x_unit: &'static str,
    /// Quantity that is compared.
    pub y_name: &'static str,
    pub y_unit: &'static str,
    pub x: Vec<f64>,
    pub read: Vec<f64>,
    pub lower: Vec<f64>,
    pub upper: Vec<f64>,
    /// Of the fitted motor at the other readings of the row.
    pub model: Vec<f64>,
}

/// The thermal model.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct HeatSection {
    /// Symbol, words, value and interval.
    pub rows: Vec<[String; 4]>,
    pub records: Vec<HeatView>,
}

/// Temperatures of both bodies over one heat record, °C.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct HeatView {
    pub record: String,
    pub words: String,
    pub time_s: Vec<f64>,
    /// Winding: model, lower bound, upper bound, by its resistance.
    pub winding_c: [Vec<Option<f64>>; 4],
    /// Housing: the same, by its sensor.
    pub housing_c: [Vec<Option<f64>>; 4],
}

/// A line of the comb.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Tooth {
    pub label: String,
    pub frequency: f64,
    /// Share of the back-EMF.
    pub amplitude: f64,
}

/// One hypothesis of the segment count.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct CandidateRow {
    pub commutator: String,
    pub cycles_per_revolution: u32,
    pub constant: String,
    pub probability: String,
}

/// Correlations of the parameters that have a value.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Correlation {
    pub symbols: Vec<(String, String)>,
    pub words: Vec<&'static str>,
    pub cells: Vec<Vec<CorrelationCell>>,
    pub description: String,
}

/// One cell.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct CorrelationCell {
    pub text: String,
    /// −4 to 4: its shade.
    pub step: i32,
}

/// Shares of each parameter's variance.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Budget {
    pub sources: Vec<BudgetSource>,
    pub rows: Vec<BudgetRow>,
    pub lines: Vec<BudgetTableLine>,
    /// Calibration certificates of all instruments, meters included; empty where none is stated.
    pub certificates: String,
}

/// One line of the table of a budget, as text.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct BudgetTableLine {
    /// Parameter with its combined standard uncertainty; empty on all but the first line of each.
    pub parameter: String,
    pub source: String,
    pub estimate: String,
    pub uncertainty: String,
    pub distribution: &'static str,
    /// Sensitivity, SI units.
    pub sensitivity: String,
    pub contribution: String,
    pub degrees: String,
}

/// A source of uncertainty.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct BudgetSource {
    pub letter: char,
    pub name: String,
    /// 0 to 7: its shade.
    pub shade: usize,
}

/// One parameter's stacked bar.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct BudgetRow {
    pub words: &'static str,
    /// Shares, the largest first.
    pub segments: Vec<BudgetSegment>,
    pub description: String,
}

/// One part of a stacked bar, in per cent of its width.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct BudgetSegment {
    /// Left end in percent.
    pub from: f64,
    pub width: f64,
    pub letter: char,
    pub shade: usize,
}
