//! Every figure of a sizing, by its key: its unit, the bound to design for, its section of `docs/drive.md`, and what it is.

/// Unit of a result.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Unit {
    /// A.
    Ampere,
    /// V.
    Volt,
    /// s.
    Second,
    /// J.
    Joule,
    /// W.
    Watt,
    /// Hz.
    Hertz,
    /// Printed in percent.
    Share,
    /// Printed in rpm.
    Speed,
    /// N·m.
    NewtonMetre,
    /// Ω.
    Ohm,
    /// F.
    Farad,
    /// °C.
    Celsius,
    /// K.
    Kelvin,
    /// A²·s, for the let-through of a fuse.
    AmpereSquaredSecond,
    /// A plain ratio.
    One,
}

/// Each unit as printed, and in JSON (SI), in the order of [`Unit`].
const UNITS: [[&str; 2]; 15] = [
    ["A", "A"],
    ["V", "V"],
    ["s", "s"],
    ["J", "J"],
    ["W", "W"],
    ["Hz", "Hz"],
    ["%", "1"],
    ["rpm", "rad/s"],
    ["N·m", "N.m"],
    ["Ω", "Ohm"],
    ["F", "F"],
    ["°C", "Cel"],
    ["K", "K"],
    ["A²·s", "A2.s"],
    ["1", "1"],
];

impl Unit {
    /// As printed; a plain ratio has `1`.
    pub fn symbol(self) -> &'static str {
        UNITS[self as usize][0]
    }
}

impl serde::Serialize for Unit {
    fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(UNITS[*self as usize][1])
    }
}

/// Which end of the interval is the one to design for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Worst {
    High,
    Low,
    /// Neither end hurts.
    Neither,
}

/// What a figure is.
#[derive(Clone, Copy, Debug)]
pub struct Def {
    pub key: &'static str,
    pub words: &'static str,
    pub unit: Unit,
    pub worst: Worst,
    pub formula: &'static str,
}

const fn def(
    key: &'static str,
    unit: Unit,
    worst: Worst,
    formula: &'static str,
    words: &'static str,
) -> Def {
    Def {
        key,
        words,
        unit,
        worst,
        formula,
    }
}

