//! The state of the motor seen from its terminals, its time derivative and Jacobian.

use super::{Dual, Real, TerminalParameters};

/// Parameters of the state equations over any [`Real`], SI units.
#[derive(Clone, Copy, Debug)]
pub struct Constants<S> {
    /// Resistance of the whole loop inside the given voltage: motor and whatever lies in series with it, Ω.
    pub resistance: S,
    pub inductance: S,
    pub capacitance: S,
    pub friction_current: S,
    pub viscous_conductance: S,
    pub windage: S,
    pub brush_drop: S,
    pub brush_scale: S,
    /// 1/I_s², 1/A².
    pub saturation: S,
    pub reaction: S,
    pub eddy_share: S,
    pub eddy_resistance: S,
    /// Whether the eddy branch is simulated at all; without it the state has no third component.
    pub with_eddy: bool,
    /// Promise that the k-th of [`Constants::each`] has a derivative in direction k alone, which saves work; friction, which
    /// a capture may change from step to step, is free of it.
    pub own_directions: bool,
}

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
            own_directions: false,
        }
    }

    /// The twelve constants in a fixed order.
    pub fn each(&self) -> [&S; 12] {
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
        Constants {
            resistance: self.resistance.value(),
            inductance: self.inductance.value(),
            capacitance: self.capacitance.value(),
            friction_current: self.friction_current.value(),
            viscous_conductance: self.viscous_conductance.value(),
            windage: self.windage.value(),
            brush_drop: self.brush_drop.value(),
            brush_scale: self.brush_scale.value(),
            saturation: self.saturation.value(),
            reaction: self.reaction.value(),
            eddy_share: self.eddy_share.value(),
            eddy_resistance: self.eddy_resistance.value(),
            with_eddy: self.with_eddy,
            own_directions: false,
        }
    }
}

impl<const N: usize> Constants<Dual<N>> {
    /// The same constants with a direction of their own each: the k-th of [`Constants::each`] is direction k of M.
    ///
    /// # Panics
    /// With fewer than twelve directions: a slip in the code.
    pub fn in_own_directions<const M: usize>(&self) -> Constants<Dual<M>> {
        let [
            r,
            l,
            c,
            friction,
            viscous,
            windage,
            drop,
            scale,
            saturation,
            reaction,
            share,
            eddy,
        ] = self.each().map(|constant| constant.value);
        Constants {
            resistance: Dual::variable(r, 0),
            inductance: Dual::variable(l, 1),
            capacitance: Dual::variable(c, 2),
            friction_current: Dual::variable(friction, 3),
            viscous_conductance: Dual::variable(viscous, 4),
            windage: Dual::variable(windage, 5),
            brush_drop: Dual::variable(drop, 6),
            brush_scale: Dual::variable(scale, 7),
            saturation: Dual::variable(saturation, 8),
            reaction: Dual::variable(reaction, 9),
            eddy_share: Dual::variable(share, 10),
            eddy_resistance: Dual::variable(eddy, 11),
            with_eddy: self.with_eddy,
            own_directions: true,
        }
    }
}

/// Current, back-EMF, and the current in the screened share of the inductance.
#[derive(Clone, Copy, Debug)]
pub struct State<S> {
    /// i, A.
    pub current: S,
    /// e = Kω, V.
    pub back_emf: S,
    /// Current through the screened share of the inductance, A; equal to `current` when nothing changes.
    pub eddy_current: S,
}

impl<S: Real> State<S> {
    /// Rotor still, no current.
    pub fn rest() -> Self {
        State {
            current: 0.0.into(),
            back_emf: 0.0.into(),
            eddy_current: 0.0.into(),
        }
    }

    /// Without derivatives.
    #[inline(always)]
    pub fn values(&self) -> State<f64> {
        State {
            current: self.current.value(),
            back_emf: self.back_emf.value(),
            eddy_current: self.eddy_current.value(),
        }
    }
}

/// Time derivatives and the non-zero entries of the Jacobian at one state.
#[derive(Clone, Copy)]
pub(super) struct Slopes<S> {
    pub current: S,
    pub back_emf: S,
    pub eddy: S,
    pub current_by_current: S,
    pub current_by_emf: S,
    pub current_by_eddy: S,
    pub emf_by_current: S,
    pub emf_by_emf: S,
    pub eddy_by_current: S,
    pub eddy_by_eddy: S,
}

/// `direction`: sign of rotation (+1 or −1), which fixes the sign of Coulomb friction over a step.
pub(super) fn slopes<S: Real>(
    c: &Constants<S>,
    s: &State<S>,
    voltage: S,
    direction: f64,
) -> Slopes<S> {
    let zero: S = 0.0.into();
    let i = s.current;
    let sign = if i.value() < 0.0 { -1.0 } else { 1.0 };
    let loss = c.reaction * i * sign; // a|i|
    let linkage = -loss + 1.0;
    let contact = (i / c.brush_scale).tanh();
    let contact_slope = c.brush_drop / c.brush_scale * (-(contact * contact) + 1.0);
    let mut leading_inductance = c.inductance;
    let (mut eddy, mut eddy_by_current) = (zero, zero);
    let mut drop = c.resistance * i + c.brush_drop * contact + s.back_emf * linkage;
    let mut drop_slope = c.resistance + contact_slope - s.back_emf * c.reaction * sign;
    if c.with_eddy {
        leading_inductance = c.inductance * (-c.eddy_share + 1.0);
        let difference = c.eddy_resistance * (i - s.eddy_current);
        let eddy_inductance = c.inductance * c.eddy_share;
        eddy = difference / eddy_inductance;
        eddy_by_current = c.eddy_resistance / eddy_inductance;
        drop += difference;
        drop_slope += c.eddy_resistance;
    }
    let reciprocal = (i * i * c.saturation + 1.0) / leading_inductance;
    let reciprocal_slope = i * c.saturation * 2.0 / leading_inductance;
    let push = voltage - drop;
    let speed = s.back_emf.abs();
    let drag = c.friction_current * direction
        + c.viscous_conductance * s.back_emf
        + c.windage * s.back_emf * speed;
    let by_capacitance = S::from(1.0) / c.capacitance;
    Slopes {
        current: push * reciprocal,
        back_emf: (i * linkage - drag) * by_capacitance,
        eddy,
        current_by_current: push * reciprocal_slope - drop_slope * reciprocal,
        current_by_emf: -(linkage * reciprocal),
        current_by_eddy: if c.with_eddy {
            c.eddy_resistance * reciprocal
        } else {
            zero
        },
        emf_by_current: (linkage - loss) * by_capacitance,
        emf_by_emf: -(c.viscous_conductance + c.windage * speed * 2.0) * by_capacitance,
        eddy_by_current,
        eddy_by_eddy: -eddy_by_current,
    }
}
