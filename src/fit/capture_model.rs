//! One capture as the model sees it: legs, the parameters that act on them, and the prediction with its derivatives.

use super::capture_entries::{
    add_attached, add_channels, add_lag, add_unknown_states, stands_still,
};
use super::lanes::{DIRECTIONS, LANES, Local, Setting, UNEVENNESS, direction, lane};
use super::layout::{Layout, Parameter, Slot, Source};
use super::legs::Leg;
use super::prediction::Prediction;
use super::unevenness::{add_waves, is_transient, waves};
use super::warming::Warming;
use crate::bench::{Bench, Role};
use crate::motor::Constants;
use nalgebra::DVector;

/// A capture prepared for the fit.
#[derive(Clone, Debug)]
pub struct CaptureModel {
    pub capture: usize,
    pub name: String,
    pub role: Role,
    pub legs: Vec<Leg>,
    /// For each direction the entries of the parameter vector it moves with, and by how much.
    pub links: Vec<Vec<(usize, f64)>>,
    pub(super) held: bool,
    series_ohm: f64,
    loop_ohm: f64,
    pub(super) source_v: Option<f64>,
    pub(super) current_lag_s: Option<f64>,
    /// How its own current warms the winding, where that is followed.
    pub(super) warming: Option<Warming>,
    /// Resistance at this capture's temperature over that at the reference capture's.
    temperature_ratio: f64,
    /// Inertia added to the rotor, kg·m², and load torque, N·m.
    attached: (f64, f64),
    /// Whether the screened share of the inductance is simulated.
    pub with_eddy: bool,
    /// Volt-seconds of back-EMF in a turn, as recorded, where this capture's unevenness over a turn is followed.
    pub(super) turn_v_s: Option<f64>,
    /// Cosine and sine of the waves of each bin of each leg; empty where a leg has none or its angles are not known yet.
    pub(super) waves: Vec<Vec<[f64; UNEVENNESS]>>,
    /// Instants on the capture's time axis at which the back-EMF is asked for, s.
    pub probes: Vec<f64>,
}

/// Places in the parameter vector that every capture shares.
#[derive(Clone, Debug)]
pub struct Shared {
    /// Entry for each of the directions 0 to 7 and for saturation, reaction, eddy share and eddy resistance.
    pub entries: Vec<(usize, usize)>,
    /// Winding temperature to which R belongs, °C.
    pub reference_temperature_c: Option<f64>,
    /// Whether the eddy branch takes part.
    pub with_eddy: bool,
    /// Relative standard deviation of the resistance over rotor positions.
    pub position_sd: f64,
    /// First guess of R, Ω.
    pub resistance_guess_ohm: f64,
    /// Volt-seconds of back-EMF in a turn, where the ripple told it.
    pub turn_v_s: Option<f64>,
}

/// Model steps a bin, on the average of a capture, beyond which a prediction is given up.
const MOST_STEPS_PER_BIN: u64 = 100;

impl CaptureModel {
    /// Prepares a capture and adds its own parameters to the layout.
    pub fn new(
        bench: &Bench,
        index: usize,
        legs: Vec<Leg>,
        shared: &Shared,
        layout: &mut Layout,
    ) -> Self {
        let capture = &bench.captures[index];
        let mut links = vec![Vec::new(); DIRECTIONS];
        for &(direction, entry) in &shared.entries {
            links[direction].push((entry, 1.0));
        }
        let held = matches!(capture.role, Role::LockedRotor | Role::PwmLocked)
            || (capture.role == Role::TurnOff && stands_still(&legs, shared.resistance_guess_ohm));
        add_channels(bench, capture, index, layout, &mut links);
        if held {
            let slot = Parameter::free(Slot::Position { capture: index }, 0.0);
            let slot = slot
                .with_prior(0.0, shared.position_sd, Source::Position)
                .stepping(0.1);
            links[direction::POSITION].push((layout.add(slot), 1.0));
        }
        let loop_ohm = capture.loop_resistance_ohm.map_or(0.0, |r| {
            if capture.waveform.voltage_v.is_none() && r.standard_uncertainty > 0.0 {
                let slot = Parameter::free(Slot::Loop { capture: index }, 0.0);
                let entry = layout.add(slot.with_prior(0.0, r.standard_uncertainty, Source::Loop));
                links[direction::LOOP].push((entry, 1.0));
            }
            if capture.waveform.voltage_v.is_none() {
                r.value
            } else {
                0.0
            }
        });
        let attached = add_attached(bench, index, layout, &mut links);
        add_unknown_states(&legs, index, held, layout, &mut links);
        let turn_v_s = shared.turn_v_s.filter(|_| {
            !held
                && legs
                    .iter()
                    .enumerate()
                    .any(|(number, leg)| is_transient(capture.role, number, leg))
        });
        if turn_v_s.is_some() {
            add_waves(index, layout, &mut links);
        }
        let temperature_ratio = match (
            shared.reference_temperature_c,
            capture.winding_temperature_c,
        ) {
            (Some(reference), Some(here)) => {
                crate::motor::temperature::copper_ratio(reference, here.value)
            }
            _ => 1.0,
        };
        let current_lag_s = add_lag(bench, capture, layout, &mut links);
        let series_ohm = capture.series_in_voltage.map_or(0.0, |(ohm, _)| ohm);
        let warming = (!links[direction::HEAT].is_empty()).then(|| {
            let winding = shared.resistance_guess_ohm;
            Warming::of(capture, winding / (winding + series_ohm + loop_ohm))
        });
        CaptureModel {
            capture: index,
            name: capture.name.clone(),
            role: capture.role,
            legs,
            links,
            held,
            series_ohm,
            loop_ohm,
            source_v: if capture.waveform.voltage_v.is_none() {
                capture.source_v.map(|v| v.value)
            } else {
                None
            },
            current_lag_s,
            warming,
            temperature_ratio,
            attached,
            with_eddy: shared.with_eddy,
            turn_v_s,
            waves: Vec::new(),
            probes: Vec::new(),
        }
    }

