//! The constants of the state equation, with or without derivatives.

use super::{Dual, Real, TerminalParameters};

/// How many constants the state equation has.
pub(super) const CONSTANTS: usize = 12;

/// Constants of the state equation over any [`Real`], SI units.
#[derive(Clone, Copy, Debug)]
pub struct Constants<S> {
    /// Resistance of the whole loop inside the given voltage: motor and whatever lies in series with it, Ω.
    pub resistance: S,
    /// L₀, H: at low frequency and small current.
    pub inductance: S,
    /// C_m = J/K², F.
    pub capacitance: S,
    /// I_c = T_c/K, A.
    pub friction_current: S,
    /// G_v = B/K², S.
    pub viscous_conductance: S,
    /// W = C_w/K³, A/V².
    pub windage: S,
    /// V_b, V: contact drop of the brushes at large current.
    pub brush_drop: S,
    /// I_b, A: current scale on which the contact drop rises.
    pub brush_scale: S,
    /// 1/I_s², 1/A².
    pub saturation: S,
    /// a, 1/A: relative loss of back-EMF constant per ampere (armature reaction).
    pub reaction: S,
    /// Share of L₀ that eddy currents screen at high frequency, 0 to below 1.
    pub eddy_share: S,
    /// Resistance across that share, Ω.
    pub eddy_resistance: S,
    /// Whether the eddy branch is simulated at all; without it the state has no third variable.
    pub with_eddy: bool,
    /// Promise that the k-th of [`Constants::each`] depends on independent variable k alone, which saves work; the friction, which
    /// a capture may change from step to step, is free of it.
    pub independent: bool,
    /// Largest error of a simulated step, relative to the state's scale; a step that leaves more is halved.
    pub tolerance: f64,
}

/// [`Constants::tolerance`] unless stated: derivatives of a fit need it.
pub const TOLERANCE: f64 = 1e-5;

impl<S: Real> Constants<S> {
    /// The constants of a motor whose terminals are the loop's ends.
    pub fn new(p: &TerminalParameters) -> Self {
        Constants {
            resistance: p.terminal_resistance_ohm.into(),
            inductance: p.armature_inductance_h.into(),
            capacitance: p.inertia_capacitance_f.into(),
            friction_current: p.friction_current_a.into(),
            viscous_conductance: p.viscous_conductance_s.into(),
            windage: p.windage_a_per_v2.into(),
            brush_drop: p.brush_drop_v.into(),
            brush_scale: p.brush_scale_a.into(),
            saturation: (p.saturation_per_a * p.saturation_per_a).into(),
            reaction: p.armature_reaction_per_a.into(),
            eddy_share: p.eddy_share.into(),
            eddy_resistance: p.eddy_resistance_ohm.into(),
            with_eddy: p.eddy_share > 0.0,
            independent: false,
            tolerance: TOLERANCE,
        }
    }

    /// The constants in a fixed order.
    #[inline(always)]
    pub fn each(&self) -> [&S; CONSTANTS] {
        [
            &self.resistance,
            &self.inductance,
            &self.capacitance,
            &self.friction_current,
            &self.viscous_conductance,
            &self.windage,
            &self.brush_drop,
            &self.brush_scale,
            &self.saturation,
            &self.reaction,
            &self.eddy_share,
            &self.eddy_resistance,
        ]
    }

    /// Without derivatives.
    #[inline(always)]
    pub fn values(&self) -> Constants<f64> {
        self.with(|_, constant| constant.value(), false)
    }

    /// As many constants made of these, each from its place in [`Constants::each`] and its present form.
    #[inline(always)]
    pub(super) fn with<T>(
        &self,
        mut each: impl FnMut(usize, &S) -> T,
        independent: bool,
    ) -> Constants<T> {
        let old = self.each();
        let [
            resistance,
            inductance,
            capacitance,
            friction_current,
            viscous_conductance,
            windage,
            brush_drop,
            brush_scale,
            saturation,
            reaction,
            eddy_share,
            eddy_resistance,
        ] = std::array::from_fn(|k| each(k, old[k]));
        Constants {
            resistance,
            inductance,
            capacitance,
            friction_current,
            viscous_conductance,
            windage,
            brush_drop,
            brush_scale,
            saturation,
            reaction,
            eddy_share,
            eddy_resistance,
            with_eddy: self.with_eddy,
            independent,
            tolerance: self.tolerance,
        }
    }
}

impl<const N: usize> Constants<Dual<N>> {
    /// The same constants as independent variables: the k-th of [`Constants::each`] is number k of M.
    ///
    /// # Panics
    /// With fewer than twelve variables: a slip in the code.
    pub fn as_independent<const M: usize>(&self) -> Constants<Dual<M>> {
        self.with(|k, constant| Dual::variable(constant.value, k), true)
    }
}
