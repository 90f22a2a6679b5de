//! The unknowns of heat records, their simulation and residuals.
//!
//! Unknowns: logarithms of the four constants and of the winding's resistance, then standardised departures (prior: normal, mean 0, variance 1)
//! of whatever has a stated accuracy: contact drop, share of the resistance that is not copper, film at an ohmmeter's current, and of each
//! record its gains, zeros, room and state at the beginning.

use super::observed::{Bins, Observed};
use crate::fit::solve::{LeastSquares, NormalEquations};
use crate::motor::temperature::COPPER_INFERRED_ZERO_C;
use crate::motor::thermal::{Heat, Rise, ThermalNetwork};
use crate::motor_file::Thermal;
use nalgebra::{DMatrix, DVector};

/// What the fit of the captures gives.
#[derive(Clone, Copy, Debug)]
pub(super) struct Electrical {
    /// Ω, with its standard uncertainty, over all positions of the rotor.
    pub resistance_ohm: (f64, f64),
    /// Temperature of that resistance, °C.
    pub resistance_c: f64,
    pub brush_drop_v: (f64, f64),
    pub brush_scale_a: f64,
    /// Standard uncertainty of the share of the resistance that is not copper.
    pub other_share: f64,
    /// Whether the contact film of an ohmmeter's small current counts.
    pub film: bool,
}

/// Relative standard deviation of the resistance from position to position. Common practice, no source.
const POSITION: f64 = 0.03;
/// Standard uncertainty of the temperature of a motor at rest against the room, K. Common practice, no source.
const AT_REST_K: f64 = 1.0;
/// The same where nothing is known of the state at the beginning.
const UNKNOWN_K: f64 = 100.0;
/// Standard uncertainty of the share by which a sensor on the housing misses its rise: one that is taped on reads low. Common practice, no source.
const HOUSING_CONTACT: f64 = 0.02;
/// Standard deviation of the logarithm of a constant of which nothing is known.
const VAGUE: f64 = 5.0;

/// Places of the shared unknowns.
const DROP: usize = 5;
const OTHER: usize = 6;
const FILM: usize = 7;
const SHARED: usize = 8;
/// Places of those of a record, from its first one.
const VOLTAGE_GAIN: usize = 0;
const CURRENT_GAIN: usize = 1;
const OHM_GAIN: usize = 2;
const LEADS: usize = 3;
const HOUSING_ZERO: usize = 4;
const AMBIENT: usize = 5;
const WINDING_START: usize = 6;
const HOUSING_START: usize = 7;
const HOUSING_GAIN: usize = 8;
const EACH: usize = 9;

/// Which quantity a residual is of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Trace {
    Voltage,
    Resistance,
    Housing,
}

/// A residual before it is divided by its standard deviation.
pub(super) struct Residual {
    pub record: usize,
    pub trace: Trace,
    /// Observed less simulated, in the unit of the trace.
    pub apart: f64,
    pub noise: f64,
}

/// The records beside the model.
pub(super) struct Problem {
    pub electrical: Electrical,
    pub records: Vec<Observed>,
    /// Factor of the noise of each record's traces, from how well the model follows them.
    pub inflation: Vec<[f64; 3]>,
    pub center: [f64; 4],
}

/// What a simulation gives beside the residuals.
pub(super) struct Simulated {
    pub residuals: Vec<Residual>,
    pub hottest_c: f64,
    /// Winding and housing at each bin of each record, °C.
    pub temperatures_c: Vec<Vec<[f64; 2]>>,
}

impl Problem {
    pub fn unknowns(&self) -> usize {
        SHARED + EACH * self.records.len()
    }

    /// The start: the guessed constants, everything else as stated.
    pub fn start(&self, log_network: [f64; 4]) -> DVector<f64> {
        let mut x = DVector::zeros(self.unknowns());
        x.as_mut_slice()[..4].copy_from_slice(&log_network);
        x[4] = self.electrical.resistance_ohm.0.ln();
        x
    }

    fn network(x: &DVector<f64>) -> ThermalNetwork {
        Thermal::network([x[0], x[1], x[2], x[3]])
    }

