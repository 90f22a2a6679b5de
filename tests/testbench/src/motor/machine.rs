//! The motor that stands on the simulated bench.

use crate::error::{DrawError, Part};

/// Temperature coefficient of the resistance of annealed copper referred to 25 °C, per kelvin: 1/(234.5 + 25), the rule of
/// winding temperature by resistance.
pub const COPPER_PER_K_AT_25_C: f64 = 1.0 / 259.5;

/// A brushed permanent-magnet motor, everything at 25 °C.
///
/// Resistance is winding and bulk brush, mean over a turn; the contact drop `brush_drop_v · tanh(i / brush_scale_a)` is apart.
/// Inductance is differential, at low frequency and small current. The back-EMF constant and friction are means over a turn.
#[derive(Clone, Debug, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Machine {
    pub terminal_resistance_ohm: f64,
    pub armature_inductance_h: f64,
    pub back_emf_constant_v_s_per_rad: f64,
    pub rotor_inertia_kg_m2: f64,
    pub coulomb_friction_nm: f64,
    pub viscous_friction_nm_s_per_rad: f64,
    pub windage_nm_s2_per_rad2: f64,
    /// Torque at which the resting rotor breaks away; the friction falls from it to the Coulomb torque as exp(−(ω/ω_s)²).
    pub breakaway_nm: f64,
    /// ω_s of the Stribeck fall, rad/s.
    pub stribeck_rad_s: f64,
    pub brush_drop_v: f64,
    pub brush_scale_a: f64,
    pub contact: ContactLaw,
    /// I_s of L(i) = L_0 / (1 + (i/I_s)²); absent without saturation.
    pub saturation_a: Option<f64>,
    pub eddy: Option<EddyBranch>,
    /// Largest relative change of the inductance over a turn, its part that no eddy currents screen.
    pub inductance_variation: f64,
    /// Relative fall of the back-EMF constant per ampere.
    pub armature_reaction_per_a: f64,
    /// The same of brushes beside their neutral position: the armature's field has a part along that of the magnets, which turns over
    /// with the current and not with the speed.
    pub brush_shift_per_a: f64,
    /// Relative change of the back-EMF constant per kelvin of the magnets.
    pub magnet_per_k: f64,
    /// Relative change of the resistance per kelvin of the winding.
    pub copper_per_k: f64,
    /// Heat the winding takes per kelvin within a capture, J/K; absent where it stays at its temperature.
    pub winding_heat_capacity_j_per_k: Option<f64>,
    pub commutator: Commutator,
    /// Amplitude of the cogging torque, one period a commutation.
    pub cogging_nm: f64,
    /// Amplitude of the torque of an unbalanced rotor with a level shaft, one period a turn.
    pub unbalance_nm: f64,
    /// Contact resistance an ohmmeter's small test current meets on top of the rest; about zero for metal brushes.
    pub ohmmeter_contact_ohm: f64,
}

/// How the contact drop of both brushes rises with the current.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize, serde::Deserialize)]
pub enum ContactLaw {
    /// V_b tanh(i/i_b): constant above some current, as IEC 60034-2-1 has it in the losses.
    Constant,
    /// V_b asinh(i/i_b)/asinh(i_f/i_b): rises with the logarithm of the current without end and is V_b at `full_a`. The shape of the
    /// characteristics in handbooks of carbon brushes (from memory).
    Logarithmic { full_a: f64 },
    /// V_b tanh(i/i_b) (1 − s|i|/(|i| + i_f)): falls again where the contact spots heat up (R. Holm, Electric Contacts, from memory).
    Falling { share: f64, half_a: f64 },
}

/// A part of the inductance lies in parallel with an eddy-current resistance.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct EddyBranch {
    /// Share of the low-frequency inductance in the branch, 0 to 1.
    pub share: f64,
    pub parallel_ohm: f64,
}

/// Commutator and brushes: everything that repeats with the segments.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Commutator {
    pub segments: u32,
    /// Field poles, each with a brush.
    pub poles: u32,
    /// Peak-to-peak ripple of the back-EMF over its mean.
    pub emf_ripple: f64,
    /// Standard deviation of the EMF from segment to segment over its mean; with it come a position error of the segments and
    /// lines once and twice a turn.
    pub unevenness: f64,
    /// Largest relative change of the resistance over a turn.
    pub resistance_variation: f64,
    /// Relative standard deviation of the brush and contact resistance from commutation to commutation.
    pub brush_noise: f64,
    /// Typical height of a commutation needle at full current, and its decay time.
    pub needle_v: f64,
    pub needle_s: f64,
}

