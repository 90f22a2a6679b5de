//! What a profile asks of one motor, turning the model round: the current from torque and acceleration, the voltage from the current.
//!
//! ```text
//! T_m = (T + J_l dω/dt)/(n η)         at the motor, of a load behind a gear of ratio n; times η/n where the load drives
//! i (1 − a|i|) = T_m/K + C dE/dt + I_c sgn E + G_v E + W E|E|        E = K n ω, C of the rotor alone
//! v = R i + L di/dt + V_b tanh(i/I_b) + (1 − a|i|) E
//! ```

use super::{Asked, Piece, Profile};
use crate::drive::order::{Load, Order};
use crate::drive::sample::Sample;
use crate::drive::section::{Known, Why};
use crate::motor::TerminalParameters;

/// A motor behind the order's gear, or behind another one.
pub struct Geared<'a> {
    pub order: &'a Order,
    pub motor: &'a Sample,
    /// Turns of the motor a turn of the load.
    pub ratio: f64,
    /// Of the winding, Ω.
    pub winding_ohm: f64,
    terminal: TerminalParameters,
    /// K and C of the rotor; `None` for a profile of currents without a speed.
    torque_side: Option<(f64, f64)>,
}

/// One instant.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Point {
    pub current_a: f64,
    pub back_emf_v: f64,
    /// What friction takes, W.
    pub friction_w: f64,
}

/// A piece as one motor goes through it: begin, middle, end.
#[derive(Clone, Copy, Debug)]
pub struct Demand {
    pub points: [Point; 3],
    pub length_s: f64,
}

/// More torque than any current makes with this armature reaction.
const NO_CURRENT: Why =
    Why::Physics("armature reaction leaves no current that makes the torque asked for");

impl<'a> Geared<'a> {
    /// Behind a gear of `ratio`, the winding at `winding_ohm`.
    pub fn new(
        profile: &Profile,
        order: &'a Order,
        motor: &'a Sample,
        ratio: f64,
        winding_ohm: f64,
    ) -> Known<Geared<'a>> {
        let torque_side = if profile.asked == Asked::Current && !profile.moves {
            None
        } else {
            Some((
                motor.back_emf_constant_v_s_per_rad?,
                motor.rotor_capacitance_f?,
            ))
        };
        Ok(Geared {
            order,
            motor,
            ratio,
            winding_ohm,
            terminal: motor.held(0.0)?,
            torque_side,
        })
    }

    /// The piece.
    pub fn demand(&self, profile: &Profile, piece: &Piece) -> Known<Demand> {
        let slope = (piece.speed_rad_s[1] - piece.speed_rad_s[0]) / piece.length_s;
        let middle_rad_s = 0.5 * (piece.speed_rad_s[0] + piece.speed_rad_s[1]);
        let point = |share: f64| -> Known<Point> {
            let speed = Piece::at(piece.speed_rad_s, share);
            let asked = Piece::at(piece.asked, share);
            self.point(profile, [speed, slope, middle_rad_s], asked)
        };
        Ok(Demand {
            points: [point(0.0)?, point(0.5)?, point(1.0)?],
            length_s: piece.length_s,
        })
    }

    /// `motion`: speed and acceleration of the load, and the speed whose sign friction opposes.
    fn point(&self, profile: &Profile, motion: [f64; 3], asked: f64) -> Known<Point> {
        let [speed, slope, moving] = motion;
        let Some((k, rotor_f)) = self.torque_side else {
            return Ok(Point {
                current_a: asked,
                ..Point::default()
            });
        };
        let back_emf_v = k * self.ratio * speed;
        let friction_a = self.motor.friction_current_a(back_emf_v.abs())?;
        let friction_w = back_emf_v.abs() * friction_a;
        if profile.asked == Asked::Current {
            return Ok(Point {
                current_a: asked,
                back_emf_v,
                friction_w,
            });
        }
        let order = self.order;
        let (taken_nm, taken_a) = match (profile.asked, order.load) {
            (Asked::Torque, _) => (asked, 0.0),
            (_, Load::Torque(torque)) => (torque * sign(moving), 0.0),
            (_, Load::Current(current)) => (0.0, current * sign(moving)),
            (_, Load::None) => (0.0, 0.0),
        };
        let load_nm = taken_nm + order.load_inertia_kg_m2.unwrap_or(0.0) * slope;
        let efficiency = order.gear_efficiency.unwrap_or(1.0);
        let at_motor_nm = if load_nm * moving < 0.0 {
            load_nm * efficiency / self.ratio
        } else {
            load_nm / (efficiency * self.ratio)
        };
        // A duty of torques without a speed is that of a rotor that turns slowly the way it pushes.
        let against = if profile.moves { moving } else { load_nm };
        let needed_a = at_motor_nm / k
            + rotor_f * k * self.ratio * slope
            + taken_a
            + sign(against) * friction_a;
        let reaction = self.motor.armature_reaction_per_a();
        let root = 1.0 - 4.0 * reaction * needed_a.abs();
        if root < 0.0 {
            return Err(NO_CURRENT);
        }
        Ok(Point {
            // The smaller root of (1 − a i) i = x, without loss of digits where a is small or zero.
            current_a: 2.0 * needed_a / (1.0 + root.sqrt()),
            back_emf_v,
            friction_w,
        })
    }

    /// Voltage at the motor of a point, the current rising by `slope_a_per_s`.
    pub fn voltage_v(&self, point: &Point, slope_a_per_s: f64) -> Known {
        let p = &self.terminal;
        let i = point.current_a;
        // A profile of currents needs no inductance to say how it warms.
        let inductive_v = match slope_a_per_s {
            0.0 => 0.0,
            slope => self.motor.inductance_h? * slope,
        };
        Ok(self.winding_ohm * i
            + inductive_v
            + p.brush_drop_v * (i / p.brush_scale_a).tanh()
            + (1.0 - p.armature_reaction_per_a * i.abs()) * point.back_emf_v)
    }

    /// Voltage of the bridge for it: leads and two switches, of a half bridge one, carry the current too.
    pub fn bridge_v(&self, point: &Point, slope_a_per_s: f64) -> Known {
        let order = self.order;
        let switches = if order.half_bridge { 1.0 } else { 2.0 };
        let ohm = order.lead_resistance_ohm + switches * order.switch_resistance_ohm.unwrap_or(0.0);
        Ok(self.voltage_v(point, slope_a_per_s)? + ohm * point.current_a)
    }

    /// Supply voltage that it needs: the source's resistance takes its share where the motor drives.
    pub fn supply_v(&self, point: &Point, slope_a_per_s: f64) -> Known {
        let bridge_v = self.bridge_v(point, slope_a_per_s)?;
        let source_ohm = match bridge_v * point.current_a > 0.0 {
            true => self.order.source_resistance_ohm,
            false => 0.0,
        };
        Ok(bridge_v.abs() + source_ohm * point.current_a.abs())
    }
}

/// Sign, with zero for zero.
fn sign(value: f64) -> f64 {
    if value == 0.0 { 0.0 } else { value.signum() }
}

impl Demand {
    /// How fast the current changes, A/s.
    pub fn slope_a_per_s(&self) -> f64 {
        (self.points[2].current_a - self.points[0].current_a) / self.length_s
    }

    /// Mean over the piece by Simpson's rule, exact for what is a parabola in time.
    pub fn mean(&self, of: impl Fn(&Point) -> f64) -> f64 {
        let [a, b, c] = &self.points;
        (of(a) + 4.0 * of(b) + of(c)) / 6.0
    }
}