    /// Everything observed beside everything simulated; `None` where it is not finite.
    pub fn simulate(&self, x: &DVector<f64>) -> Option<Simulated> {
        let network = Problem::network(x);
        let mut out = Simulated {
            residuals: Vec::new(),
            hottest_c: f64::NEG_INFINITY,
            temperatures_c: Vec::with_capacity(self.records.len()),
        };
        let mut ends: Vec<(Rise, f64)> = Vec::with_capacity(self.records.len());
        for (record, observed) in self.records.iter().enumerate() {
            let own = |place: usize| x[SHARED + EACH * record + place];
            let ambient_c = observed.ambient_c.0 + observed.ambient_c.1 * own(AMBIENT);
            let before = observed.after.map(|run| ends[run]);
            let mut rise = begin(observed, &network, before, ambient_c, own);
            let mut last: Option<(f64, Heat)> = None;
            let mut of_record = Vec::with_capacity(observed.time_s.len());
            for (bin, &time_s) in observed.time_s.iter().enumerate() {
                let current_a = observed.current_a.as_ref().map_or(0.0, |bins| {
                    bins.means[bin] * (1.0 - bins.relative * own(CURRENT_GAIN))
                });
                let voltage_v = observed
                    .voltage_v
                    .as_ref()
                    .map(|bins| bins.means[bin] * (1.0 - bins.relative * own(VOLTAGE_GAIN)));
                let heat = |winding_c| self.heat(x, observed, voltage_v, current_a, winding_c);
                // Between two bins the heat is the mean of both; it hardly changes in that time.
                if let Some((before_s, before)) = last {
                    let now = heat(ambient_c + rise.winding_k);
                    let between = Heat::new(
                        0.5 * (before.winding_w + now.winding_w),
                        0.5 * (before.housing_w + now.housing_w),
                    );
                    rise = network.after(rise, between, time_s - before_s);
                } else if observed.after.is_none() && time_s > 0.0 && observed.current_a.is_some() {
                    rise = network.after(rise, heat(ambient_c), time_s);
                }
                let winding_c = ambient_c + rise.winding_k;
                out.hottest_c = out.hottest_c.max(winding_c);
                of_record.push([winding_c, ambient_c + rise.housing_k]);
                last = Some((time_s, heat(winding_c)));
                let electrical = (voltage_v, current_a);
                let apart = self.apart(x, record, bin, electrical, ambient_c, rise);
                out.residuals.extend(apart.into_iter().flatten());
            }
            ends.push((rise, ambient_c));
            out.temperatures_c.push(of_record);
        }
        let finite = out.residuals.iter().all(|r| r.apart.is_finite());
        finite.then_some(out)
    }

    /// Residuals of a bin; `None` for what was not observed in it.
    fn apart(
        &self,
        x: &DVector<f64>,
        record: usize,
        bin: usize,
        (voltage_v, current_a): (Option<f64>, f64),
        ambient_c: f64,
        rise: Rise,
    ) -> [Option<Residual>; 3] {
        let observed = &self.records[record];
        let own = |place: usize| x[SHARED + EACH * record + place];
        let resistance_ohm = self.resistance(x, ambient_c + rise.winding_k);
        let residual = |trace, bins: &Bins, apart: f64| {
            (!apart.is_nan()).then_some(Residual {
                record,
                trace,
                apart,
                noise: bins.noise[bin],
            })
        };
        let held = observed.voltage_v.as_ref().zip(voltage_v);
        let voltage = held.filter(|_| observed.rotor_held);
        let voltage = voltage.and_then(|(bins, voltage_v)| {
            let simulated = current_a * resistance_ohm + self.drop(x, current_a);
            residual(Trace::Voltage, bins, voltage_v - simulated)
        });
        let resistance = observed.resistance_ohm.as_ref().and_then(|bins| {
            let read = bins.means[bin] * (1.0 - bins.relative * own(OHM_GAIN))
                - bins.absolute * own(OHM_GAIN)
                - observed.leads_ohm.0
                - observed.leads_ohm.1 * own(LEADS);
            let film_ohm = match self.electrical.film {
                true => self.electrical.resistance_ohm.0 * x[FILM],
                false => 0.0,
            };
            residual(Trace::Resistance, bins, read - resistance_ohm - film_ohm)
        });
        let housing = observed.housing_c.as_ref().and_then(|bins| {
            let read = bins.means[bin] - bins.absolute * own(HOUSING_ZERO);
            let seen_k = rise.housing_k * (1.0 - HOUSING_CONTACT * own(HOUSING_GAIN));
            residual(Trace::Housing, bins, read - ambient_c - seen_k)
        });
        [voltage, resistance, housing]
    }

    /// Contact drop of the brushes, V.
    fn drop(&self, x: &DVector<f64>, current_a: f64) -> f64 {
        let (drop_v, uncertainty_v) = self.electrical.brush_drop_v;
        (drop_v + uncertainty_v * x[DROP]) * (current_a / self.electrical.brush_scale_a).tanh()
    }

