//! One capture as the model sees it: segments, the parameters that act on them, and the prediction with its derivatives.

use super::gradient::{Component, Local, Setting, Slopes, exponential_setting, setting};
use super::prediction::Prediction;
use super::unevenness::{has_transient, waves};
use super::warming::Warming;
use crate::bench::{Bench, Capture, CoastingBridge, Role};
use crate::fit::data::{Bin, Segment, SegmentKind};
use crate::fit::unknowns::{
    Direction, Layout, Links, SharedEntries, UNEVENNESS, add_attached, add_channels,
    add_inductance_position, add_lag, add_loop, add_position, add_unknown_states, add_waves,
    stands_still,
};
use crate::motor::temperature::copper_ratio;
use crate::motor::{Constants, TOLERANCE};
use nalgebra::DVector;

/// Cosine and sine of the waves of the back-EMF constant over each bin of each segment.
pub type Waves = Vec<Vec<[f64; UNEVENNESS]>>;

/// A capture prepared for the fit.
#[derive(Clone, Debug)]
pub struct CaptureModel {
    pub capture: usize,
    pub name: String,
    pub role: Role,
    pub segments: Vec<Segment>,
    /// For each direction the entries of the unknowns it moves with, and by how much.
    pub links: Links,
    pub(crate) held: bool,
    series_ohm: f64,
    loop_ohm: f64,
    pub(crate) source_v: Option<f64>,
    /// Bridge between an unrecorded source and the motor.
    pub(crate) coasting: Option<CoastingBridge>,
    pub(crate) current_lag_s: Option<f64>,
    /// How its own current warms the winding, where that is followed.
    pub(crate) warming: Option<Warming>,
    /// Resistance at this capture's temperature over that at the reference capture's.
    temperature_ratio: f64,
    /// Inertia added to the rotor, kg·m², and load torque, N·m.
    attached: (f64, f64),
    /// Whether the screened share of the inductance is simulated.
    pub with_eddy: bool,
    /// Volt-seconds of back-EMF in a turn, as recorded, where this capture's unevenness over a turn is followed.
    pub(crate) turn_v_s: Option<f64>,
    /// Cosine and sine of the waves of each bin of each segment; empty where a segment has none or its angles are not known yet.
    pub(crate) waves: Waves,
    /// Instants on the capture's time axis at which the back-EMF is asked for, s.
    pub probes: Vec<f64>,
    /// Instants on the capture's time axis at which the volt-seconds of back-EMF are asked for, s.
    pub instants: Vec<f64>,
}

/// Model steps a bin, on the average of a capture, beyond which a prediction is given up.
const MOST_STEPS_PER_BIN: u64 = 100;

impl CaptureModel {
    /// Prepares a capture and adds its own parameters to the layout.
    pub fn new(
        bench: &Bench,
        index: usize,
        segments: Vec<Segment>,
        shared: &SharedEntries,
        layout: &mut Layout,
    ) -> Self {
        let capture = &bench.captures[index];
        let mut links = Links::default();
        for &(direction, entry) in &shared.entries {
            links.add(direction, entry);
        }
        let held = is_held(capture.role, &segments, shared.resistance_guess_ohm);
        add_channels(bench, capture, index, layout, &mut links);
        if held {
            add_position(index, shared.position_sd, layout, &mut links);
        }
        if !matches!(capture.role, Role::RunDown | Role::Steady | Role::Driven) {
            add_inductance_position(index, layout, &mut links);
        }
        let loop_ohm = add_loop(capture, index, layout, &mut links);
        let attached = add_attached(bench, index, layout, &mut links);
        let dies = capture.coasting.is_some();
        add_unknown_states(&segments, index, (held, dies), layout, &mut links);
        let turn_v_s = shared
            .turn_v_s
            .filter(|_| !held && has_transient(capture.role, &segments));
        if turn_v_s.is_some() {
            add_waves(index, layout, &mut links);
        }
        let current_lag_s = add_lag(bench, capture, layout, &mut links);
        let series_ohm = capture.series_in_voltage.map_or(0.0, |(ohm, _)| ohm);
        let warming = (!links.is_fixed(Direction::HEAT)).then(|| {
            let winding = shared.resistance_guess_ohm;
            Warming::of(capture, winding / (winding + series_ohm + loop_ohm))
        });
        let unrecorded = capture.waveform.voltage_v.is_none();
        CaptureModel {
            capture: index,
            name: capture.name.clone(),
            role: capture.role,
            segments,
            links,
            held,
            series_ohm,
            loop_ohm,
            source_v: capture.source_v.filter(|_| unrecorded).map(|v| v.value),
            coasting: capture.coasting.filter(|_| unrecorded),
            current_lag_s,
            warming,
            temperature_ratio: temperature_ratio(capture, shared.reference_temperature_c),
            attached,
            with_eddy: shared.with_eddy,
            turn_v_s,
            waves: Vec::new(),
            probes: Vec::new(),
            instants: Vec::new(),
        }
    }

    /// Relative rise of the winding's resistance when it is so much warmer than at the capture's beginning, K.
    pub(crate) fn warmed_share(&self, kelvin: f64) -> f64 {
        self.warming.map_or(0.0, |w| w.rise(kelvin))
    }

    /// Model steps beyond which one prediction is given up.
    pub(crate) fn most_steps(&self) -> u64 {
        MOST_STEPS_PER_BIN * self.bins()
    }

