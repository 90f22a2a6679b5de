//! Every figure of a sizing, by its key: its unit, the bound to design for, its section of `docs/drive.md`, and what it is.

use super::section::{Unit, Worst};

/// What a figure is.
#[derive(Clone, Copy, Debug)]
pub struct Def {
    pub key: &'static str,
    pub words: &'static str,
    pub unit: Unit,
    pub worst: Worst,
    pub formula: &'static str,
}

/// The figures: key, unit as printed, the bound that hurts, section, words.
const FIGURES: &str = "
electrical_time_constant       | s    | -    | 2   | electrical time constant L/R, terminals alone
electrical_time_constant_loop  | s    | -    | 2   | the same with source and leads
mechanical_time_constant       | s    | -    | 2   | mechanical time constant R J/K², load inertia included
mechanical_time_constant_loop  | s    | -    | 2   | the same with source and leads
slow_mode                      | s    | -    | 2   | slow mode of both together
fast_mode                      | s    | -    | 2   | fast mode of both together
separation                     | 1    | -    | 2   | mechanical over electrical time constant

stall_current                  | A    | high | 3   | current with the rotor held, (V - V_b)/R
running_current                | A    | high | 3   | running current under this load
running_back_emf               | V    | -    | 3   | running back-EMF
running_speed                  | rpm  | low  | 3   | running speed

inrush_peak                    | A    | high | 3   | inrush peak
inrush_peak_time               | s    | -    | 3   | time of the peak after switch-on
supply_dip                     | V    | high | 3   | voltage lost in the source at the peak
run_up_time                    | s    | high | 3   | time to 95 % of the final speed
inrush_i2t                     | A²·s | high | 3   | I²t until then, to choose a fuse by
inrush_winding_heat            | J    | high | 3   | heat in the winding until then

soft_peak                      | A    | high | 4   | largest current under this ramp, ripple included
soft_first_duty                | %    | -    | 4   | duty to begin with
soft_ramp_time                 | s    | -    | 4   | time to full duty
soft_run_up_time               | s    | high | 4   | time to 95 % of the final speed
soft_cost                      | s    | high | 4   | longer than a start at full voltage by

pwm_mean_current               | A    | -    | 5   | mean current at this duty and load
pwm_ripple                     | A    | high | 5.1 | ripple current, peak to peak
pwm_ripple_bound               | A    | high | 5.1 | its greatest at this frequency, (V + V_d)/(4 f L)
pwm_peak                       | A    | high | 5.1 | peak current
continuous_frequency           | Hz   | high | 5.2 | lowest frequency of continuous current at this load, with a diode
ripple_share_frequency         | Hz   | high | 5.2 | lowest frequency for the ripple share of the load's current
three_time_constants_frequency | Hz   | high | 5.2 | frequency whose period is three electrical time constants
switch_mean_current            | A    | high | 5.3 | switch current, mean
switch_rms_current             | A    | high | 5.3 | switch current, RMS
diode_mean_current             | A    | high | 5.3 | diode current, mean
diode_rms_current              | A    | high | 5.3 | diode current, RMS
off_peak_current               | A    | high | 5.3 | switch and diode current, peak
switch_loss                    | W    | high | 5.3 | conduction loss in the switch
diode_loss                     | W    | high | 5.3 | conduction loss in the freewheeling diode
capacitor_loss                 | W    | high | 5.3 | loss from charging the capacitor across the motor
synchronous_loss               | W    | high | 5.3 | conduction loss in a synchronous low switch instead
winding_ripple_heat            | W    | high | 5.3 | extra heat in the winding from the ripple

half_bridge_speed              | rpm  | low  | 6   | speed at this duty and load
low_switch_brake_peak          | A    | high | 6   | braking current when the low switch stays on from this speed
low_switch_brake_slow          | s    | -    | 6   | time until 5 % of the speed is left
duty_step                      | %    | low  | 6   | largest step down of the duty that keeps braking current under the limit
dead_time_voltage              | V    | -    | 6   | mean voltage lost to dead time while motoring, gained while braking
dead_time_duty                 | %    | -    | 6   | the same as a share of the duty
dead_time_speed                | rpm  | high | 6   | speed lost to it under this load
least_duty                     | %    | -    | 6   | smallest and, from the top, largest duty that dead time leaves

running_energy                 | J    | high | 7   | running: energy in the inductance
running_clamp_current          | A    | high | 7   | running: current that diode or clamp takes over
running_diode_time             | s    | high | 7   | running: decay through a diode
running_clamp_time             | s    | high | 7   | running: decay through the clamp
running_clamp_energy           | J    | high | 7   | running: energy into the clamp each time
running_unclamped_voltage      | V    | high | 7   | running: voltage at the contact with stray capacitance only, no arc
held_energy                    | J    | high | 7   | rotor held: energy in the inductance
held_clamp_current             | A    | high | 7   | rotor held: current that diode or clamp takes over
held_diode_time                | s    | high | 7   | rotor held: decay through a diode
held_clamp_time                | s    | high | 7   | rotor held: decay through the clamp
held_clamp_energy              | J    | high | 7   | rotor held: energy into the clamp each time
held_unclamped_voltage         | V    | high | 7   | rotor held: voltage at the contact with stray capacitance only, no arc
clamp_peak_power               | W    | high | 7   | rotor held: peak power in the clamp
switch_off_voltage             | V    | high | 7   | voltage across the open switch while the clamp conducts

