//! Everything the page shows, as plain data: the template and the scripts of the page take it, and so may any other reader.
//!
//! Numbers are in SI units, as the names tell; arrays of one picture have one entry a point, `null` where there is none.

use serde::Serialize;
use std::collections::BTreeMap;

/// Value of the key `format` in the JSON.
pub const FORMAT: &str = "rundown-report-data/1";

/// The whole report.
#[derive(Clone, Debug, Serialize)]
pub struct Report {
    /// [`FORMAT`].
    pub format: &'static str,
    pub program: String,
    pub version: String,
    pub motor: String,
    /// What was known of the motor before any capture, one phrase each.
    pub facts: Vec<String>,
    /// Level of all intervals.
    pub level: f64,
    pub verdict: Verdict,
    /// The motor's own parameters, then those that the terminals see.
    pub parameters: Vec<ParameterRow>,
    pub warnings: Vec<WarningGroup>,
    /// What the ripple told, doubts or not.
    pub findings: Vec<String>,
    pub captures: Vec<CaptureView>,
    pub ripple: Vec<RippleView>,
    /// Speed over time from the ripple of currents.
    pub motion: Vec<MotionView>,
    pub correlation: Option<Correlation>,
    pub budget: Budget,
    pub operating: Option<Operating>,
    /// What would settle or sharpen the most.
    pub next: Vec<NextStep>,
    pub cautions: Vec<&'static str>,
    pub provenance: Provenance,
}

/// Whether the result may be used.
#[derive(Clone, Debug, Serialize)]
pub struct Verdict {
    pub stands: bool,
    /// A few words, then the sentences.
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
    /// The letter, and what stands below the line after it.
    pub symbol: (String, String),
    /// True for what the terminals see without a speed.
    pub terminal: bool,
    pub status: &'static str,
    pub si: Option<Written>,
    /// In the units of the trade; the same as `si` where the trade writes SI.
    pub trade: Option<Written>,
    /// Half the interval over the value, in per cent.
    pub relative: Option<String>,
    pub bar: Option<Bar>,
    /// Temperature, value at 25 °C, notes.
    pub notes: Vec<String>,
    pub suggestion: Option<String>,
}

/// Places on a logarithmic strip, 0 to 100.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Bar {
    pub value: f64,
    pub lower: f64,
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
    pub about: String,
    pub texts: Vec<String>,
}

/// One capture with model and residuals.
#[derive(Clone, Debug, Serialize)]
pub struct CaptureView {
    pub name: String,
    pub role: &'static str,
    pub file: String,
    pub rows: usize,
    /// For readers who do not see the picture.
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
    pub amplitude: Vec<f64>,
    pub floor: Vec<f64>,
    pub threshold: Vec<f64>,
    pub comb: Vec<Tooth>,
    /// Where the picture begins and ends at first.
    pub view: (f64, f64),
    pub speed_time_s: Vec<f64>,
    pub speed_rad_s: Vec<f64>,
    pub speed_lower_rad_s: Vec<f64>,
    pub speed_upper_rad_s: Vec<f64>,
    pub candidates: Vec<CandidateRow>,
    pub speed_words: String,
}

/// Speed over time from the ripple of one capture's current.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct MotionView {
    pub capture: String,
    pub role: String,
    /// What was found, doubts included.
    pub words: String,
    pub speed_time_s: Vec<f64>,
    pub speed_rad_s: Vec<f64>,
    pub speed_lower_rad_s: Vec<f64>,
    pub speed_upper_rad_s: Vec<f64>,
    /// Speed of the fitted model, (v - R i - V_b)/K, at the same times.
    pub model_rad_s: Vec<f64>,
}

/// A line of the comb.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Tooth {
    pub label: String,
    pub frequency: f64,
    pub amplitude: f64,
}

/// One hypothesis of the segment count.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct CandidateRow {
    pub segments: u32,
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
    /// Sources in the order of their letters.
    pub sources: Vec<BudgetSource>,
    pub rows: Vec<BudgetRow>,
}

/// A source of doubt.
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
    pub segments: Vec<BudgetSegment>,
    pub description: String,
}

/// One part of a stacked bar, in per cent of its width.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct BudgetSegment {
    pub from: f64,
    pub width: f64,
    pub letter: char,
    pub shade: usize,
}

/// What the torque-speed chart is worked out from.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Operating {
    pub terminal_resistance_ohm: f64,
    pub back_emf_constant_v_s_per_rad: f64,
    pub coulomb_friction_nm: f64,
    pub viscous_friction_nm_s_per_rad: f64,
    pub windage_nm_s2_per_rad2: f64,
    pub brush_drop_v: f64,
    /// Scale of V_b·tanh(i/I_b).
    pub brush_scale_a: f64,
    pub armature_reaction_per_a: f64,
    /// Voltage shown first.
    pub voltage_v: f64,
    /// Largest current and speed seen in the captures.
    pub largest_current_a: Option<f64>,
    pub largest_speed_rad_s: Option<f64>,
    pub temperature_c: Option<f64>,
    /// Motors drawn from the covariance: R, K, T_c, B, C_w, V_b in SI units.
    pub draws: Vec<[f64; 6]>,
}

/// What to measure next.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct NextStep {
    pub about: String,
    pub text: String,
}

/// Where all this comes from.
#[derive(Clone, Debug, Serialize)]
pub struct Provenance {
    pub inputs: Vec<InputRow>,
    /// One sentence a line: why the fit stopped, chi-squared, rank.
    pub fit: Vec<String>,
    pub terms: Vec<TermRow>,
    pub nuisances: Vec<NuisanceRow>,
    /// Units of the switch, per quantity: SI text, trade text, SI value of one trade unit.
    pub units: BTreeMap<&'static str, (&'static str, &'static str, f64)>,
}

/// A file that went in.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct InputRow {
    pub path: String,
    pub role: String,
    pub sha256: String,
}

/// A model term weighed by evidence.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct TermRow {
    pub term: String,
    pub decision: &'static str,
    pub evidence: String,
    pub reason: String,
}

/// A quantity of the bench fitted beside the motor.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct NuisanceRow {
    pub name: String,
    pub value: String,
    pub prior: String,
}
