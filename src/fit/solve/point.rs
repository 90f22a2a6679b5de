//! A point that the solver has reached, with what its steps are made of.

use super::least_squares::NormalEquations;
use super::second_order::SecondOrder;
use super::step::{Bounds, decrement, has_minimum};
use nalgebra::DVector;

/// Standard deviations from the minimum within which second derivatives are learned and used: farther off they change from step
/// to step.
pub(super) const NEARBY: f64 = 10.0;

/// An accepted point.
pub(super) struct Point {
    pub x: DVector<f64>,
    pub equations: NormalEquations,
    /// What steps are made with.
    pub paraboloid: NormalEquations,
    pub free: Vec<usize>,
    pub decrement: f64,
}

impl Point {
    pub fn new(
        x: DVector<f64>,
        equations: NormalEquations,
        bounds: &Bounds,
        second_order: &mut SecondOrder,
    ) -> Self {
        let free = bounds.free(&x, &equations.gradient);
        let mut paraboloid = equations.clone();
        let mut distance = decrement(&paraboloid, &free);
        if second_order.counts() && distance < NEARBY {
            paraboloid = second_order.paraboloid(&equations);
            if has_minimum(&paraboloid, &free) {
                distance = decrement(&paraboloid, &free);
            } else {
                second_order.distrust();
                paraboloid = equations.clone();
            }
        }
        Point {
            x,
            equations,
            paraboloid,
            free,
            decrement: distance,
        }
    }
}
