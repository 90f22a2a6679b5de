//! The simulated motor: its equations, one Runge-Kutta step, rest and reversal as events, and its energy balance.
//!
//! ```text
//! v     = R(θ, T) i + V_b(i) + d/dt(f(θ) λ_a(i)) + R_p (i − i_e) + K(θ, i, T_m) ω
//! L_b(i_e) di_e/dt = R_p (i − i_e)
//! J dω/dt = K(θ, i, T_m) i + f'(θ) ∫λ_a di − friction(ω) − cogging(θ) − unbalance(θ)
//! ```
//! λ_a = ∫L_a di is the flux linkage at the mean position and f its change over a turn, which gives a torque. i_e is the current through the part of the inductance that lies parallel with R_p. Classical Runge-Kutta of fourth order in
//! steps well below the fastest time constant; no code here is shared with the estimator.

use super::commutation::Commutation;
use super::machine::Machine;
use super::state::{Circuit, EnergyBalance, Shaft, State};

pub(crate) struct Plant<'a> {
    pub machine: &'a Machine,
    pub commutation: &'a Commutation,
    /// Winding resistance at its present temperature.
    pub resistance_ohm: f64,
    /// Back-EMF constant at the magnets' temperature.
    pub constant: f64,
    pub inertia_kg_m2: f64,
    pub shaft: Shaft,
    pub balance: EnergyBalance,
    series_h: f64,
    branch_h: f64,
    parallel_ohm: f64,
    lines: f64,
    /// Steps are this many times finer than they need be; 1 but for tests of convergence.
    pub refinement: f64,
}

/// Derivatives of the state and the powers at one point.
struct Rates {
    y: [f64; 5],
    powers: [f64; 7],
}

impl<'a> Plant<'a> {
    pub fn new(
        machine: &'a Machine,
        commutation: &'a Commutation,
        winding_c: f64,
        magnets_c: f64,
        shaft: Shaft,
    ) -> Self {
        let share = machine.eddy.map_or(0.0, |eddy| eddy.share);
        Plant {
            machine,
            commutation,
            resistance_ohm: machine.resistance_at(winding_c),
            constant: machine.back_emf_constant_at(magnets_c),
            inertia_kg_m2: machine.rotor_inertia_kg_m2,
            shaft,
            balance: EnergyBalance::default(),
            series_h: machine.armature_inductance_h * (1.0 - share),
            branch_h: machine.armature_inductance_h * share,
            parallel_ohm: machine.eddy.map_or(0.0, |eddy| eddy.parallel_ohm),
            lines: f64::from(machine.lines_per_turn()),
            refinement: 1.0,
        }
    }

    /// Flux linkage over the inductance at small current, A, and its integral over the current, A².
    fn linked(&self, current: f64) -> (f64, f64) {
        match self.machine.saturation_a {
            Some(scale) => {
                let x = current / scale;
                let linked = libm::atan(x);
                let integral = x * linked - 0.5 * libm::log1p(x * x);
                (scale * linked, scale * scale * integral)
            }
            None => (current, 0.5 * current * current),
        }
    }

    fn saturated(&self, current: f64) -> f64 {
        match self.machine.saturation_a {
            Some(scale) => 1.0 / (1.0 + (current / scale) * (current / scale)),
            None => 1.0,
        }
    }

    /// Friction against positive rotation at `omega`, its dry part in the sense `direction`.
    fn friction(&self, omega: f64, direction: f64) -> f64 {
        let machine = self.machine;
        let mut dry = machine.coulomb_friction_nm;
        let ratio = omega / machine.stribeck_rad_s;
        if ratio * ratio < 36.0 && machine.breakaway_nm > machine.coulomb_friction_nm {
            dry += (machine.breakaway_nm - machine.coulomb_friction_nm) * libm::exp(-ratio * ratio);
        }
        direction * dry
            + machine.viscous_friction_nm_s_per_rad * omega
            + machine.windage_nm_s2_per_rad2 * omega * omega.abs()
    }

