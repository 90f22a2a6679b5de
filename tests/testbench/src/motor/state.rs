//! What drives the simulated motor and the state it is in.

/// What the terminals are connected to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Circuit {
    Loop(Loop),
    Open,
}

/// A source behind resistance and inductance, all outside the motor.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Loop {
    pub source_v: f64,
    pub resistance_ohm: f64,
    pub inductance_h: f64,
    /// Limit in A and integrator gain in V/(A·s) of a limited supply.
    pub limit: Option<(f64, f64)>,
}

/// How the shaft is held.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Shaft {
    Free,
    Held,
    /// Turned at its present speed from outside.
    Driven,
}

#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct State {
    pub current_a: f64,
    pub eddy_a: f64,
    pub omega: f64,
    pub theta: f64,
    /// By how much a limited supply has lowered its voltage.
    pub lowered_v: f64,
    /// +1 or −1: sense of the friction; 0 while the rotor rests.
    pub direction: f64,
}

impl State {
    pub fn at_rest(theta: f64) -> Self {
        State {
            current_a: 0.0,
            eddy_a: 0.0,
            omega: 0.0,
            theta,
            lowered_v: 0.0,
            direction: 0.0,
        }
    }

    pub fn vector(&self) -> [f64; 5] {
        [
            self.current_a,
            self.eddy_a,
            self.omega,
            self.theta,
            self.lowered_v,
        ]
    }

    pub fn with(&self, y: [f64; 5]) -> Self {
        State {
            current_a: y[0],
            eddy_a: y[1],
            omega: y[2],
            theta: y[3],
            lowered_v: y[4],
            direction: self.direction,
        }
    }
}

/// Energy that went in at the terminals and where it went, J.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct EnergyBalance {
    pub terminals_j: f64,
    pub copper_j: f64,
    pub brush_j: f64,
    pub eddy_j: f64,
    pub friction_j: f64,
    /// Into the shaft by the EMF, and out of it as torque: equal when K_t = K_e.
    pub emf_j: f64,
    pub torque_j: f64,
}
