//! Each capture: record, model, residuals, ripple, speed over time.

use serde::Serialize;

/// One capture with model and residuals.
#[derive(Clone, Debug, Serialize)]
pub struct CaptureView {
    /// Name.
    pub name: String,
    /// What it shows.
    pub role: &'static str,
    /// File name.
    pub file: String,
    /// Rows of the record.
    pub rows: usize,
    /// For readers who do not see the picture.
    pub description: String,
    /// The record.
    pub trace: TraceView,
    /// Model of the voltage where it was compared.
    pub voltage_model: Option<ModelCurve>,
    /// The model's current.
    pub current_model: Option<ModelCurve>,
    /// Events.
    pub instants: Vec<Instant>,
    /// Stretches left out.
    pub cuts: Vec<CutView>,
    /// Autocorrelation of the residuals.
    pub autocorrelation: Vec<Autocorrelation>,
    /// The first milliseconds, for captures that begin with a make.
    pub inset: Option<Inset>,
}

/// A record averaged over bins for display, with the lowest and highest sample of each bin.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct TraceView {
    /// Middle of each bin in s.
    pub time_s: Vec<f64>,
    /// Voltage in V.
    pub voltage_v: Option<Envelope>,
    /// Current in A.
    pub current_a: Option<Envelope>,
}

/// Mean, lowest and highest sample of each bin.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Envelope {
    /// Mean of each bin.
    pub mean: Vec<f64>,
    /// Least sample of each bin.
    pub least: Vec<f64>,
    /// Greatest sample of each bin.
    pub most: Vec<f64>,
}

/// What the model says at the rows that were compared; entries are not-a-number between stretches.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct ModelCurve {
    /// Time in s.
    pub time_s: Vec<f64>,
    /// Value of the model.
    pub value: Vec<f64>,
    /// Ends of the interval of the model itself, from the covariance of all that was fitted.
    pub lower: Vec<f64>,
    /// Upper bound of the model.
    pub upper: Vec<f64>,
    /// (recorded − model) over the deviation by which the fit weighs the row.
    pub residual: Vec<f64>,
}

/// An event.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Instant {
    /// Kind of event.
    pub name: String,
    /// Time in s.
    pub time_s: f64,
    /// The event in words.
    pub words: String,
}

/// A stretch the fit did not use.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct CutView {
    /// Why it was left out.
    pub reason: String,
    /// Beginning in s.
    pub from_s: f64,
    /// End in s.
    pub to_s: f64,
    /// The stretch in words.
    pub words: String,
}

/// Autocorrelation of the weighted residuals of one channel, lags counted in bins of the fit, from 1.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Autocorrelation {
    /// Voltage or current.
    pub channel: &'static str,
    /// Lags in rows.
    pub lags: Vec<f64>,
    /// Autocorrelation at each lag.
    pub values: Vec<f64>,
    /// 95 % of the values of white residuals lie within.
    pub band: f64,
    /// The same in words.
    pub description: String,
}

/// The beginning of a capture at full resolution, or nearly so.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Inset {
    /// Beginning in s.
    pub from_s: f64,
    /// End in s.
    pub to_s: f64,
    /// The record.
    pub trace: TraceView,
    /// The same in words.
    pub description: String,
}

/// The ripple of one run-down.
#[derive(Clone, Debug, Serialize)]
pub struct RippleView {
    /// Name of the capture.
    pub capture: String,
    /// Whether its constant entered the fit.
    pub used: bool,
    /// The strongest line in words.
    pub words: String,
    /// `cycles per revolution`, or `cycles per V·s` where the constant is not known.
    pub axis: &'static str,
    /// Frequency.
    pub frequency: Vec<f64>,
    /// Share of the back-EMF.
    pub amplitude: Vec<f64>,
    /// Floor of noise.
    pub floor: Vec<f64>,
    /// Threshold of detection.
    pub threshold: Vec<f64>,
    /// Lines of the harmonic pattern.
    pub comb: Vec<Tooth>,
    /// Where the picture begins and ends at first.
    pub view: (f64, f64),
    /// Time in s.
    pub speed_time_s: Vec<f64>,
    /// Speed in rad/s.
    pub speed_rad_s: Vec<f64>,
    /// Lower bound in rad/s.
    pub speed_lower_rad_s: Vec<f64>,
    /// Upper bound in rad/s.
    pub speed_upper_rad_s: Vec<f64>,
    /// Segment counts and their probability.
    pub candidates: Vec<CandidateRow>,
    /// The speed in words.
    pub speed_words: String,
}

/// Speed over time from the ripple of one capture's current, or from a sensor on the shaft.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct MotionView {
    /// Name of the capture.
    pub capture: String,
    /// Start, steady running or brake.
    pub role: String,
    /// What was found, warnings included.
    pub words: String,
    /// Time in s.
    pub speed_time_s: Vec<f64>,
    /// Speed in rad/s.
    pub speed_rad_s: Vec<f64>,
    /// Lower bound in rad/s.
    pub speed_lower_rad_s: Vec<f64>,
    /// Upper bound in rad/s.
    pub speed_upper_rad_s: Vec<f64>,
    /// Speed of the fitted model, (v - R i - V_b)/K, at the same times.
    pub model_rad_s: Vec<f64>,
}

/// Readings of one quantity of a table beside the fitted motor, in common units.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct TableView {
    /// Name of the table.
    pub table: String,
    /// Kind of the table.
    pub kind: &'static str,
    /// What is seen, one sentence.
    pub words: String,
    /// Quantity of the x axis.
    pub x_name: &'static str,
    /// Its unit.
    pub x_unit: &'static str,
    /// Quantity that is compared.
    pub y_name: &'static str,
    /// Its unit.
    pub y_unit: &'static str,
    /// In ascending order.
    pub x: Vec<f64>,
    /// As read.
    pub read: Vec<f64>,
    /// Lower bound of the reading.
    pub lower: Vec<f64>,
    /// Upper bound of the reading.
    pub upper: Vec<f64>,
    /// Of the fitted motor at the other readings of the row.
    pub model: Vec<f64>,
}

/// The thermal model.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct HeatSection {
    /// Symbol, words, value and interval.
    pub rows: Vec<[String; 4]>,
    /// Temperatures over each heat record.
    pub records: Vec<HeatView>,
}

/// Temperatures of both bodies over one heat record, °C.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct HeatView {
    /// Name of the record.
    pub record: String,
    /// What it shows.
    pub words: String,
    /// Time in s.
    pub time_s: Vec<f64>,
    /// Winding: model, lower bound, upper bound, by its resistance.
    pub winding_c: [Vec<Option<f64>>; 4],
    /// Housing: the same, by its sensor.
    pub housing_c: [Vec<Option<f64>>; 4],
}

/// A line of the comb.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Tooth {
    /// Order of the harmonic.
    pub label: String,
    /// Frequency.
    pub frequency: f64,
    /// Share of the back-EMF.
    pub amplitude: f64,
}

/// One hypothesis of the segment count.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct CandidateRow {
    /// Segments, poles and brushes.
    pub commutator: String,
    /// Ripple cycles a revolution.
    pub cycles_per_revolution: u32,
    /// Back-EMF constant that follows.
    pub constant: String,
    /// Probability.
    pub probability: String,
}