    fn rates(&self, y: &[f64; 5], circuit: &Circuit, direction: f64) -> Rates {
        let [current, eddy, omega, theta, lowered] = *y;
        let (emf_shape, resistance_shape, position_nm) = self.commutation.at(theta);
        let (inductance_shape, by_angle) = self.commutation.inductance(theta);
        let constant = self.constant * emf_shape * self.machine.flux_share(current);
        let emf = constant * omega;
        let resistance = self.resistance_ohm * resistance_shape;
        let brush = self.machine.contact_drop_v(current);
        let eddy_v = self.parallel_ohm * (current - eddy);
        let eddy_rate = if self.branch_h > 0.0 {
            eddy_v / (self.branch_h * self.saturated(eddy))
        } else {
            0.0
        };
        let (current_rate, lowered_rate, terminals_v) = match circuit {
            Circuit::Open => (0.0, 0.0, emf + eddy_v),
            Circuit::Loop(outside) => {
                let drive = outside.source_v - lowered - outside.resistance_ohm * current;
                let mut inner = resistance * current + brush + emf + eddy_v;
                let mut series = self.series_h * self.saturated(current);
                if by_angle != 0.0 {
                    inner += self.series_h * by_angle * self.linked(current).0 * omega;
                    series *= inductance_shape;
                }
                let rate = (drive - inner) / (series + outside.inductance_h);
                let lowered_rate = outside
                    .limit
                    .map_or(0.0, |(limit, gain)| gain * (current - limit));
                let lowered_rate = if lowered <= 0.0 {
                    lowered_rate.max(0.0)
                } else {
                    lowered_rate
                };
                (rate, lowered_rate, inner + series * rate)
            }
        };
        let torque = constant * current;
        let position_nm = if by_angle == 0.0 {
            position_nm
        } else {
            position_nm - self.series_h * by_angle * self.linked(current).1
        };
        let friction = self.friction(omega, direction);
        let (omega_rate, theta_rate) = match self.shaft {
            Shaft::Free if direction != 0.0 => (
                (torque - friction - position_nm) / self.inertia_kg_m2,
                omega,
            ),
            Shaft::Driven => (0.0, omega),
            _ => (0.0, 0.0),
        };
        Rates {
            y: [
                current_rate,
                eddy_rate,
                omega_rate,
                theta_rate,
                lowered_rate,
            ],
            powers: [
                terminals_v * current,
                resistance * current * current,
                brush * current,
                eddy_v * (current - eddy),
                friction * omega,
                emf * current,
                torque * omega,
            ],
        }
    }

    /// One Runge-Kutta step without events; also the energy that flowed.
    fn raw_step(&self, state: &State, circuit: &Circuit, h: f64) -> (State, [f64; 7]) {
        let y = state.vector();
        let at = |rates: &[f64; 5], share: f64| {
            let mut moved = y;
            for (value, rate) in moved.iter_mut().zip(rates) {
                *value += share * rate;
            }
            moved
        };
        let k1 = self.rates(&y, circuit, state.direction);
        let k2 = self.rates(&at(&k1.y, 0.5 * h), circuit, state.direction);
        let k3 = self.rates(&at(&k2.y, 0.5 * h), circuit, state.direction);
        let k4 = self.rates(&at(&k3.y, h), circuit, state.direction);
        let mut next = y;
        for (index, value) in next.iter_mut().enumerate() {
            *value += h / 6.0 * (k1.y[index] + 2.0 * k2.y[index] + 2.0 * k3.y[index] + k4.y[index]);
        }
        next[4] = next[4].max(0.0);
        let mut energy = [0.0; 7];
        for (index, value) in energy.iter_mut().enumerate() {
            *value = h / 6.0
                * (k1.powers[index]
                    + 2.0 * k2.powers[index]
                    + 2.0 * k3.powers[index]
                    + k4.powers[index]);
        }
        (state.with(next), energy)
    }

    fn book(&mut self, energy: [f64; 7]) {
        self.balance.terminals_j += energy[0];
        self.balance.copper_j += energy[1];
        self.balance.brush_j += energy[2];
        self.balance.eddy_j += energy[3];
        self.balance.friction_j += energy[4];
        self.balance.emf_j += energy[5];
        self.balance.torque_j += energy[6];
        if let Some(capacity) = self.machine.winding_heat_capacity_j_per_k {
            self.resistance_ohm +=
                self.machine.terminal_resistance_ohm * self.machine.copper_per_k * energy[1]
                    / capacity;
        }
    }

    /// Torque that would move a resting rotor.
    fn standing_torque(&self, state: &State) -> f64 {
        let (emf_shape, _, position_nm) = self.commutation.at(state.theta);
        let (_, by_angle) = self.commutation.inductance(state.theta);
        let current = state.current_a;
        self.constant * emf_shape * self.machine.flux_share(current) * current - position_nm
            + self.series_h * by_angle * self.linked(current).1
    }

    /// Lets a resting rotor break away where the torque suffices.
    fn try_to_move(&self, state: &mut State) {
        if self.shaft == Shaft::Free && state.direction == 0.0 {
            let torque = self.standing_torque(state);
            if torque.abs() > self.machine.breakaway_nm {
                state.direction = torque.signum();
            }
        }
    }