    /// How fast that rises with the winding's temperature, Ω/K.
    pub fn resistance_ohm_per_k(&self, x: &DVector<f64>) -> f64 {
        self.resistance(x, 1.0) - self.resistance(x, 0.0)
    }

    /// Resistance of winding and brushes, Ω.
    fn resistance(&self, x: &DVector<f64>, winding_c: f64) -> f64 {
        let copper = (winding_c - COPPER_INFERRED_ZERO_C)
            / (self.electrical.resistance_c - COPPER_INFERRED_ZERO_C);
        let other = self.electrical.other_share * x[OTHER];
        x[4].exp() * ((1.0 - other) * copper + other)
    }

    /// A held rotor turns all power into heat of the winding and brushes; of a free one what friction takes warms bearings and housing.
    fn heat(
        &self,
        x: &DVector<f64>,
        observed: &Observed,
        voltage_v: Option<f64>,
        current_a: f64,
        winding_c: f64,
    ) -> Heat {
        let Some(voltage_v) = voltage_v else {
            return Heat::default();
        };
        let power_w = voltage_v * current_a;
        if observed.rotor_held {
            return Heat {
                winding_w: power_w,
                housing_w: 0.0,
            };
        }
        let winding_w =
            current_a * (current_a * self.resistance(x, winding_c) + self.drop(x, current_a));
        Heat::new(winding_w, power_w - winding_w)
    }

    /// Residuals in standard deviations, priors last.
    fn standardised(&self, x: &DVector<f64>) -> Option<Vec<f64>> {
        let simulated = self.simulate(x)?;
        let mut all: Vec<f64> = simulated
            .residuals
            .iter()
            .map(|r| r.apart / (r.noise * self.inflation[r.record][r.trace as usize]))
            .collect();
        all.extend((0..4).map(|k| (x[k] - self.center[k]) / VAGUE));
        let (value, uncertainty) = self.electrical.resistance_ohm;
        let spread = POSITION.hypot(uncertainty / value);
        all.push((x[4] - value.ln()) / spread);
        all.extend(x.iter().skip(5));
        Some(all)
    }
}

/// The rise at the beginning of a record; `before`: where the run that it follows ended, with the temperature of the room then.
fn begin(
    observed: &Observed,
    network: &ThermalNetwork,
    before: Option<(Rise, f64)>,
    ambient_c: f64,
    own: impl Fn(usize) -> f64,
) -> Rise {
    match before {
        Some((end, of_room_c)) => {
            let moved = of_room_c - ambient_c;
            let begun = Rise::new(end.winding_k + moved, end.housing_k + moved);
            let wait_s = observed.delay_s + observed.time_s[0];
            network.after(begun, Heat::default(), wait_s)
        }
        None if observed.current_a.is_none() => Rise::new(
            UNKNOWN_K * (0.5 + own(WINDING_START)),
            UNKNOWN_K * (0.5 + own(HOUSING_START)),
        ),
        None => Rise::new(
            AT_REST_K * own(WINDING_START),
            AT_REST_K * own(HOUSING_START),
        ),
    }
}

impl LeastSquares for Problem {
    fn dimension(&self) -> usize {
        self.unknowns()
    }

    fn cost(&self, x: &DVector<f64>) -> Option<f64> {
        let residuals = self.standardised(x)?;
        Some(0.5 * residuals.iter().map(|r| r * r).sum::<f64>())
    }

    fn normal_equations(&self, x: &DVector<f64>) -> Option<NormalEquations> {
        let residuals = DVector::from_vec(self.standardised(x)?);
        let mut jacobian = DMatrix::zeros(residuals.len(), x.len());
        for k in 0..x.len() {
            // Unknowns are logarithms and standard deviations, so one step serves all.
            let step = 1e-4;
            let (mut up, mut down) = (x.clone(), x.clone());
            up[k] += step;
            down[k] -= step;
            let (up, down) = (self.standardised(&up)?, self.standardised(&down)?);
            for (row, (a, b)) in up.iter().zip(&down).enumerate() {
                jacobian[(row, k)] = (a - b) / (2.0 * step);
            }
        }
        Some(NormalEquations {
            cost: 0.5 * residuals.norm_squared(),
            gradient: jacobian.tr_mul(&residuals),
            normal: jacobian.tr_mul(&jacobian),
        })
    }
}
