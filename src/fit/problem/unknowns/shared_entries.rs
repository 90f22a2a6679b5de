//! The entries that every capture shares: the motor's own.

use super::direction::Direction;
use super::entry::Entry;
use super::layout::{Layout, Parameter, ParameterKind, Source};
use crate::bench::Bench;
use crate::fit::data::{position_sd, reference_temperature, shows_inductance};
use crate::fit::options::FitOptions;
use crate::motor::TerminalParameters;

/// Least share of the inductance that is simulated as screened: none at all has no state of its own.
const LEAST_SHARE: f64 = 2e-3;

/// Standard deviation in the logarithm of a resistance, an inductance or a J/K² about its first guess: a factor of seven. It is
/// nothing beside any measurement, but keeps what no capture shows at a size where its effect on the others can be seen; whatever leans on
/// it is far too vague to be reported.
const SIZE_SD: f64 = 2.0;

/// The same of an inductance that nothing shows: at an extreme one the model takes ever smaller steps to no purpose.
const UNSEEN_SD: f64 = 0.3;

/// Mean and standard deviation of the prior of the screened share: none in an ironless rotor, up to half in solid iron (common practice, no source).
const SCREENED_SHARE: (f64, f64) = (0.1, 0.2);

/// Share from which the fit begins. What a share does to a current grows with its square: from next to nothing a fit does not leave it, and
/// takes the low-frequency inductance for what the screening leaves of it, 4 to 14 % too small.
const FIRST_SHARE: f64 = 0.2;

/// The motor's own entries, with what every capture needs to know beside them.
#[derive(Clone, Debug)]
pub struct SharedEntries {
    /// With the direction that each moves in every capture.
    pub entries: Vec<(Direction, Entry)>,
    /// Winding temperature to which R belongs, °C.
    pub reference_temperature_c: Option<f64>,
    /// Whether the eddy branch takes part.
    pub with_eddy: bool,
    /// Relative standard deviation of the resistance over rotor positions.
    pub position_sd: f64,
    /// First guess of R, Ω.
    pub resistance_guess_ohm: f64,
    /// Volt-seconds of back-EMF in a turn, where the ripple gives it.
    pub turn_v_s: Option<f64>,
}

impl SharedEntries {
    /// Adds the motor's own entries with their priors to the layout. `peak_a`: largest current of any capture, A.
    pub fn add(
        bench: &Bench,
        guess: &TerminalParameters,
        peak_a: f64,
        options: &FitOptions,
        layout: &mut Layout,
    ) -> Self {
        let motor = FirstMotor {
            guess,
            factors: options.guess_factors,
            no_load_a: (guess.friction_current_a / 0.7).max(1e-9),
            supply_v: bench.motor.supply_v.unwrap_or(10.0).abs().max(1e-3),
            peak_a,
            inductance_sd: if shows_inductance(bench) {
                SIZE_SD
            } else {
                UNSEEN_SD
            },
        };
        let parameters = motor.plain().into_iter().chain(motor.bent());
        SharedEntries {
            entries: parameters
                .map(|(direction, parameter)| (direction, layout.add(parameter)))
                .collect(),
            reference_temperature_c: reference_temperature(bench).map(|t| t.value),
            with_eddy: true,
            position_sd: position_sd(bench),
            resistance_guess_ohm: guess.terminal_resistance_ohm,
            turn_v_s: None,
        }
    }

    /// The motor's own entries in a layout that has them.
    pub fn find(layout: &Layout) -> Vec<(Direction, Entry)> {
        let kinds = [
            (Direction::RESISTANCE, ParameterKind::LogResistance),
            (Direction::INDUCTANCE, ParameterKind::LogInductance),
            (Direction::CAPACITANCE, ParameterKind::LogCapacitance),
            (Direction::FRICTION, ParameterKind::FrictionCurrent),
            (Direction::VISCOUS, ParameterKind::ViscousConductance),
            (Direction::WINDAGE, ParameterKind::Windage),
            (Direction::BRUSH_DROP, ParameterKind::BrushDrop),
            (Direction::BRUSH_SCALE, ParameterKind::LogBrushScale),
            (Direction::SATURATION, ParameterKind::Saturation),
            (Direction::REACTION, ParameterKind::Reaction),
            (Direction::EDDY_SHARE, ParameterKind::EddyShare),
            (Direction::EDDY_RESISTANCE, ParameterKind::LogEddyResistance),
        ];
        kinds
            .iter()
            .filter_map(|(direction, kind)| Some((*direction, layout.find(kind)?)))
            .collect()
    }
}

