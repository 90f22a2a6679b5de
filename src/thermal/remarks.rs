//! What heat records leave to remark on: each a value, worded here.

use serde::Serialize;

/// The text comes by `Display`, code and numbers by `Serialize`.
#[derive(Clone, Debug, PartialEq, Serialize, thiserror::Error)]
#[serde(tag = "code", rename_all = "kebab-case")]
#[allow(missing_docs, reason = "the text of a variant names its fields")]
#[non_exhaustive]
#[rustfmt::skip]
pub enum HeatRemark {
    #[error("cooling curves alone give no thermal resistance: add the heat run that each follows")]
    CoolingAlone,
    #[error("the heat records are not used: they need the terminal resistance and its temperature (winding_temperature) from the captures")]
    NoResistance,
    #[error("the heat run is not used: its winding hardly warms. Take more current or more time")]
    HardlyWarms,
    #[error("the heat records could not be fitted by two bodies that heat flows through")]
    NotFitted,
    #[error("the heat records give no bounds: their normal equations are singular")]
    NoBounds,
    /// `share`: of the change of the signal.
    #[error("the thermal model misses the {signal} of \"{record}\" by {:.0} % of its change. Usual causes: a rotor that turned, current or cooling that changed, columns or units exchanged, a cooling curve of another run", 100.0 * share)]
    Misfit { record: String, signal: String, share: f64 },
}
