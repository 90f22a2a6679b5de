//! A capture as it is to be read.

use crate::bench::by_hand::ByHand;
use crate::bench::channels::{ChannelPlan, SpeedPlan};
use crate::bench::error::Place;
use crate::bench::setup::{Role, Stated};
use crate::capture::ReadOptions;
use std::path::{Path, PathBuf};

/// A capture with every name looked up, its file not yet opened.
#[derive(Clone, Debug)]
pub struct CapturePlan {
    pub name: String,
    /// Where the sheet names the file; absent for a quick run.
    pub place: Option<Place>,
    pub path: PathBuf,
    /// Further files of the same event, with the other channels.
    pub further: Vec<PathBuf>,
    pub role: Role,
    pub voltage: Option<ChannelPlan>,
    pub current: Option<ChannelPlan>,
    /// Speed channels that its file may hold.
    pub speed: Vec<SpeedPlan>,
    pub winding_temperature_c: Option<Stated>,
    /// Drop of a diode inside the measured voltage, V.
    pub series_diode_v: Option<Stated>,
    pub loop_resistance_ohm: Option<Stated>,
    pub source_v: Option<Stated>,
    pub added_inertia_kg_m2: Option<Stated>,
    pub load_torque_nm: Option<Stated>,
    pub driven_speed_rad_s: Option<Stated>,
    pub by_hand: ByHand,
    pub import: ReadOptions,
}

/// File name without its extensions, e.g. `steady.csv.gz` gives `steady`.
pub fn stem(file: &str) -> String {
    let name = Path::new(file)
        .file_name()
        .map_or_else(|| file.to_string(), |n| n.to_string_lossy().into_owned());
    let name = name.strip_suffix(".gz").unwrap_or(&name);
    match name.rsplit_once('.') {
        Some((stem, _)) if !stem.is_empty() => stem.to_string(),
        _ => name.to_string(),
    }
}

/// A warning that names the captures without a winding temperature.
pub fn temperature_missing(plans: &[CapturePlan]) -> Option<String> {
    let without: Vec<&str> = plans
        .iter()
        .filter(|p| p.winding_temperature_c.is_none())
        .map(|p| p.name.as_str())
        .collect();
    (!without.is_empty()).then(|| {
        format!(
            "no winding temperature for {}: copper changes by 0.39 % a kelvin, so 10 K that nobody noted are 3.9 % of R, and nothing can be brought to 25 °C. State winding_temperature = {{ c = …, limit_k = … }}",
            without.join(", ")
        )
    })
}
