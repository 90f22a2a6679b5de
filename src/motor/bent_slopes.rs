//! The slopes of the state and their Jacobian at one state, with their partial derivatives written out.
//!
//! The same equations as [`super::state::slopes`], whose derivatives by forward differentiation are the check of these.

use super::{Constants, State};

/// What a step depends on: the three components of the state, the voltage, and the twelve constants.
pub(super) const INPUTS: usize = 16;

/// Partial derivatives with respect to every input.
pub(super) type Lanes = [f64; INPUTS];

/// Places of the inputs.
pub(super) mod input {
    pub const CURRENT: usize = 0;
    pub const EMF: usize = 1;
    pub const EDDY: usize = 2;
    pub const VOLTAGE: usize = 3;
    /// The constants follow from here, in the order of [`super::super::Constants::each`].
    pub const CONSTANTS: usize = 4;
    pub const RESISTANCE: usize = 4;
    pub const INDUCTANCE: usize = 5;
    pub const CAPACITANCE: usize = 6;
    pub const FRICTION: usize = 7;
    pub const VISCOUS: usize = 8;
    pub const WINDAGE: usize = 9;
    pub const BRUSH_DROP: usize = 10;
    pub const BRUSH_SCALE: usize = 11;
    pub const SATURATION: usize = 12;
    pub const REACTION: usize = 13;
    pub const EDDY_SHARE: usize = 14;
    pub const EDDY_RESISTANCE: usize = 15;
}

/// A number with its partial derivatives.
#[derive(Clone, Copy)]
pub(super) struct Bent {
    pub value: f64,
    pub by: Lanes,
}

impl Bent {
    #[inline(always)]
    fn new<const K: usize>(value: f64, partials: [(usize, f64); K]) -> Self {
        let mut by = [0.0; INPUTS];
        for (input, partial) in partials {
            by[input] += partial;
        }
        Bent { value, by }
    }

    pub const ZERO: Bent = Bent {
        value: 0.0,
        by: [0.0; INPUTS],
    };
}

/// Slopes of current, back-EMF and screened current, in this order.
pub(super) type BentSlopes = [Bent; 3];

/// Entries of the Jacobian that are not zero everywhere.
pub(super) struct BentJacobian {
    pub current_by_current: Bent,
    pub current_by_emf: Bent,
    pub current_by_eddy: Bent,
    pub emf_by_current: Bent,
    pub emf_by_emf: Bent,
    pub eddy_by_current: Bent,
    pub eddy_by_eddy: Bent,
}

/// What slopes and Jacobian share at one state.
pub(super) struct Place<'a> {
    c: &'a Constants<f64>,
    i: f64,
    e: f64,
    /// i less the screened current.
    difference: f64,
    direction: f64,
    sign: f64,
    loss: f64,
    linkage: f64,
    contact: f64,
    contact_slope: f64,
    push: f64,
    drop_slope: f64,
    leading: f64,
    share: f64,
    /// 1/(1 − share), 0 without an eddy branch.
    per_rest: f64,
    eddy_inductance: f64,
    reciprocal: f64,
    reciprocal_slope: f64,
    by_capacitance: f64,
}