    /// Advances `state` by `h`. With `until_zero` the step ends where the current comes to zero; the time truly advanced is
    /// given back.
    pub fn step(&mut self, state: &mut State, circuit: &Circuit, h: f64, until_zero: bool) -> f64 {
        self.try_to_move(state);
        let mut length = h;
        let (mut next, mut energy) = self.raw_step(state, circuit, length);
        if until_zero && state.current_a * next.current_a <= 0.0 && state.current_a != 0.0 {
            let mut share = state.current_a / (state.current_a - next.current_a);
            // One secant correction: the current is no straight line within the step.
            let (trial, _) = self.raw_step(state, circuit, share * h);
            let slope = (trial.current_a - state.current_a) / (share * h);
            if slope != 0.0 {
                share = (share - trial.current_a / (slope * h)).clamp(0.0, 1.0);
            }
            length = share * h;
            (next, energy) = self.raw_step(state, circuit, length);
            next.current_a = 0.0;
        }
        if state.direction != 0.0 && next.omega * state.direction < 0.0 {
            // The rotor came to a stop within the step.
            let share = (state.omega / (state.omega - next.omega)).clamp(0.0, 1.0);
            let first = share * length;
            let (mut stopped, booked) = self.raw_step(state, circuit, first);
            self.book(booked);
            stopped.omega = 0.0;
            stopped.direction = 0.0;
            self.try_to_move(&mut stopped);
            let (last, booked) = self.raw_step(&stopped, circuit, length - first);
            self.book(booked);
            let zeroed = next.current_a == 0.0;
            *state = last;
            if zeroed {
                state.current_a = 0.0;
            }
            return length;
        }
        self.book(energy);
        *state = next;
        if matches!(circuit, Circuit::Open)
            && state.eddy_a != 0.0
            && self.parallel_ohm * state.eddy_a.abs() < 1e-9 * self.constant
        {
            // Less than a nanovolt at 1 rad/s: the branch no longer limits the step.
            state.eddy_a = 0.0;
        }
        length
    }

    /// Voltage over the motor's own terminals, and di/dt.
    pub fn terminals(&self, state: &State, circuit: &Circuit) -> (f64, f64) {
        match circuit {
            Circuit::Open => {
                let (emf_shape, _, _) = self.commutation.at(state.theta);
                let emf = self.constant * emf_shape * state.omega;
                (emf - self.parallel_ohm * state.eddy_a, 0.0)
            }
            Circuit::Loop(outside) => {
                let rate = self.rates(&state.vector(), circuit, state.direction).y[0];
                let voltage = outside.source_v
                    - state.lowered_v
                    - outside.resistance_ohm * state.current_a
                    - outside.inductance_h * rate;
                (voltage, rate)
            }
        }
    }

    /// Largest step that keeps the method well inside its accuracy: a twentieth of the fastest time constant while a switching
    /// still echoes (`since_switching_s`), two thirds of it once only ripple and motion drive the currents (the method is stable
    /// to 2.7), and 30 steps a commutation.
    pub fn longest_step(&self, state: &State, circuit: &Circuit, since_switching_s: f64) -> f64 {
        let mut rate = 0.0_f64;
        if let Circuit::Loop(outside) = circuit {
            let steep = self.machine.contact_slope_ohm(state.current_a);
            let series = self.series_h * self.saturated(state.current_a) + outside.inductance_h;
            rate =
                (self.resistance_ohm + outside.resistance_ohm + steep + self.parallel_ohm) / series;
            if let Some((_, gain)) = outside.limit {
                rate = rate.max((gain / series).sqrt());
            }
        }
        if self.branch_h > 0.0 && (state.eddy_a != 0.0 || rate > 0.0) {
            rate += self.parallel_ohm / (self.branch_h * self.saturated(state.eddy_a));
        }
        let electrical = if rate > 0.0 {
            let slowest_s = self.slowest_electrical_s(circuit);
            let calm = since_switching_s > 18.0 * slowest_s;
            (if calm { 0.67 } else { 0.05 }) / rate
        } else {
            f64::MAX
        };
        let turning = std::f64::consts::TAU / (30.0 * self.lines * state.omega.abs().max(1e-6));
        electrical.min(turning) / self.refinement
    }

    /// After about 18 of these the echo of a switching has fallen by e^-18.
    fn slowest_electrical_s(&self, circuit: &Circuit) -> f64 {
        let outside_ohm = match circuit {
            Circuit::Loop(outside) => outside.resistance_ohm,
            Circuit::Open => f64::INFINITY,
        };
        let whole = (self.series_h + self.branch_h) / (self.resistance_ohm + outside_ohm);
        if self.branch_h > 0.0 {
            whole + self.branch_h / self.parallel_ohm
        } else {
            whole
        }
    }

    /// Stored energy: motion, magnetic field and position, J.
    #[cfg(test)]
    pub fn stored_j(&self, state: &State) -> f64 {
        let field = |inductance: f64, current: f64| match self.machine.saturation_a {
            Some(scale) => {
                0.5 * inductance * scale * scale * libm::log1p((current / scale).powi(2))
            }
            None => 0.5 * inductance * current * current,
        };
        let position = -self.machine.cogging_nm / self.lines * libm::cos(self.lines * state.theta)
            - self.machine.unbalance_nm * libm::cos(state.theta);
        0.5 * self.inertia_kg_m2 * state.omega * state.omega
            + field(self.series_h, state.current_a) * self.commutation.inductance(state.theta).0
            + field(self.branch_h, state.eddy_a)
            + position
    }
}
