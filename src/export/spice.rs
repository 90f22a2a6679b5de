//! SPICE subcircuit with electrical and mechanical ports, and a half-bridge deck around it.
//!
//! The rotation is a second pair of nodes: volts are rad/s, amperes are N·m, so a capacitor of J farads is the inertia
//! and a load torque is a current source from `shaft` to `frame`. Coulomb friction is T_c·tanh(ω/ws): below the
//! speed `ws` the rotor creeps instead of standing still.

use super::{ExportError, Instance};
use crate::motor_file::ParameterName as Name;
use std::fmt::Write;

/// Speed below which friction is rounded off, rad/s: far below any running speed of a small motor.
const CREEP_RAD_S: f64 = 0.05;

/// The subcircuit `NAME plus minus shaft frame`.
pub fn subcircuit(motor: &Instance<'_>) -> String {
    let (t, m) = (&motor.terminal, &motor.mechanical);
    let name = motor.identifier();
    let mut text = String::new();
    for line in motor.head() {
        let _ = writeln!(text, "* {line}");
    }
    text.push_str(
        "* Nodes: plus minus (electrical), shaft frame (V = speed in rad/s, current = torque in N.m).\n\
         * A load of T N.m is a current source of T from shaft to frame. i0 and w0 start a run with uic.\n",
    );
    let _ = writeln!(
        text,
        ".subckt {name} plus minus shaft frame params: r={:e} l={:e} k={:e} tc={:e} b={:e} cw={:e} j={:e} vb={:e}",
        t.terminal_resistance_ohm,
        t.armature_inductance_h,
        m.back_emf_constant_v_s_per_rad,
        m.coulomb_friction_nm,
        m.viscous_friction_nm_s_per_rad,
        m.windage_nm_s2_per_rad2,
        m.rotor_inertia_kg_m2,
        t.brush_drop_v
    );
    let _ = writeln!(
        text,
        "+ ib={:e} sat={:e} ar={:e} es={:e} re={:e} ws={CREEP_RAD_S:e} i0=0 w0=0",
        t.brush_scale_a,
        t.saturation_per_a,
        t.armature_reaction_per_a,
        t.eddy_share,
        t.eddy_resistance_ohm
    );
    text.push_str("Vsense plus n1 0\nRarm n1 n2 {r}\n");
    let after = if t.eddy_share > 0.0 { "n3" } else { "n4" };
    if t.saturation_per_a > 0.0 {
        // Braces in a behavioural source are replaced as text, hence the parentheses around what they hold.
        // The current is a node voltage whose rate is set by the voltage across the saturating inductance.
        let _ = writeln!(text, "Bind n2 {after} I=V(x)");
        let _ = writeln!(
            text,
            "Bx 0 x I=V(n2,{after})*(1+({{sat}}*V(x))^2)/({{l}}*(1-{{es}}))"
        );
        text.push_str("Cx x 0 1 ic={i0}\n");
    } else {
        let _ = writeln!(text, "Larm n2 {after} {{l*(1-es)}} ic={{i0}}");
    }
    if t.eddy_share > 0.0 {
        text.push_str("Reddy n3 n4 {re}\n");
        if t.saturation_per_a > 0.0 {
            text.push_str(
                "Beddy n3 n4 I=V(y)\n\
                 By 0 y I=V(n3,n4)*(1+({sat}*V(y))^2)/({l}*{es})\n\
                 Cy y 0 1 ic={i0}\n",
            );
        } else {
            text.push_str("Leddy n3 n4 {l*es} ic={i0}\n");
        }
    }
    text.push_str(
        "Bdrop n4 n5 V={vb}*tanh(I(Vsense)/{ib})\n\
         Bemf n5 minus V={k}*V(shaft,frame)*(1-{ar}*abs(I(Vsense)))\n\
         Btorque frame shaft I={k}*I(Vsense)*(1-{ar}*abs(I(Vsense)))\n\
         Cinertia shaft frame {j} ic={w0}\n\
         Bfriction shaft frame I={tc}*tanh(V(shaft,frame)/{ws})+{b}*V(shaft,frame)+{cw}*V(shaft,frame)*abs(V(shaft,frame))\n",
    );
    let _ = writeln!(text, ".ends {name}");
    text.push_str(&thermal(motor, &name));
    text
}