impl<'a> Place<'a> {
    /// `direction`: sign of rotation, 0 for a still rotor.
    #[inline(always)]
    pub fn new(c: &'a Constants<f64>, s: &State<f64>, voltage: f64, direction: f64) -> Self {
        let (i, e) = (s.current, s.back_emf);
        let sign = if i < 0.0 { -1.0 } else { 1.0 };
        let loss = c.reaction * i * sign;
        let linkage = 1.0 - loss;
        let contact = (i / c.brush_scale).tanh();
        let contact_slope = c.brush_drop / c.brush_scale * (1.0 - contact * contact);
        let mut drop = c.resistance * i + c.brush_drop * contact + e * linkage;
        let mut drop_slope = c.resistance + contact_slope - e * c.reaction * sign;
        let (mut leading, mut share, mut eddy_inductance, mut difference) =
            (c.inductance, 0.0, f64::INFINITY, 0.0);
        if c.with_eddy {
            share = c.eddy_share;
            leading = c.inductance * (1.0 - share);
            eddy_inductance = c.inductance * share;
            difference = i - s.eddy_current;
            drop += c.eddy_resistance * difference;
            drop_slope += c.eddy_resistance;
        }
        Place {
            c,
            i,
            e,
            difference,
            direction,
            sign,
            loss,
            linkage,
            contact,
            contact_slope,
            push: voltage - drop,
            drop_slope,
            leading,
            share,
            per_rest: if c.with_eddy {
                1.0 / (1.0 - share)
            } else {
                0.0
            },
            eddy_inductance,
            reciprocal: (1.0 + i * i * c.saturation) / leading,
            reciprocal_slope: 2.0 * i * c.saturation / leading,
            by_capacitance: 1.0 / c.capacitance,
        }
    }

    #[inline(always)]
    pub fn slopes(&self) -> BentSlopes {
        use input::*;
        let Place { c, i, e, .. } = *self;
        let eddy_resistance = if c.with_eddy { c.eddy_resistance } else { 0.0 };
        let current = self.push * self.reciprocal;
        let drag = c.friction_current * self.direction
            + c.viscous_conductance * e
            + c.windage * e * e.abs();
        let by_c = self.by_capacitance;
        let emf = (i * self.linkage - drag) * by_c;
        let eddy = eddy_resistance * self.difference / self.eddy_inductance;
        [
            Bent::new(
                current,
                [
                    (
                        CURRENT,
                        self.push * self.reciprocal_slope - self.drop_slope * self.reciprocal,
                    ),
                    (EMF, -self.linkage * self.reciprocal),
                    (EDDY, eddy_resistance * self.reciprocal),
                    (VOLTAGE, self.reciprocal),
                    (RESISTANCE, -i * self.reciprocal),
                    (INDUCTANCE, -current / c.inductance),
                    (BRUSH_DROP, -self.contact * self.reciprocal),
                    (
                        BRUSH_SCALE,
                        self.contact_slope * i / c.brush_scale * self.reciprocal,
                    ),
                    (SATURATION, self.push * i * i / self.leading),
                    (REACTION, e * i * self.sign * self.reciprocal),
                    (EDDY_SHARE, current * self.per_rest),
                    (EDDY_RESISTANCE, -self.difference * self.reciprocal),
                ],
            ),
            Bent::new(
                emf,
                [
                    (CURRENT, (self.linkage - self.loss) * by_c),
                    (
                        EMF,
                        -(c.viscous_conductance + 2.0 * c.windage * e.abs()) * by_c,
                    ),
                    (CAPACITANCE, -emf * by_c),
                    (FRICTION, -self.direction * by_c),
                    (VISCOUS, -e * by_c),
                    (WINDAGE, -e * e.abs() * by_c),
                    (REACTION, -i * i * self.sign * by_c),
                ],
            ),
            if c.with_eddy {
                let rate = eddy_resistance / self.eddy_inductance;
                Bent::new(
                    eddy,
                    [
                        (CURRENT, rate),
                        (EDDY, -rate),
                        (INDUCTANCE, -eddy / c.inductance),
                        (EDDY_SHARE, -eddy / self.share),
                        (EDDY_RESISTANCE, self.difference / self.eddy_inductance),
                    ],
                )
            } else {
                Bent::ZERO
            },
        ]
    }