impl Machine {
    /// A motor of these four constants and nothing else: no friction, no ripple, no brush drop. Presets differ from it by fields.
    pub fn ideal(
        terminal_resistance_ohm: f64,
        armature_inductance_h: f64,
        back_emf_constant_v_s_per_rad: f64,
        rotor_inertia_kg_m2: f64,
    ) -> Machine {
        Machine {
            terminal_resistance_ohm,
            armature_inductance_h,
            back_emf_constant_v_s_per_rad,
            rotor_inertia_kg_m2,
            coulomb_friction_nm: 0.0,
            viscous_friction_nm_s_per_rad: 0.0,
            windage_nm_s2_per_rad2: 0.0,
            breakaway_nm: 0.0,
            stribeck_rad_s: 10.0,
            brush_drop_v: 0.0,
            brush_scale_a: 0.1,
            contact: ContactLaw::Constant,
            saturation_a: None,
            eddy: None,
            inductance_variation: 0.0,
            armature_reaction_per_a: 0.0,
            brush_shift_per_a: 0.0,
            magnet_per_k: -0.002,
            copper_per_k: COPPER_PER_K_AT_25_C,
            winding_heat_capacity_j_per_k: None,
            commutator: Commutator {
                segments: 12,
                poles: 2,
                emf_ripple: 0.0,
                unevenness: 0.0,
                resistance_variation: 0.0,
                brush_noise: 0.0,
                needle_v: 0.0,
                needle_s: 3e-6,
            },
            cogging_nm: 0.0,
            unbalance_nm: 0.0,
            ohmmeter_contact_ohm: 0.0,
        }
    }

    /// Commutations a turn: the instants at which an edge of a segment is at one of the brushes, least common multiple of segments and
    /// poles.
    pub fn lines_per_turn(&self) -> u32 {
        let Commutator {
            segments, poles, ..
        } = self.commutator;
        let multiples = (1..=poles).map(|k| k * segments);
        multiples
            .filter(|m| m % poles == 0)
            .min()
            .unwrap_or(segments * poles)
    }

    /// Resistance with the winding at `celsius`.
    pub fn resistance_at(&self, celsius: f64) -> f64 {
        self.terminal_resistance_ohm * (1.0 + self.copper_per_k * (celsius - 25.0))
    }

    /// Back-EMF constant with the magnets at `celsius`.
    pub fn back_emf_constant_at(&self, celsius: f64) -> f64 {
        self.back_emf_constant_v_s_per_rad * (1.0 + self.magnet_per_k * (celsius - 25.0))
    }

    /// Friction at speed `omega` > 0 in the running regime, without the Stribeck bump, N·m.
    pub fn running_friction_nm(&self, omega: f64) -> f64 {
        self.coulomb_friction_nm
            + self.viscous_friction_nm_s_per_rad * omega
            + self.windage_nm_s2_per_rad2 * omega * omega.abs()
    }

    /// Contact drop at `current`, V.
    pub fn contact_drop_v(&self, current: f64) -> f64 {
        if self.brush_drop_v == 0.0 {
            return 0.0;
        }
        let scaled = current / self.brush_scale_a;
        self.brush_drop_v
            * match self.contact {
                ContactLaw::Constant => libm::tanh(scaled),
                ContactLaw::Logarithmic { full_a } => {
                    libm::asinh(scaled) / libm::asinh(full_a / self.brush_scale_a)
                }
                ContactLaw::Falling { share, half_a } => {
                    libm::tanh(scaled) * (1.0 - share * current.abs() / (current.abs() + half_a))
                }
            }
    }

    /// Slope of the contact drop that a step of the simulation has to follow at `current`, Ω.
    pub(crate) fn contact_slope_ohm(&self, current: f64) -> f64 {
        let flat =
            self.contact == ContactLaw::Constant && current.abs() >= 4.0 * self.brush_scale_a;
        if self.brush_drop_v > 0.0 && !flat {
            self.brush_drop_v / self.brush_scale_a
        } else {
            0.0
        }
    }

