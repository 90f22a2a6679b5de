//! The parameters a person asks for, as products of fitted entries and a weighted sum of some.

use crate::fit::unknowns::{Entry, Layout, ParameterKind};
use nalgebra::DVector;

/// A product of powers and a sum: `Π exp(a_k x_k) · Σ b_j x_j`, without the sum where there is none.
pub struct Monomial {
    /// Key in the motor file.
    pub name: &'static str,
    /// UCUM code.
    pub unit: &'static str,
    pub logs: Vec<(ParameterKind, f64)>,
    pub sum: Vec<(ParameterKind, f64)>,
    /// Back-EMF at which it is taken, V, where it depends on the speed.
    pub at_back_emf_v: Option<f64>,
}

/// A monomial with its places in the parameter vector.
pub struct Placed {
    logs: Vec<(Entry, f64)>,
    sum: Vec<(Entry, f64)>,
}

impl Monomial {
    /// Looks its entries up; `None` where one that it needs takes no part.
    pub fn place(&self, layout: &Layout) -> Option<Placed> {
        let placed = |terms: &[(ParameterKind, f64)]| {
            let each = terms.iter();
            each.map(|(kind, by)| Some((layout.find(kind)?, *by)))
                .collect::<Option<_>>()
        };
        Some(Placed {
            logs: placed(&self.logs)?,
            sum: placed(&self.sum)?,
        })
    }

    /// The one entry that it is proportional to and that may be zero.
    pub fn may_be_zero(&self) -> Option<&ParameterKind> {
        match self.sum.as_slice() {
            [(kind, _)] => Some(kind),
            _ => None,
        }
    }
}

impl Placed {
    /// The product without its sum.
    pub fn factor(&self, x: &DVector<f64>) -> f64 {
        self.logs
            .iter()
            .map(|&(k, power)| power * x[k])
            .sum::<f64>()
            .exp()
    }

    /// The one entry that it is proportional to and that may be zero.
    pub fn may_be_zero(&self) -> Option<Entry> {
        match self.sum.as_slice() {
            [(entry, _)] => Some(*entry),
            _ => None,
        }
    }

    /// Whether it is a sum of several, positive by nature.
    pub fn is_sum(&self) -> bool {
        self.sum.len() > 1
    }

    /// Every entry that it depends on.
    pub fn entries(&self) -> impl Iterator<Item = Entry> {
        self.logs.iter().chain(&self.sum).map(|(entry, _)| *entry)
    }

    /// Value and derivative; in the logarithm where there is no sum.
    pub fn target(&self, x: &DVector<f64>) -> (f64, DVector<f64>) {
        let mut slope = DVector::zeros(x.len());
        if self.sum.is_empty() {
            let mut sum = 0.0;
            for &(k, power) in &self.logs {
                sum += power * x[k];
                slope[k] = power;
            }
            return (sum, slope);
        }
        let factor = self.factor(x);
        let sum: f64 = self.sum.iter().map(|&(k, by)| by * x[k]).sum();
        for &(k, power) in &self.logs {
            slope[k] = power * factor * sum;
        }
        for &(k, by) in &self.sum {
            slope[k] = factor * by;
        }
        (factor * sum, slope)
    }

    /// Value and derivative.
    pub fn value(&self, x: &DVector<f64>) -> (f64, DVector<f64>) {
        let (value, slope) = self.target(x);
        if self.sum.is_empty() {
            (value.exp(), slope * value.exp())
        } else {
            (value, slope)
        }
    }
}

/// Every parameter of the result, in the motor file's order.
pub fn monomials() -> Vec<Monomial> {
    use ParameterKind::{
        BrushDrop, FrictionCurrent, LogBackEmfConstant as K, LogCapacitance as C,
        LogInductance as L, LogResistance as R, ViscousConductance, Windage,
    };
    let m = |name, unit, logs: &[(ParameterKind, f64)], one: Option<ParameterKind>| Monomial {
        name,
        unit,
        logs: logs.to_vec(),
        sum: one.map(|kind| (kind, 1.0)).into_iter().collect(),
        at_back_emf_v: None,
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

/// Friction torque and no-load current at a back-EMF: `I_c + G_v e + W e²`, for the torque times K. The sum is known where its parts
/// are not.
pub fn at_back_emf(back_emf_v: f64) -> Vec<Monomial> {
    let sum = |name, unit, logs| Monomial {
        name,
        unit,
        logs,
        sum: vec![
            (ParameterKind::FrictionCurrent, 1.0),
            (ParameterKind::ViscousConductance, back_emf_v),
            (ParameterKind::Windage, back_emf_v * back_emf_v),
        ],
        at_back_emf_v: Some(back_emf_v),
    };
    let constant = vec![(ParameterKind::LogBackEmfConstant, 1.0)];
    vec![
        sum("friction_torque_at_speed", "N.m", constant),
        sum("friction_current_at_speed", "A", Vec::new()),
    ]
}