    #[inline(always)]
    pub fn jacobian(&self) -> BentJacobian {
        use input::*;
        let Place { c, i, e, .. } = *self;
        let (rec, slope) = (self.reciprocal, self.reciprocal_slope);
        let (push, drop_slope) = (self.push, self.drop_slope);
        let contact_rest = 1.0 - self.contact * self.contact;
        let per_scale = 1.0 / c.brush_scale;
        // Derivative of the contact's slope with respect to the current.
        let contact_bend = -2.0 * self.contact * self.contact_slope * per_scale;
        let by_c = self.by_capacitance;
        let ii = push * slope - drop_slope * rec;
        let ie = -self.linkage * rec;
        let eddy_resistance = if c.with_eddy { c.eddy_resistance } else { 0.0 };
        let id = eddy_resistance * rec;
        let per_leading = 1.0 / self.leading;
        let per_inductance = 1.0 / c.inductance;
        let per_rest = self.per_rest;
        let ei = (self.linkage - self.loss) * by_c;
        let ee = -(c.viscous_conductance + 2.0 * c.windage * e.abs()) * by_c;
        let (eddy_by_current, eddy_by_eddy) = if c.with_eddy {
            let di = eddy_resistance / self.eddy_inductance;
            let by = [
                (INDUCTANCE, -di * per_inductance),
                (EDDY_SHARE, -di / self.share),
                (EDDY_RESISTANCE, 1.0 / self.eddy_inductance),
            ];
            (
                Bent::new(di, by),
                Bent::new(-di, by.map(|(k, partial)| (k, -partial))),
            )
        } else {
            (Bent::ZERO, Bent::ZERO)
        };
        BentJacobian {
            current_by_current: Bent::new(
                ii,
                [
                    (
                        CURRENT,
                        -2.0 * drop_slope * slope + 2.0 * push * c.saturation * per_leading
                            - contact_bend * rec,
                    ),
                    (EMF, -self.linkage * slope + c.reaction * self.sign * rec),
                    (EDDY, eddy_resistance * slope),
                    (VOLTAGE, slope),
                    (RESISTANCE, -i * slope - rec),
                    (INDUCTANCE, -ii * per_inductance),
                    (
                        BRUSH_DROP,
                        -self.contact * slope - contact_rest * per_scale * rec,
                    ),
                    (
                        BRUSH_SCALE,
                        per_scale
                            * (self.contact_slope * i * slope
                                + (self.contact_slope + contact_bend * i) * rec),
                    ),
                    (
                        SATURATION,
                        (2.0 * push * i - drop_slope * i * i) * per_leading,
                    ),
                    (REACTION, e * self.sign * (i * slope + rec)),
                    (EDDY_SHARE, ii * per_rest),
                    (
                        EDDY_RESISTANCE,
                        if c.with_eddy {
                            -self.difference * slope - rec
                        } else {
                            0.0
                        },
                    ),
                ],
            ),
            current_by_emf: Bent::new(
                ie,
                [
                    (CURRENT, c.reaction * self.sign * rec - self.linkage * slope),
                    (INDUCTANCE, -ie * per_inductance),
                    (SATURATION, -self.linkage * i * i * per_leading),
                    (REACTION, i * self.sign * rec),
                    (EDDY_SHARE, ie * per_rest),
                ],
            ),
            current_by_eddy: Bent::new(
                id,
                [
                    (CURRENT, eddy_resistance * slope),
                    (INDUCTANCE, -id * per_inductance),
                    (SATURATION, eddy_resistance * i * i * per_leading),
                    (EDDY_SHARE, id * per_rest),
                    (EDDY_RESISTANCE, if c.with_eddy { rec } else { 0.0 }),
                ],
            ),
            emf_by_current: Bent::new(
                ei,
                [
                    (CURRENT, -2.0 * c.reaction * self.sign * by_c),
                    (CAPACITANCE, -ei * by_c),
                    (REACTION, -2.0 * i * self.sign * by_c),
                ],
            ),
            emf_by_emf: Bent::new(
                ee,
                [
                    (EMF, if e < 0.0 { 2.0 } else { -2.0 } * c.windage * by_c),
                    (CAPACITANCE, -ee * by_c),
                    (VISCOUS, -by_c),
                    (WINDAGE, -2.0 * e.abs() * by_c),
                ],
            ),
            eddy_by_current,
            eddy_by_eddy,
        }
    }
}