kinetic_energy                 | J    | high | 8   | kinetic energy at running speed
short_peak                     | A    | high | 8   | short: peak current
short_heat                     | J    | high | 8   | short: heat in the winding
short_slow                     | s    | -    | 8   | short: time to 5 % of the speed
short_stop                     | s    | high | 8   | short: stop time
resistor_peak                  | A    | high | 8   | resistor: peak current
resistor_peak_power            | W    | high | 8   | resistor: peak power in it
resistor_energy                | J    | high | 8   | resistor: energy in it each stop
resistor_slow                  | s    | -    | 8   | resistor: time to 5 % of the speed
resistor_stop                  | s    | high | 8   | resistor: stop time
ramp_peak                      | A    | high | 8   | duty ramped down: peak braking current
ramp_stop                      | s    | high | 8   | duty ramped down: stop time
ramp_returned                  | J    | high | 8   | duty ramped down: energy returned to the supply
bus_voltage                    | V    | high | 8   | supply voltage after it, if only the bus capacitor takes it
bus_capacitor                  | F    | high | 8   | bus capacitor that stays below the limit
bus_capacitor_bound            | F    | high | 8   | the same however it brakes: all kinetic energy comes back
bus_resistor                   | Ω    | low  | 8   | resistor across the supply instead, on at the limit

stop_resistor                  | Ω    | low  | 8   | stop time: braking resistor
stop_resistor_standard         | Ω    | -    | 8   | stop time: standard value (E24) to take
stop_resistor_time             | s    | high | 8   | with it: stop time
stop_resistor_peak             | A    | high | 8   | with it: peak current
stop_resistor_power            | W    | high | 8   | with it: peak power in the resistor
stop_resistor_energy           | J    | high | 8   | with it: energy in the resistor each stop

stall_heating_time             | s    | low  | 9   | held rotor at the full supply: time to the winding limit
limited_heating_time           | s    | low  | 9   | held rotor at the current limit: time to the winding limit

continuous_current             | A    | low  | 10  | continuous current (S1), rotor slow
continuous_torque              | N·m  | low  | 10  | continuous torque (S1), rotor slow
continuous_torque_at_supply    | N·m  | low  | 10  | continuous torque (S1) at the full supply
continuous_speed_at_supply     | rpm  | low  | 10  | its speed
stall_time_from_cold           | s    | low  | 10  | held at the full supply until the limit, from room temperature
stall_time_from_warm           | s    | low  | 10  | the same after running for hours under the load
duty_types                     | A    | low  | 10  | short-time (S2) and intermittent (S3) current

profile_peak_current           | A    | high | 11  | peak current
profile_rms_current            | A    | high | 11  | RMS current
profile_current_share          | %    | high | 11  | used of the current limit
profile_peak_speed             | rpm  | -    | 11  | peak speed of the motor
profile_supply_voltage         | V    | high | 11  | supply voltage that it needs
profile_voltage_share          | %    | high | 11  | used of the supply voltage
profile_reversed_voltage       | V    | high | 11  | reversed voltage that it needs, which a half bridge lacks
profile_peak_power             | W    | high | 11  | peak power from the supply
profile_returned_energy        | J    | high | 11  | energy back into the supply
profile_bus_voltage            | V    | high | 11  | supply after it, if only the capacitor takes it
profile_winding_once           | °C   | high | 11  | winding, once from room temperature: peak
profile_winding_repeated       | °C   | high | 11  | winding, repeated without a pause: peak
profile_margin                 | K    | low  | 11  | margin to the winding limit, repeated
profile_limit_time             | s    | low  | 11  | repeated from room temperature: time to the winding limit
profile_heat_share             | %    | high | 11  | used of the winding's permissible rise, repeated

profile_best_ratio             | 1    | -    | 11  | gear ratio of the least RMS current
profile_best_rms               | A    | high | 11  | RMS current with it
profile_best_heat              | %    | high | 11  | heat in the winding with it, of that now
";

impl Def {
    /// The figure of a key; `None` for a key that no row has.
    pub fn of(key: &str) -> Option<Def> {
        FIGURES.lines().find_map(|line| {
            let mut cells = line.split('|').map(str::trim);
            Some(Def {
                key: cells.next().filter(|found| *found == key)?,
                unit: Unit::of_symbol(cells.next()?)?,
                worst: match cells.next()? {
                    "high" => Worst::High,
                    "low" => Worst::Low,
                    _ => Worst::Neither,
                },
                formula: cells.next()?,
                words: cells.next()?,
            })
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_row_is_a_figure_and_its_key_its_own() {
        let keys = FIGURES.lines().filter(|line| !line.is_empty());
        let keys: Vec<&str> = keys
            .filter_map(|line| line.split_whitespace().next())
            .collect();
        for (place, key) in keys.iter().enumerate() {
            assert!(Def::of(key).is_some(), "{key}");
            assert!(!keys[..place].contains(key), "{key} twice");
        }
    }
}