/// The motor before the fit, with the sizes that its terms may have.
struct FirstMotor<'a> {
    guess: &'a TerminalParameters,
    /// Factors of R, L and C_m.
    factors: [f64; 3],
    no_load_a: f64,
    supply_v: f64,
    peak_a: f64,
    inductance_sd: f64,
}

impl FirstMotor<'_> {
    /// The terms that every motor has, and windage.
    fn plain(&self) -> [(Direction, Parameter); 7] {
        let guess = self.guess;
        let [fr, fl, fc] = self.factors;
        let (no_load, emf) = (self.no_load_a, self.supply_v);
        let log = |kind, guess: f64, factor: f64| {
            let sd = match kind {
                ParameterKind::LogInductance => self.inductance_sd,
                _ => SIZE_SD,
            };
            Parameter::free(kind, (guess * factor).ln())
                .stepping(1.5)
                .with_prior(guess.ln(), sd, Source::Size)
        };
        [
            (
                Direction::RESISTANCE,
                log(
                    ParameterKind::LogResistance,
                    guess.terminal_resistance_ohm,
                    fr,
                ),
            ),
            (
                Direction::INDUCTANCE,
                log(
                    ParameterKind::LogInductance,
                    guess.armature_inductance_h,
                    fl,
                ),
            ),
            (
                Direction::CAPACITANCE,
                log(
                    ParameterKind::LogCapacitance,
                    guess.inertia_capacitance_f,
                    fc,
                ),
            ),
            (
                Direction::FRICTION,
                not_negative(
                    ParameterKind::FrictionCurrent,
                    guess.friction_current_a,
                    no_load,
                ),
            ),
            (
                Direction::VISCOUS,
                not_negative(
                    ParameterKind::ViscousConductance,
                    guess.viscous_conductance_s,
                    no_load / emf,
                ),
            ),
            (
                Direction::WINDAGE,
                not_negative(ParameterKind::Windage, 0.0, no_load / (emf * emf)),
            ),
            (
                Direction::BRUSH_DROP,
                not_negative(ParameterKind::BrushDrop, guess.brush_drop_v, 0.1 * emf),
            ),
        ]
    }

    /// The terms that a prior limits.
    fn bent(&self) -> [(Direction, Parameter); 5] {
        let guess = self.guess;
        let peak_a = self.peak_a;
        let of_model =
            |parameter: Parameter, mean, sd| parameter.with_prior(mean, sd, Source::Model);
        // Within a factor of two of its start.
        let by_two = |kind, log_start: f64| {
            of_model(
                Parameter::free(kind, log_start).stepping(0.7),
                log_start,
                0.7,
            )
        };
        let eddy_ohm = 3.0 * guess.terminal_resistance_ohm;
        let (share_mean, share_sd) = SCREENED_SHARE;
        let share = Parameter::free(ParameterKind::EddyShare, FIRST_SHARE)
            .within(LEAST_SHARE, 0.8)
            .stepping(0.2);
        [
            // The current at which the contact drop flattens: some 0.4 of the no-load current.
            (
                Direction::BRUSH_SCALE,
                by_two(ParameterKind::LogBrushScale, guess.brush_scale_a.ln()),
            ),
            // Saturation and armature reaction at the largest current seen: half the inductance, a few per cent of flux.
            (
                Direction::SATURATION,
                of_model(
                    not_negative(ParameterKind::Saturation, 0.0, 0.2 / (peak_a * peak_a)),
                    0.0,
                    0.5 / (peak_a * peak_a),
                ),
            ),
            (
                Direction::REACTION,
                of_model(
                    not_negative(ParameterKind::Reaction, 0.0, 0.02 / peak_a),
                    0.0,
                    0.025 / peak_a,
                ),
            ),
            (Direction::EDDY_SHARE, of_model(share, share_mean, share_sd)),
            (
                Direction::EDDY_RESISTANCE,
                by_two(ParameterKind::LogEddyResistance, eddy_ohm.ln()),
            ),
        ]
    }
}

/// An entry that is not negative; the solver steps by a few times its scale.
fn not_negative(kind: ParameterKind, start: f64, scale: f64) -> Parameter {
    Parameter::free(kind, start)
        .within(0.0, f64::INFINITY)
        .stepping(3.0 * scale)
}
