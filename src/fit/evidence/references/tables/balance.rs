//! One balance of one row: what is left of it, in its standard deviation.

use super::super::meters::InductanceTerm;
use super::super::term::Term;
use super::meter::Metered;
use crate::fit::unknowns::{Entry, STEADY_KINDS};
use crate::motor::{Dual, Real};
use crate::quantity::units::Quantity;
use nalgebra::DVector;
use std::sync::Arc;

/// One residual of a table.
#[derive(Clone, Debug)]
pub struct RowTerm {
    /// Place of the table in the bench.
    pub table: usize,
    pub name: Arc<str>,
    /// Row of the table, from 0.
    pub row: usize,
    pub what: Residual,
}

#[derive(Clone, Debug)]
pub enum Residual {
    Balance(Box<Balance>),
    Inductance(InductanceTerm),
}

/// Which of the two balances.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum BalanceOf {
    Voltage,
    Torque,
}

/// A balance of one row.
#[derive(Clone, Debug)]
pub struct Balance {
    pub of: BalanceOf,
    /// Whether the rotor is held: no back-EMF, and friction holds part of the torque, either way.
    pub held: bool,
    /// Standard deviation of the residual, V or A.
    pub sd: f64,
    pub voltage: Metered,
    pub current: Metered,
    /// Absent: the back-EMF follows from the voltage balance.
    pub speed: Option<Metered>,
    /// Absent: nothing but the motor's own friction loads it.
    pub torque: Option<Metered>,
    pub motor: [Entry; STEADY_KINDS.len()],
    /// ln K, where speed or torque is read.
    pub constant: Option<Entry>,
    /// R here over R in the captures at their temperature, without what follows.
    pub temperature_ratio: f64,
    /// Relative rise of R: entries with their slopes.
    pub rise: Vec<(Entry, f64)>,
}

const MOTOR: usize = STEADY_KINDS.len();
const CONSTANT: usize = MOTOR;
const VOLTAGE: usize = MOTOR + 1;
const CURRENT: usize = MOTOR + 2;
const SPEED: usize = MOTOR + 3;
const TORQUE: usize = MOTOR + 4;
const RISE: usize = MOTOR + 5;
const LOCALS: usize = MOTOR + 6;
type Local = Dual<LOCALS>;

impl RowTerm {
    /// The reading that it compares with the others of its row.
    pub fn quantity(&self) -> Quantity {
        match &self.what {
            Residual::Inductance(_) => Quantity::Inductance,
            Residual::Balance(balance) => match balance.of {
                BalanceOf::Voltage => Quantity::Voltage,
                BalanceOf::Torque => Quantity::Current,
            },
        }
    }

    /// Standard deviation of that reading, in its unit.
    pub fn standard_deviation(&self, reading: f64) -> f64 {
        match &self.what {
            Residual::Inductance(term) => term.own_sd() * reading,
            Residual::Balance(balance) => balance.sd,
        }
    }

    /// 1 where the residual is reading less model, −1 where it is model less reading.
    pub fn sign(&self) -> f64 {
        match &self.what {
            Residual::Inductance(_) => -1.0,
            Residual::Balance(_) => 1.0,
        }
    }

    /// Its residual at `x`; `None` where it cannot be evaluated.
    pub fn evaluate(&self, x: &DVector<f64>) -> Option<Term> {
        match &self.what {
            Residual::Balance(balance) => balance.evaluate(x),
            Residual::Inductance(term) => Some(term.evaluate(x)),
        }
    }
}