/// The subcircuit `NAME_thermal winding housing room`; nothing without a thermal model.
fn thermal(motor: &Instance<'_>, name: &str) -> String {
    let mut text = String::new();
    if let Some(network) = motor.network() {
        let _ = write!(
            text,
            "* How it warms: a current of 1 A into winding is 1 W of heat there, 1 V is 1 K above the room.\n\
             * Heat of the motor: r*i^2 + vb*|i|; its resistance is held at that of the head.\n\
             .subckt {name}_thermal winding housing room\n\
             Rth1 winding housing {:e}\n\
             Cth1 winding room {:e}\n\
             Rth2 housing room {:e}\n\
             Cth2 housing room {:e}\n\
             .ends {name}_thermal\n",
            network.winding_to_housing_k_per_w,
            network.winding_j_per_k,
            network.housing_to_ambient_k_per_w,
            network.housing_j_per_k
        );
    }
    text
}

/// A deck of its own: half bridge at half duty from rest, low side freewheeling through switch and diode.
///
/// # Errors
/// [`ExportError::NoSupply`], [`ExportError::WouldNotTurn`].
pub fn half_bridge(motor: &Instance<'_>, supply_v: Option<f64>) -> Result<String, ExportError> {
    let supply_v = motor.supply_v(supply_v, "the half-bridge deck")?;
    let electrical = motor.value(Name::ElectricalTimeConstant);
    // Period well under the electrical time constant, so that the current is continuous.
    let period = (electrical / 5.0).clamp(1e-6, 1e-3);
    let end = 200.0 * period;
    let high = 0.5 * period;
    let dead = 0.01 * period;
    let mut text = format!(
        "Half bridge at half duty on the motor {}, from rest\n",
        motor.identifier()
    );
    text.push_str(&subcircuit(motor));
    let _ = write!(
        text,
        "* Supply behind 20 milliohm, switches of 10 milliohm with body diodes, dead time 1 % of the period.\n\
         Vsupply rail0 0 {supply_v:e}\n\
         Rsupply rail0 rail 20m\n\
         Cbus rail 0 1m ic={supply_v:e}\n\
         Vhigh gh 0 pulse(0 1 0 {edge:e} {edge:e} {high_on:e} {period:e})\n\
         Vlow gl 0 pulse(0 1 {low_delay:e} {edge:e} {edge:e} {low_on:e} {period:e})\n\
         Shigh rail out gh 0 switch\n\
         Slow out 0 gl 0 switch\n\
         Dhigh out rail body\n\
         Dlow 0 out body\n\
         .model switch sw(vt=0.5 vh=0.1 ron=10m roff=1meg)\n\
         .model body d(is=1e-9 rs=10m n=1)\n\
         Vmotor out plus 0\n\
         Xmotor plus 0 shaft 0 {name}\n\
         Bload shaft 0 I=0\n\
         .options reltol=1e-4\n\
         .tran {step:e} {end:e} 0 {step:e} uic\n\
         .control\n\
         run\n\
         meas tran mean_current avg i(Vmotor) from={late:e} to={end:e}\n\
         meas tran largest_current max i(Vmotor) from={late:e} to={end:e}\n\
         meas tran smallest_current min i(Vmotor) from={late:e} to={end:e}\n\
         meas tran speed find v(shaft) at={late:e}\n\
         .endc\n\
         .end\n",
        edge = 0.001 * period,
        high_on = high - dead,
        low_delay = high + dead,
        low_on = high - 3.0 * dead,
        name = motor.identifier(),
        step = period / 100.0,
        late = end - 10.0 * period,
    );
    Ok(text)
}
