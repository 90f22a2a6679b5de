//! The parameters a person asks for, as products of fitted entries.

use crate::fit::unknowns::{Entry, Layout, ParameterKind};
use nalgebra::DVector;

/// A product of powers: `Π exp(a_k x_k) · x_linear`.
pub struct Monomial {
    /// Key in the motor file.
    pub name: &'static str,
    /// UCUM code.
    pub unit: &'static str,
    pub logs: Vec<(ParameterKind, f64)>,
    pub linear: Option<ParameterKind>,
}

/// A monomial with its places in the parameter vector.
pub struct Placed {
    logs: Vec<(Entry, f64)>,
    /// Entry of the linear factor.
    pub linear: Option<Entry>,
}

impl Monomial {
    /// Looks its entries up; `None` where one that it needs takes no part.
    pub fn place(&self, layout: &Layout) -> Option<Placed> {
        Some(Placed {
            logs: self
                .logs
                .iter()
                .map(|(kind, power)| Some((layout.find(kind)?, *power)))
                .collect::<Option<_>>()?,
            linear: self.linear.as_ref().and_then(|kind| layout.find(kind)),
        })
    }
}

impl Placed {
    /// The product without its linear factor.
    pub fn factor(&self, x: &DVector<f64>) -> f64 {
        self.logs
            .iter()
            .map(|&(k, power)| power * x[k])
            .sum::<f64>()
            .exp()
    }

    /// Value and derivative; in the logarithm where there is no linear factor.
    pub fn target(&self, x: &DVector<f64>) -> (f64, DVector<f64>) {
        let mut slope = DVector::zeros(x.len());
        let Some(linear) = self.linear else {
            let mut sum = 0.0;
            for &(k, power) in &self.logs {
                sum += power * x[k];
                slope[k] = power;
            }
            return (sum, slope);
        };
        let factor = self.factor(x);
        for &(k, power) in &self.logs {
            slope[k] = power * factor * x[linear];
        }
        slope[linear] = factor;
        (factor * x[linear], slope)
    }

    /// Value and derivative.
    pub fn value(&self, x: &DVector<f64>) -> (f64, DVector<f64>) {
        let (value, slope) = self.target(x);
        if self.linear.is_some() {
            (value, slope)
        } else {
            (value.exp(), slope * value.exp())
        }
    }
}

/// Every parameter of the result, in the motor file's order.
pub fn monomials() -> Vec<Monomial> {
    use ParameterKind::{
        BrushDrop, FrictionCurrent, LogBackEmfConstant as K, LogCapacitance as C,
        LogInductance as L, LogResistance as R, ViscousConductance, Windage,
    };
    let m = |name, unit, logs: &[(ParameterKind, f64)], linear: Option<ParameterKind>| Monomial {
        name,
        unit,
        logs: logs.to_vec(),
        linear,
    };
    vec![
        m("terminal_resistance", "Ohm", &[(R, 1.0)], None),
        m("armature_inductance", "H", &[(L, 1.0)], None),
        m("back_emf_constant", "V.s/rad", &[(K, 1.0)], None),
        m(
            "coulomb_friction_torque",
            "N.m",
            &[(K, 1.0)],
            Some(FrictionCurrent),
        ),
        m(
            "viscous_friction",
            "N.m.s/rad",
            &[(K, 2.0)],
            Some(ViscousConductance),
        ),
        m("windage", "N.m.s2/rad2", &[(K, 3.0)], Some(Windage)),
        m("rotor_inertia", "kg.m2", &[(C, 1.0), (K, 2.0)], None),
        m("brush_drop", "V", &[], Some(BrushDrop)),
        m("inertia_capacitance", "F", &[(C, 1.0)], None),
        m("friction_current", "A", &[], Some(FrictionCurrent)),
        m("viscous_conductance", "S", &[], Some(ViscousConductance)),
        m(
            "electrical_time_constant",
            "s",
            &[(L, 1.0), (R, -1.0)],
            None,
        ),
        m("mechanical_time_constant", "s", &[(R, 1.0), (C, 1.0)], None),
    ]
}