    /// Back-EMF constant at `current` over that without one.
    pub fn flux_share(&self, current: f64) -> f64 {
        1.0 - self.armature_reaction_per_a * current.abs() - self.brush_shift_per_a * current
    }

    /// The same motor as the plain model has it: no ripple, no needles, no dependence of R on position, no Stribeck bump, no
    /// saturation, eddy branch, armature reaction or heating. Brush drop and windage stay.
    pub fn plain(&self) -> Machine {
        Machine {
            breakaway_nm: self.coulomb_friction_nm,
            saturation_a: None,
            eddy: None,
            contact: ContactLaw::Constant,
            inductance_variation: 0.0,
            armature_reaction_per_a: 0.0,
            brush_shift_per_a: 0.0,
            winding_heat_capacity_j_per_k: None,
            commutator: Commutator {
                emf_ripple: 0.0,
                unevenness: 0.0,
                resistance_variation: 0.0,
                brush_noise: 0.0,
                needle_v: 0.0,
                ..self.commutator
            },
            cogging_nm: 0.0,
            unbalance_nm: 0.0,
            ohmmeter_contact_ohm: 0.0,
            ..self.clone()
        }
    }

    /// Checks that the numbers describe a motor.
    ///
    /// # Errors
    /// Names the first field that does not.
    pub fn validate(&self) -> Result<(), DrawError> {
        let part = Part("machine");
        part.positive(&[
            ("terminal_resistance_ohm", self.terminal_resistance_ohm),
            ("armature_inductance_h", self.armature_inductance_h),
            (
                "back_emf_constant_v_s_per_rad",
                self.back_emf_constant_v_s_per_rad,
            ),
            ("rotor_inertia_kg_m2", self.rotor_inertia_kg_m2),
            ("stribeck_rad_s", self.stribeck_rad_s),
            ("brush_scale_a", self.brush_scale_a),
            ("needle_s", self.commutator.needle_s),
        ])?;
        part.not_negative(&[
            ("coulomb_friction_nm", self.coulomb_friction_nm),
            (
                "viscous_friction_nm_s_per_rad",
                self.viscous_friction_nm_s_per_rad,
            ),
            ("windage_nm_s2_per_rad2", self.windage_nm_s2_per_rad2),
            ("brush_drop_v", self.brush_drop_v),
            ("cogging_nm", self.cogging_nm),
            ("unbalance_nm", self.unbalance_nm),
            ("ohmmeter_contact_ohm", self.ohmmeter_contact_ohm),
            ("inductance_variation", self.inductance_variation),
            ("emf_ripple", self.commutator.emf_ripple),
            ("unevenness", self.commutator.unevenness),
            ("resistance_variation", self.commutator.resistance_variation),
            ("brush_noise", self.commutator.brush_noise),
        ])?;
        if self.commutator.segments < 2 || self.commutator.segments > 200 {
            let segments = f64::from(self.commutator.segments);
            return part.fault("segments", segments, "2 to 200");
        }
        let poles = self.commutator.poles;
        if poles < 2 || poles % 2 == 1 || poles > 24 {
            return part.fault("poles", f64::from(poles), "an even number, 2 to 24");
        }
        if self.breakaway_nm < self.coulomb_friction_nm {
            return part.fault(
                "breakaway_nm",
                self.breakaway_nm,
                "at least the Coulomb friction",
            );
        }
        let standing = self.cogging_nm + self.unbalance_nm;
        if standing > 0.0 && standing >= self.breakaway_nm {
            return part.fault(
                "breakaway_nm",
                self.breakaway_nm,
                "more than cogging and unbalance together, or the rotor never rests",
            );
        }
        if let Some(EddyBranch {
            share,
            parallel_ohm,
        }) = self.eddy
        {
            if !(share > 0.0 && share < 1.0) {
                return part.fault("eddy.share", share, "between 0 and 1");
            }
            if !(parallel_ohm > 0.0 && parallel_ohm.is_finite()) {
                return part.fault("eddy.parallel_ohm", parallel_ohm, "a positive number");
            }
        }
        Ok(())
    }
}