    /// Mean voltage over the motor in the last fifth of the last closed segment, V; none where it was not recorded or something else than the
    /// motor's friction loads the shaft.
    pub fn final_voltage_v(&self) -> Option<f64> {
        let closed = |s: &&Segment| s.kind == SegmentKind::Connected;
        let bins = &self.segments.iter().rev().find(closed)?.bins;
        let last = &bins[bins.len() * 4 / 5..];
        let mean = |of: &dyn Fn(&Bin) -> f64| last.iter().map(of).sum::<f64>() / last.len() as f64;
        let voltage_v = mean(&|bin| bin.voltage_v - self.series_ohm * bin.current_a);
        (voltage_v.is_finite() && self.attached.1 == 0.0).then_some(voltage_v)
    }

    /// Bins of all segments.
    pub fn bins(&self) -> u64 {
        self.segments.iter().map(|l| l.bins.len() as u64).sum()
    }

    /// Value of a direction at the unknowns `x`.
    pub(crate) fn local(&self, x: &DVector<f64>, direction: Direction) -> f64 {
        self.links[direction]
            .iter()
            .map(|&(entry, factor)| factor * x[entry])
            .sum()
    }

    fn variable(&self, x: &DVector<f64>, direction: Direction) -> Setting {
        setting(self.local(x, direction), direction)
    }

    fn exponential(&self, x: &DVector<f64>, direction: Direction) -> Setting {
        exponential_setting(self.local(x, direction), direction)
    }

    /// The model's constants with their derivatives in this capture's directions.
    fn settings(&self, x: &DVector<f64>) -> Constants<Setting> {
        use Direction as D;
        let winding = self.exponential(x, D::RESISTANCE)
            * self.temperature_ratio
            * (self.variable(x, D::POSITION) + 1.0);
        let series = (self.variable(x, D::SHUNT) + 1.0) * self.series_ohm;
        // J' /K² and T/K of what was attached to the shaft.
        let per_k = self.exponential(x, D::CONSTANT);
        let per_k = Setting::from(1.0) / per_k;
        let actual = self.variable(x, D::ATTACHED) + 1.0;
        let added_capacitance = per_k * per_k * actual * self.attached.0;
        let load_current = per_k * actual * self.attached.1;
        Constants {
            resistance: winding + series + self.variable(x, D::LOOP) + self.loop_ohm,
            inductance: self.exponential(x, D::INDUCTANCE)
                * (self.variable(x, D::INDUCTANCE_POSITION) + 1.0),
            capacitance: self.exponential(x, D::CAPACITANCE) + added_capacitance,
            friction_current: self.variable(x, D::FRICTION) + load_current,
            viscous_conductance: self.variable(x, D::VISCOUS),
            windage: self.variable(x, D::WINDAGE),
            brush_drop: self.variable(x, D::BRUSH_DROP),
            brush_scale: self.exponential(x, D::BRUSH_SCALE),
            saturation: self.variable(x, D::SATURATION),
            reaction: self.variable(x, D::REACTION),
            eddy_share: self.variable(x, D::EDDY_SHARE),
            eddy_resistance: self.exponential(x, D::EDDY_RESISTANCE),
            with_eddy: self.with_eddy,
            tolerance: TOLERANCE,
            independent: false,
        }
    }

    /// For each component the entries of the unknowns that it moves with.
    fn slopes(&self, settings: &Constants<Setting>) -> Slopes {
        let mut out = Slopes::of_nothing();
        for (entries, constant) in out.each_mut().zip(settings.each()) {
            for (links, slope) in self.links.each().zip(&constant.gradient) {
                if *slope != 0.0 {
                    entries.extend(links.iter().map(|&(entry, factor)| (entry, factor * slope)));
                }
            }
        }
        for (component, direction) in Component::of_directions() {
            out[component].clone_from(&self.links[direction]);
        }
        out
    }

    /// Predicts every row at the parameter vector `x`, with derivatives; `None` where the model cannot be evaluated, or only in far more steps
    /// than a motor on its own voltage takes. The model steps it took are added to `steps`.
    pub fn predict(&self, x: &DVector<f64>, steps: &mut u64) -> Option<Prediction> {
        let settings = self.settings(x);
        Some(Prediction {
            slopes: self.slopes(&settings),
            ..self.simulate::<Local>(x, &settings.as_independent(), steps)?
        })
    }

    /// The same without derivatives, at a fraction of the cost.
    pub(crate) fn predict_values(
        &self,
        x: &DVector<f64>,
        steps: &mut u64,
    ) -> Option<Prediction<f64>> {
        self.simulate::<f64>(x, &self.settings(x).values(), steps)
    }

    /// Lays the waves of the back-EMF constant over the angles that were predicted. They stay where they are until the next call:
    /// the phase of a wave is no information on the parameters that the fit should use.
    pub fn update_waves(&mut self, prediction: &Prediction) {
        let Some(turn_v_s) = self.turn_v_s else {
            return;
        };
        self.waves = prediction
            .angles
            .iter()
            .map(|segment| segment.iter().map(|at| waves(*at, turn_v_s)).collect())
            .collect();
    }
}

/// Whether the rotor stands still all the time.
fn is_held(role: Role, segments: &[Segment], resistance_ohm: f64) -> bool {
    match role {
        Role::LockedRotor | Role::PwmLocked => true,
        Role::TurnOff => stands_still(segments, resistance_ohm),
        _ => false,
    }
}

/// Resistance at a capture's winding temperature over that at the reference, where both are known.
fn temperature_ratio(capture: &Capture, reference_c: Option<f64>) -> f64 {
    match (reference_c, capture.winding_temperature_c) {
        (Some(reference), Some(here)) => copper_ratio(reference, here.value),
        _ => 1.0,
    }
}