    /// Relative rise of the winding's resistance when it is so much warmer than at the capture's beginning, K.
    pub(super) fn warmed_share(&self, kelvin: f64) -> f64 {
        self.warming.map_or(0.0, |w| w.rise(kelvin))
    }

    /// Model steps beyond which one prediction is given up.
    pub(super) fn most_steps(&self) -> u64 {
        MOST_STEPS_PER_BIN * self.bins()
    }

    /// Bins of all legs.
    pub fn bins(&self) -> u64 {
        self.legs.iter().map(|l| l.bins.len() as u64).sum()
    }

    pub(super) fn local(&self, x: &DVector<f64>, which: usize) -> f64 {
        self.links[which]
            .iter()
            .map(|&(entry, factor)| factor * x[entry])
            .sum()
    }

    fn variable(&self, x: &DVector<f64>, which: usize) -> Setting {
        Setting::variable(self.local(x, which), which)
    }

    fn exponential(&self, x: &DVector<f64>, which: usize) -> Setting {
        let value = self.local(x, which).exp();
        let mut out = Setting::from(value);
        out.gradient[which] = value;
        out
    }

    /// The model's constants with their derivatives in this capture's directions.
    fn settings(&self, x: &DVector<f64>) -> Constants<Setting> {
        use direction as d;
        let winding = self.exponential(x, d::RESISTANCE)
            * self.temperature_ratio
            * (self.variable(x, d::POSITION) + 1.0);
        let series = (self.variable(x, d::SHUNT) + 1.0) * self.series_ohm;
        // J' /K² and T/K of what was attached to the shaft.
        let per_k = self.exponential(x, d::CONSTANT);
        let per_k = Setting::from(1.0) / per_k;
        let actual = self.variable(x, d::ATTACHED) + 1.0;
        let added_capacitance = per_k * per_k * actual * self.attached.0;
        let load_current = per_k * actual * self.attached.1;
        Constants {
            resistance: winding + series + self.variable(x, d::LOOP) + self.loop_ohm,
            inductance: self.exponential(x, d::INDUCTANCE),
            capacitance: self.exponential(x, d::CAPACITANCE) + added_capacitance,
            friction_current: self.variable(x, d::FRICTION) + load_current,
            viscous_conductance: self.variable(x, d::VISCOUS),
            windage: self.variable(x, d::WINDAGE),
            brush_drop: self.variable(x, d::BRUSH_DROP),
            brush_scale: self.exponential(x, d::BRUSH_SCALE),
            saturation: self.variable(x, d::SATURATION),
            reaction: self.variable(x, d::REACTION),
            eddy_share: self.variable(x, d::EDDY_SHARE),
            eddy_resistance: self.exponential(x, d::EDDY_RESISTANCE),
            with_eddy: self.with_eddy,
            independent: false,
        }
    }

    /// For each lane the entries of the parameter vector it moves with.
    fn slopes(&self, settings: &Constants<Setting>) -> Vec<Vec<(usize, f64)>> {
        let mut out = vec![Vec::new(); LANES];
        for (entries, constant) in out.iter_mut().zip(settings.each()) {
            for (links, slope) in self.links.iter().zip(&constant.gradient) {
                if *slope != 0.0 {
                    entries.extend(links.iter().map(|&(entry, factor)| (entry, factor * slope)));
                }
            }
        }
        for (lane, direction) in lane::OF_DIRECTIONS {
            out[lane].clone_from(&self.links[direction]);
        }
        for wave in 0..UNEVENNESS {
            out[lane::UNEVENNESS + wave].clone_from(&self.links[direction::UNEVENNESS + wave]);
        }
        out
    }

    /// Predicts every row at the parameter vector `x`, with derivatives; `None` where the model cannot be evaluated, or only in far more steps
    /// than a motor on its own voltage takes. The model steps it took are added to `steps`.
    pub fn predict(&self, x: &DVector<f64>, steps: &mut u64) -> Option<Prediction> {
        let settings = self.settings(x);
        Some(Prediction {
            slopes: self.slopes(&settings),
            ..self.follow::<Local>(x, &settings.as_independent(), steps)?
        })
    }

    /// The same without derivatives, at a fraction of the cost.
    pub(super) fn predict_values(
        &self,
        x: &DVector<f64>,
        steps: &mut u64,
    ) -> Option<Prediction<f64>> {
        self.follow::<f64>(x, &self.settings(x).values(), steps)
    }

    /// Lays the waves of the back-EMF constant over the angles that were predicted. They stay where they are until the next call:
    /// the phase of a wave is no information on the parameters that the fit should use.
    pub fn lay_waves(&mut self, prediction: &Prediction) {
        let Some(turn_v_s) = self.turn_v_s else {
            return;
        };
        self.waves = prediction
            .angles
            .iter()
            .map(|leg| leg.iter().map(|at| waves(*at, turn_v_s)).collect())
            .collect();
    }
}
