//! The thermal model of a motor file: two bodies, winding and housing, see [`crate::motor::thermal`].

use super::{Parameter, Status};
use crate::motor::thermal::ThermalNetwork;
use crate::quantity::rounding::{self, Scale};
use nalgebra::{Matrix4, Vector4};
use rand::SeedableRng;
use rand::rngs::StdRng;
use rand_distr::{Distribution, StandardNormal};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::fmt::Write;

/// What is reported of the thermal network, in the order of its table.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ThermalName {
    /// R_th1.
    WindingToHousingResistance,
    /// C_th1.
    WindingHeatCapacity,
    /// R_th2.
    HousingToAmbientResistance,
    /// C_th2.
    HousingHeatCapacity,
    /// R_th1 + R_th2.
    WindingToAmbientResistance,
    /// R_th1 C_th1.
    WindingTimeConstant,
    /// R_th2 C_th2.
    HousingTimeConstant,
}

/// Key in the motor file, symbol, words of a table and UCUM code, in the order of [`ThermalName`].
#[rustfmt::skip]
const ROWS: [(ThermalName, [&str; 4]); 7] = {
    use ThermalName::*;
    [
        (WindingToHousingResistance, ["winding_to_housing_resistance", "R_th1", "winding to housing", "K/W"]),
        (WindingHeatCapacity, ["winding_heat_capacity", "C_th1", "winding heat capacity", "J/K"]),
        (HousingToAmbientResistance, ["housing_to_ambient_resistance", "R_th2", "housing to ambient", "K/W"]),
        (HousingHeatCapacity, ["housing_heat_capacity", "C_th2", "housing heat capacity", "J/K"]),
        (WindingToAmbientResistance, ["winding_to_ambient_resistance", "R_th", "winding to ambient", "K/W"]),
        (WindingTimeConstant, ["winding_time_constant", "tau_th1", "winding time constant", "s"]),
        (HousingTimeConstant, ["housing_time_constant", "tau_th2", "housing time constant", "s"]),
    ]
};

impl ThermalName {
    /// The four constants of the network, in the order of [`Thermal::log_covariance`].
    pub const NETWORK: [ThermalName; 4] = [ROWS[0].0, ROWS[1].0, ROWS[2].0, ROWS[3].0];

    /// Every quantity.
    pub fn all() -> impl Iterator<Item = ThermalName> {
        ROWS.iter().map(|row| row.0)
    }

    fn row(self) -> [&'static str; 4] {
        ROWS[self as usize].1
    }

    /// The key in the motor file.
    pub fn key(self) -> &'static str {
        self.row()[0]
    }

    /// Symbol and words of a table.
    pub fn label(self) -> [&'static str; 2] {
        [self.row()[1], self.row()[2]]
    }

    /// UCUM code of the SI unit.
    pub fn ucum(self) -> &'static str {
        self.row()[3]
    }
}

/// The thermal model.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Thermal {
    /// Each quantity; undetermined ones have no value.
    pub parameters: BTreeMap<ThermalName, Parameter>,
    /// Logarithms of the four constants of the network at the estimate.
    pub log_values: [f64; 4],
    /// Covariance of these logarithms.
    pub log_covariance: [[f64; 4]; 4],
    /// Temperature of the room in the heat records, °C.
    pub ambient_c: f64,
    /// Hottest winding in them, °C.
    pub hottest_winding_c: f64,
}

impl Thermal {
    /// The network of these logarithms of its constants, in the order of [`ThermalName::NETWORK`].
    pub fn network(log_values: [f64; 4]) -> ThermalNetwork {
        let [r1, c1, r2, c2] = log_values.map(f64::exp);
        ThermalNetwork {
            winding_to_housing_k_per_w: r1,
            winding_j_per_k: c1,
            housing_to_ambient_k_per_w: r2,
            housing_j_per_k: c2,
        }
    }

    /// Whether all four constants of the network have a value.
    pub fn is_complete(&self) -> bool {
        let known = |name: &ThermalName| {
            let parameter = self.parameters.get(name);
            parameter.is_some_and(|parameter| parameter.value.is_some())
        };
        ThermalName::NETWORK.iter().all(known)
    }

    /// Networks drawn from the normal distribution of the logarithms, without end; the same seed gives the same.
    pub fn draws(&self, seed: u64) -> impl Iterator<Item = ThermalNetwork> + use<> {
        let center = Vector4::from(self.log_values);
        let covariance = Matrix4::from_fn(|a, b| self.log_covariance[a][b]);
        // Eigenvectors, since rounding may leave a variance of nothing a little below zero.
        let parts = covariance.symmetric_eigen();
        let root = parts.eigenvectors
            * Matrix4::from_diagonal(&parts.eigenvalues.map(|value| value.max(0.0).sqrt()));
        let mut random = StdRng::seed_from_u64(seed);
        std::iter::repeat_with(move || {
            let normal = Vector4::from_fn(|_, _| StandardNormal.sample(&mut random));
            let moved: [f64; 4] = (center + root * normal).into();
            Thermal::network(moved)
        })
    }

    /// A line a quantity under a heading. Ends in a line feed.
    pub fn words(&self) -> String {
        let mut text = format!(
            "thermal model, room {:.0} °C, winding up to {:.0} °C:\n",
            self.ambient_c, self.hottest_winding_c
        );
        for (name, parameter) in &self.parameters {
            let [symbol, label] = name.label();
            let _ = write!(text, "  {symbol:<8}{label:<23}");
            let known = parameter.value.zip(parameter.standard_uncertainty);
            let ends = parameter.lower.zip(parameter.upper);
            match (known, ends) {
                (Some((value, u)), Some((lower, upper))) => {
                    let unit = name.ucum();
                    let value = rounding::write(value, Some(u), unit, Scale::Plain);
                    let interval = rounding::write_interval(lower, upper, unit, Scale::Plain);
                    let _ = writeln!(text, "{value:<20} {interval}");
                }
                _ => {
                    let advice = parameter.suggestion.as_deref().unwrap_or_default();
                    let _ = writeln!(text, "undetermined: {advice}");
                }
            }
        }
        text
    }

    /// Labels of what is undetermined.
    pub fn undetermined(&self) -> impl Iterator<Item = &'static str> {
        self.parameters
            .iter()
            .filter(|(_, parameter)| parameter.status == Status::Undetermined)
            .map(|(name, _)| name.label()[1])
    }
}
