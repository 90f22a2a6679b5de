//! The motor's parameters, split where the terminals stop seeing.

use std::f64::consts::TAU;

/// What captures of voltage and current fix without any knowledge of speed.
///
/// ```text
/// L di/dt = v − R i − e (1 − a|i|) − V_b tanh(i/I_b)
/// C_m de/dt = i (1 − a|i|) − I_c sgn e − G_v e − W e|e|
/// ```
/// with `L = L₀/(1 + (i/I_s)²)`, of which the share `eddy_share` may be bridged by `eddy_resistance_ohm`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TerminalParameters {
    /// R, Ω: winding and bulk of the brushes, at the temperature of the captures.
    pub terminal_resistance_ohm: f64,
    /// L₀, H: at low frequency and small current.
    pub armature_inductance_h: f64,
    /// C_m = J/K², F.
    pub inertia_capacitance_f: f64,
    /// I_c = T_c/K, A.
    pub friction_current_a: f64,
    /// G_v = B/K², S.
    pub viscous_conductance_s: f64,
    /// W = C_w/K³, A/V².
    pub windage_a_per_v2: f64,
    /// V_b, V: contact drop of the brushes at large current.
    pub brush_drop_v: f64,
    /// I_b, A: current scale on which the contact drop rises.
    pub brush_scale_a: f64,
    /// 1/I_s, 1/A: reciprocal of the current at which the inductance has fallen to one half; 0 without saturation.
    pub saturation_per_a: f64,
    /// a, 1/A: relative loss of back-EMF constant per ampere (armature reaction).
    pub armature_reaction_per_a: f64,
    /// Share of L₀ that eddy currents screen at high frequency, 0 to below 1.
    pub eddy_share: f64,
    /// Resistance across that share, Ω.
    pub eddy_resistance_ohm: f64,
}

impl TerminalParameters {
    /// A motor with nothing but resistance, inductance, inertia and friction.
    pub fn plain(
        terminal_resistance_ohm: f64,
        armature_inductance_h: f64,
        inertia_capacitance_f: f64,
        friction_current_a: f64,
        viscous_conductance_s: f64,
    ) -> Self {
        TerminalParameters {
            terminal_resistance_ohm,
            armature_inductance_h,
            inertia_capacitance_f,
            friction_current_a,
            viscous_conductance_s,
            windage_a_per_v2: 0.0,
            brush_drop_v: 0.0,
            brush_scale_a: 1.0,
            saturation_per_a: 0.0,
            armature_reaction_per_a: 0.0,
            eddy_share: 0.0,
            eddy_resistance_ohm: 1.0,
        }
    }

    /// L/R, s.
    pub fn electrical_time_constant_s(&self) -> f64 {
        self.armature_inductance_h / self.terminal_resistance_ohm
    }

    /// R C_m = R J/K², s.
    pub fn mechanical_time_constant_s(&self) -> f64 {
        self.terminal_resistance_ohm * self.inertia_capacitance_f
    }
}

/// Share of L₀ that a small alternating current meets, in which a share s of it is screened by R_e: of the impedance
/// `jω(1 − s)L₀ + jωsL₀ R_e/(R_e + jωsL₀)` the imaginary part over ωL₀, `1 − s + s/(1 + q²)` with `q = ωsL₀/R_e`.
pub fn screened_share_left(
    inductance_h: f64,
    share: f64,
    resistance_ohm: f64,
    frequency_hz: f64,
) -> f64 {
    let q = TAU * frequency_hz * share * inductance_h / resistance_ohm;
    1.0 - share + share / (1.0 + q * q)
}

impl TerminalParameters {
    /// Inductance of a ripple of `frequency_hz` about a current, H: saturated and screened.
    pub fn inductance_at_h(&self, current_a: f64, frequency_hz: f64) -> f64 {
        let bend = current_a * self.saturation_per_a;
        let saturated_h = self.armature_inductance_h / (1.0 + bend * bend);
        let left = screened_share_left(
            saturated_h,
            self.eddy_share,
            self.eddy_resistance_ohm,
            frequency_hz,
        );
        saturated_h * left
    }
}

/// What only a speed can add.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MechanicalParameters {
    /// K, V·s/rad = N·m/A.
    pub back_emf_constant_v_s_per_rad: f64,
    /// J, kg·m².
    pub rotor_inertia_kg_m2: f64,
    /// T_c, N·m.
    pub coulomb_friction_nm: f64,
    /// B, N·m·s/rad.
    pub viscous_friction_nm_s_per_rad: f64,
    /// C_w, N·m·s²/rad².
    pub windage_nm_s2_per_rad2: f64,
}

impl MechanicalParameters {
    /// C_m, I_c, G_v and W of the one-port that the terminals see.
    pub fn to_terminal(
        &self,
        terminal_resistance_ohm: f64,
        armature_inductance_h: f64,
        brush_drop_v: f64,
        brush_scale_a: f64,
    ) -> TerminalParameters {
        let k = self.back_emf_constant_v_s_per_rad;
        TerminalParameters {
            windage_a_per_v2: self.windage_nm_s2_per_rad2 / (k * k * k),
            brush_drop_v,
            brush_scale_a,
            ..TerminalParameters::plain(
                terminal_resistance_ohm,
                armature_inductance_h,
                self.rotor_inertia_kg_m2 / (k * k),
                self.coulomb_friction_nm / k,
                self.viscous_friction_nm_s_per_rad / (k * k),
            )
        }
    }
}
