//! Lines that are not ripple, by what they are stationary in.

/// Where a line is stationary.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum LineKind {
    /// In time: mains hum, switching-supply ripple.
    Time,
    /// In converter code: the sawtooth of quantisation.
    Code,
    /// Sharp in angle and in time alike, as when the speed hardly changes: not taken for speed.
    Undecided,
}

/// A line found that is not ripple, reported and removed.
#[derive(Clone, Debug, PartialEq, serde::Serialize)]
#[non_exhaustive]
pub struct ForeignLine {
    /// What the line is stationary in.
    pub kind: LineKind,
    /// Hz for lines in time and undecided ones; cycles per code step for code lines.
    pub frequency: f64,
    /// In the unit of the data.
    pub amplitude: f64,
    /// Power over the mean power of noise at that place.
    pub signal_to_noise: f64,
}