/// The figures: key, unit as printed, the bound that hurts, section, words.
#[rustfmt::skip]
const FIGURES: &[Def] = {
    use {Unit::*, Worst::*};
    &[
        def("electrical_time_constant", Second, Neither, "2", "electrical time constant L/R, terminals alone"),
        def("electrical_time_constant_loop", Second, Neither, "2", "the same with source and leads"),
        def("mechanical_time_constant", Second, Neither, "2", "mechanical time constant R J/K², load inertia included"),
        def("mechanical_time_constant_loop", Second, Neither, "2", "the same with source and leads"),
        def("slow_mode", Second, Neither, "2", "slow mode of both together"),
        def("fast_mode", Second, Neither, "2", "fast mode of both together"),
        def("separation", One, Neither, "2", "mechanical over electrical time constant"),

        def("stall_current", Ampere, High, "3", "current with the rotor held, (V - V_b)/R"),
        def("running_current", Ampere, High, "3", "running current under this load"),
        def("running_back_emf", Volt, Neither, "3", "running back-EMF"),
        def("running_speed", Speed, Low, "3", "running speed"),

        def("inrush_peak", Ampere, High, "3", "inrush peak"),
        def("inrush_peak_time", Second, Neither, "3", "time of the peak after switch-on"),
        def("supply_dip", Volt, High, "3", "voltage lost in the source at the peak"),
        def("run_up_time", Second, High, "3", "time to 95 % of the final speed"),
        def("inrush_i2t", AmpereSquaredSecond, High, "3", "I²t until then, to choose a fuse by"),
        def("inrush_winding_heat", Joule, High, "3", "heat in the winding until then"),

        def("soft_peak", Ampere, High, "4", "largest current under this ramp, ripple included"),
        def("soft_first_duty", Share, Neither, "4", "duty to begin with"),
        def("soft_ramp_time", Second, Neither, "4", "time to full duty"),
        def("soft_run_up_time", Second, High, "4", "time to 95 % of the final speed"),
        def("soft_cost", Second, High, "4", "longer than a start at full voltage by"),

        def("pwm_mean_current", Ampere, Neither, "5", "mean current at this duty and load"),
        def("pwm_ripple", Ampere, High, "5.1", "ripple current, peak to peak"),
        def("pwm_ripple_bound", Ampere, High, "5.1", "its greatest at this frequency, (V + V_d)/(4 f L)"),
        def("pwm_peak", Ampere, High, "5.1", "peak current"),
        def("continuous_frequency", Hertz, High, "5.2", "lowest frequency of continuous current at this load, with a diode"),
        def("ripple_share_frequency", Hertz, High, "5.2", "lowest frequency for the ripple share of the load's current"),
        def("three_time_constants_frequency", Hertz, High, "5.2", "frequency whose period is three electrical time constants"),
        def("switch_mean_current", Ampere, High, "5.3", "switch current, mean"),
        def("switch_rms_current", Ampere, High, "5.3", "switch current, RMS"),
        def("diode_mean_current", Ampere, High, "5.3", "diode current, mean"),
        def("diode_rms_current", Ampere, High, "5.3", "diode current, RMS"),
        def("off_peak_current", Ampere, High, "5.3", "switch and diode current, peak"),
        def("switch_loss", Watt, High, "5.3", "conduction loss in the switch"),
        def("diode_loss", Watt, High, "5.3", "conduction loss in the freewheeling diode"),
        def("capacitor_loss", Watt, High, "5.3", "loss from charging the capacitor across the motor"),
        def("synchronous_loss", Watt, High, "5.3", "conduction loss in a synchronous low switch instead"),
        def("winding_ripple_heat", Watt, High, "5.3", "extra heat in the winding from the ripple"),

        def("half_bridge_speed", Speed, Low, "6", "speed at this duty and load"),
        def("low_switch_brake_peak", Ampere, High, "6", "braking current when the low switch stays on from this speed"),
        def("low_switch_brake_slow", Second, Neither, "6", "time until 5 % of the speed is left"),
        def("duty_step", Share, Low, "6", "largest step down of the duty that keeps braking current under the limit"),
        def("dead_time_voltage", Volt, Neither, "6", "mean voltage lost to dead time while motoring, gained while braking"),
        def("dead_time_duty", Share, Neither, "6", "the same as a share of the duty"),
        def("dead_time_speed", Speed, High, "6", "speed lost to it under this load"),
        def("least_duty", Share, Neither, "6", "smallest and, from the top, largest duty that dead time leaves"),

        def("running_energy", Joule, High, "7", "running: energy in the inductance"),
        def("running_clamp_current", Ampere, High, "7", "running: current that diode or clamp takes over"),
        def("running_diode_time", Second, High, "7", "running: decay through a diode"),
        def("running_clamp_time", Second, High, "7", "running: decay through the clamp"),
        def("running_clamp_energy", Joule, High, "7", "running: energy into the clamp each time"),
        def("running_unclamped_voltage", Volt, High, "7", "running: voltage at the contact with stray capacitance only, no arc"),
        def("held_energy", Joule, High, "7", "rotor held: energy in the inductance"),
        def("held_clamp_current", Ampere, High, "7", "rotor held: current that diode or clamp takes over"),
        def("held_diode_time", Second, High, "7", "rotor held: decay through a diode"),
        def("held_clamp_time", Second, High, "7", "rotor held: decay through the clamp"),
        def("held_clamp_energy", Joule, High, "7", "rotor held: energy into the clamp each time"),
        def("held_unclamped_voltage", Volt, High, "7", "rotor held: voltage at the contact with stray capacitance only, no arc"),
        def("clamp_peak_power", Watt, High, "7", "rotor held: peak power in the clamp"),
        def("switch_off_voltage", Volt, High, "7", "voltage across the open switch while the clamp conducts"),

        def("kinetic_energy", Joule, High, "8", "kinetic energy at running speed"),
        def("short_peak", Ampere, High, "8", "short: peak current"),
        def("short_heat", Joule, High, "8", "short: heat in the winding"),
        def("short_slow", Second, Neither, "8", "short: time to 5 % of the speed"),
        def("short_stop", Second, High, "8", "short: stop time"),
        def("resistor_peak", Ampere, High, "8", "resistor: peak current"),
        def("resistor_peak_power", Watt, High, "8", "resistor: peak power in it"),
        def("resistor_energy", Joule, High, "8", "resistor: energy in it each stop"),
        def("resistor_slow", Second, Neither, "8", "resistor: time to 5 % of the speed"),
        def("resistor_stop", Second, High, "8", "resistor: stop time"),
        def("ramp_peak", Ampere, High, "8", "duty ramped down: peak braking current"),
        def("ramp_stop", Second, High, "8", "duty ramped down: stop time"),
        def("ramp_returned", Joule, High, "8", "duty ramped down: energy returned to the supply"),
        def("bus_voltage", Volt, High, "8", "supply voltage after it, if only the bus capacitor takes it"),
        def("bus_capacitor", Farad, High, "8", "bus capacitor that stays below the limit"),
        def("bus_capacitor_bound", Farad, High, "8", "the same however it brakes: all kinetic energy comes back"),
        def("bus_resistor", Ohm, Low, "8", "resistor across the supply instead, on at the limit"),

        def("stop_resistor", Ohm, Low, "8", "stop time: braking resistor"),
        def("stop_resistor_standard", Ohm, Neither, "8", "stop time: standard value (E24) to take"),
        def("stop_resistor_time", Second, High, "8", "with it: stop time"),
        def("stop_resistor_peak", Ampere, High, "8", "with it: peak current"),
        def("stop_resistor_power", Watt, High, "8", "with it: peak power in the resistor"),
        def("stop_resistor_energy", Joule, High, "8", "with it: energy in the resistor each stop"),

        def("stall_heating_time", Second, Low, "9", "held rotor at the full supply: time to the winding limit"),
        def("limited_heating_time", Second, Low, "9", "held rotor at the current limit: time to the winding limit"),

        def("continuous_current", Ampere, Low, "10", "continuous current (S1), rotor slow"),
        def("continuous_torque", NewtonMetre, Low, "10", "continuous torque (S1), rotor slow"),
        def("continuous_torque_at_supply", NewtonMetre, Low, "10", "continuous torque (S1) at the full supply"),
        def("continuous_speed_at_supply", Speed, Low, "10", "its speed"),
        def("stall_time_from_cold", Second, Low, "10", "held at the full supply until the limit, from room temperature"),
        def("stall_time_from_warm", Second, Low, "10", "the same after running for hours under the load"),
        def("duty_types", Ampere, Low, "10", "short-time (S2) and intermittent (S3) current"),

        def("profile_peak_current", Ampere, High, "11", "peak current"),
        def("profile_rms_current", Ampere, High, "11", "RMS current"),
        def("profile_current_share", Share, High, "11", "used of the current limit"),
        def("profile_peak_speed", Speed, Neither, "11", "peak speed of the motor"),
        def("profile_supply_voltage", Volt, High, "11", "supply voltage that it needs"),
        def("profile_voltage_share", Share, High, "11", "used of the supply voltage"),
        def("profile_reversed_voltage", Volt, High, "11", "reversed voltage that it needs, which a half bridge lacks"),
        def("profile_peak_power", Watt, High, "11", "peak power from the supply"),
        def("profile_returned_energy", Joule, High, "11", "energy back into the supply"),
        def("profile_bus_voltage", Volt, High, "11", "supply after it, if only the capacitor takes it"),
        def("profile_winding_once", Celsius, High, "11", "winding, once from room temperature: peak"),
        def("profile_winding_repeated", Celsius, High, "11", "winding, repeated without a pause: peak"),
        def("profile_margin", Kelvin, Low, "11", "margin to the winding limit, repeated"),
        def("profile_limit_time", Second, Low, "11", "repeated from room temperature: time to the winding limit"),
        def("profile_heat_share", Share, High, "11", "used of the winding's permissible rise, repeated"),

        def("profile_best_ratio", One, Neither, "11", "gear ratio of the least RMS current"),
        def("profile_best_rms", Ampere, High, "11", "RMS current with it"),
        def("profile_best_heat", Share, High, "11", "heat in the winding with it, of that now"),
    ]
};

impl Def {
    /// The figure of a key; `None` for a key that no row has.
    pub fn of(key: &str) -> Option<Def> {
        FIGURES.iter().find(|def| def.key == key).copied()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_figure_has_its_own_key() {
        for (place, def) in FIGURES.iter().enumerate() {
            assert!(FIGURES[..place].iter().all(|d| d.key != def.key), "{def:?}");
        }
    }
}