impl Balance {
    fn evaluate(&self, x: &DVector<f64>) -> Option<Term> {
        let mut entries: Vec<(usize, Entry, f64)> = Vec::with_capacity(LOCALS + 8);
        let mut plain = |place: usize, entry: Entry| {
            entries.push((place, entry, 1.0));
            Local::variable(x[entry], place)
        };
        let [log_r, friction, viscous, windage, drop, log_scale, reaction] =
            std::array::from_fn(|k| plain(k, self.motor[k]));
        let k = self
            .constant
            .map(|entry| exponential(plain(CONSTANT, entry)));
        let mut metered = |place: usize, of: &Metered| {
            let (value, slopes) = of.true_value(x);
            entries.extend(slopes.map(|(entry, by)| (place, entry, by)));
            Local::variable(value, place)
        };
        let v = metered(VOLTAGE, &self.voltage);
        let i = metered(CURRENT, &self.current);
        let speed = self.speed.as_ref().map(|of| metered(SPEED, of));
        let load = self.torque.as_ref().map(|of| metered(TORQUE, of));
        let mut rise = 0.0;
        for &(entry, by) in &self.rise {
            rise += by * x[entry];
            entries.push((RISE, entry, by));
        }
        let rise = Local::variable(rise, RISE);
        let flux = -(reaction * i) + 1.0;
        let winding = exponential(log_r) * self.temperature_ratio * (rise + 1.0);
        let beside = v - winding * i - drop * (i / exponential(log_scale)).tanh();
        let emf = match (self.held, speed, k) {
            (true, ..) => Local::from(0.0),
            (false, Some(speed), Some(k)) => k * speed,
            _ => beside / flux,
        };
        let left = match self.of {
            BalanceOf::Voltage => beside - flux * emf,
            BalanceOf::Torque => {
                let mut left = flux * i;
                if !self.held {
                    left = left - friction - viscous * emf - windage * emf * emf;
                }
                match (load, k) {
                    (Some(load), Some(k)) => left - load / k,
                    _ => left,
                }
            }
        };
        let gradient = entries
            .into_iter()
            .map(|(place, entry, by)| (entry, by * left.gradient[place] / self.sd))
            .filter(|(_, by)| *by != 0.0);
        left.value.is_finite().then(|| Term {
            residual: left.value / self.sd,
            gradient: gradient.collect(),
        })
    }
}

fn exponential(log: Local) -> Local {
    let value = log.value.exp();
    Local::chain(value, [value], [log])
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bench::ReadingColumn;
    use crate::fit::unknowns::{Layout, Parameter, ParameterKind};
    use approx::assert_relative_eq;

    const START: [f64; MOTOR] = [1.16, 0.13, 3.4e-3, 2e-5, 0.8, -2.8, 0.003];

    fn column(quantity: Quantity, value: f64) -> ReadingColumn {
        ReadingColumn {
            quantity,
            values: vec![value],
            gain_uncertainty: 5e-3,
            zero_uncertainty: 1e-3,
            meter: None,
        }
    }

    fn balance(of: BalanceOf, held: bool, with_speed: bool) -> (Balance, Layout) {
        let mut layout = Layout::default();
        let kinds = STEADY_KINDS.iter().zip(START);
        let motor: Vec<Entry> = kinds
            .map(|(kind, at)| layout.add(Parameter::free(kind.clone(), at)))
            .collect();
        let constant = Parameter::free(ParameterKind::LogBackEmfConstant, 0.042f64.ln());
        let constant = layout.add(constant);
        let rise = layout.add(Parameter::free(
            ParameterKind::Position { capture: 0 },
            0.01,
        ));
        let mut metered = |quantity, value| Metered::new(&column(quantity, value), 0, &mut layout);
        let balance = Balance {
            of,
            held,
            sd: 0.01,
            voltage: metered(Quantity::Voltage, 24.0),
            current: metered(Quantity::Current, 1.3),
            speed: with_speed.then(|| metered(Quantity::Speed, 450.0)),
            torque: Some(metered(Quantity::Torque, 0.046)),
            motor: motor.try_into().expect("seven"),
            constant: Some(constant),
            temperature_ratio: 1.02,
            rise: vec![(rise, 0.004)],
        };
        (balance, layout)
    }

    #[test]
    fn its_derivatives_agree_with_central_differences() {
        use BalanceOf::{Torque, Voltage};
        for (of, held, with_speed) in [
            (Voltage, false, true),
            (Voltage, true, false),
            (Torque, false, true),
            (Torque, true, false),
            (Torque, false, false),
        ] {
            let (balance, layout) = balance(of, held, with_speed);
            let x = layout.start().map(|v| v + 1e-3);
            let gradient = balance
                .evaluate(&x)
                .expect("a residual")
                .gradient_vector(x.len());
            for k in 0..x.len() {
                let h = 1e-6 * x[k].abs().max(1e-2);
                let at = |h: f64| {
                    let mut x = x.clone();
                    x[k] += h;
                    balance.evaluate(&x).expect("a residual").residual
                };
                let difference = (at(h) - at(-h)) / (2.0 * h);
                assert_relative_eq!(gradient[k], difference, max_relative = 1e-5, epsilon = 1e-5);
            }
        }
    }

    /// The contact is on its plateau at this current.
    #[test]
    fn the_voltage_balance_is_that_of_the_equation() {
        let (balance, layout) = balance(BalanceOf::Voltage, false, true);
        let left = balance
            .evaluate(&layout.start())
            .expect("a residual")
            .residual
            * balance.sd;
        let by_hand = 24.0 - 1.16f64.exp() * 1.02 * 1.00004 * 1.3 - 0.8 - 0.9961 * 0.042 * 450.0;
        assert_relative_eq!(left, by_hand, epsilon = 1e-6);
    }
}
