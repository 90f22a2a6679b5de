//! Python and Octave snippets that simulate a start from rest. Plain loops without packages, so that they run anywhere
//! and can be read.
//!
//! Both take the same steps: classical Runge-Kutta of fourth order, a fiftieth of the shorter time constant long, with
//! Coulomb friction held over a step and the rotor still until the torque exceeds it.

use super::{ExportError, Instance};
use crate::motor::thermal::ThermalNetwork;
use std::fmt::Write;

/// Constants in the order in which both scripts name them.
fn constants(motor: &Instance<'_>, supply_v: f64) -> Vec<(&'static str, f64, &'static str)> {
    let (t, m) = (&motor.terminal, &motor.mechanical);
    vec![
        ("SUPPLY_V", supply_v, "V"),
        ("R", t.terminal_resistance_ohm, "Ohm, terminal resistance"),
        ("L", t.armature_inductance_h, "H, armature inductance"),
        (
            "K",
            m.back_emf_constant_v_s_per_rad,
            "V.s/rad, back-EMF constant",
        ),
        ("TC", m.coulomb_friction_nm, "N.m, Coulomb friction torque"),
        (
            "B",
            m.viscous_friction_nm_s_per_rad,
            "N.m.s/rad, viscous friction",
        ),
        ("CW", m.windage_nm_s2_per_rad2, "N.m.s2/rad2, windage"),
        ("J", m.rotor_inertia_kg_m2, "kg.m2, rotor inertia"),
        ("VB", t.brush_drop_v, "V, brush drop"),
        ("IB", t.brush_scale_a, "A, current scale of the brush drop"),
        ("SAT", t.saturation_per_a, "1/A, saturation"),
        ("AR", t.armature_reaction_per_a, "1/A, armature reaction"),
        ("ES", t.eddy_share, "share of L screened by eddy currents"),
        (
            "RE",
            t.eddy_resistance_ohm,
            "Ohm, resistance across that share",
        ),
    ]
}

/// The thermal network; both scripts name it in this order.
fn thermal_constants(network: &ThermalNetwork) -> [(&'static str, f64, &'static str); 4] {
    [
        (
            "RTH1",
            network.winding_to_housing_k_per_w,
            "K/W, winding to housing",
        ),
        ("CTH1", network.winding_j_per_k, "J/K, winding"),
        (
            "RTH2",
            network.housing_to_ambient_k_per_w,
            "K/W, housing to room",
        ),
        ("CTH2", network.housing_j_per_k, "J/K, housing"),
    ]
}

const PYTHON_THERMAL: &str = r#"

def rises(heat_w, seconds, winding=0.0, housing=0.0):
    """Rises of winding and housing above the room in K after a time of constant heat in the winding."""
    steps = max(1, math.ceil(100.0 * seconds / min(RTH1 * CTH1, RTH2 * CTH2)))
    h = seconds / steps
    for _ in range(steps):
        w, x = winding, housing
        for share in (0.5, 1.0):
            across = (w - x) / RTH1
            w, x = winding + share * h * (heat_w - across) / CTH1, housing + share * h * (across - x / RTH2) / CTH2
        winding, housing = w, x
    return winding, housing
"#;

const OCTAVE_THERMAL: &str = r#"
% Rises of winding and housing above the room in K after a time of constant heat in the winding.
function [winding, housing] = rises(m, heat_w, seconds, winding, housing)
  steps = max(1, ceil(100 * seconds / min(m.RTH1 * m.CTH1, m.RTH2 * m.CTH2)));
  h = seconds / steps;
  for n = 1:steps
    w = winding;
    x = housing;
    for share = [0.5 1]
      across = (w - x) / m.RTH1;
      w = winding + share * h * (heat_w - across) / m.CTH1;
      x = housing + share * h * (across - x / m.RTH2) / m.CTH2;
    end
    winding = w;
    housing = x;
  end
end
"#;

/// Python 3 module: `start(supply_v, duration_s)` and, run as a program, three lines of results.
///
/// # Errors
/// [`ExportError::NoSupply`], [`ExportError::WouldNotTurn`].
pub fn python(motor: &Instance<'_>, supply_v: Option<f64>) -> Result<String, ExportError> {
    let supply_v = motor.supply_v(supply_v, "the Python snippet")?;
    let mut text = String::new();
    for line in motor.head() {
        let _ = writeln!(text, "# {line}");
    }
    text.push_str("import math\n\n");
    for (name, value, words) in constants(motor, supply_v) {
        let _ = writeln!(text, "{name} = {value:e}  # {words}");
    }
    if let Some(network) = motor.network() {
        for (name, value, words) in thermal_constants(&network) {
            let _ = writeln!(text, "{name} = {value:e}  # {words}");
        }
        text.push_str(PYTHON_THERMAL);
    }
    text.push_str(PYTHON);
    Ok(text)
}

const PYTHON: &str = r#"

def slopes(v, i, w, x, way):
    """Rates of current, speed and eddy current; way is the sign of rotation, 0 for a still rotor."""
    kk = K * (1.0 - AR * abs(i))
    u = v - R * i - VB * math.tanh(i / IB) - kk * w
    dx = 0.0
    if ES > 0.0:
        u -= RE * (i - x)
        dx = RE * (i - x) * (1.0 + (SAT * x) ** 2) / (L * ES)
    di = u * (1.0 + (SAT * i) ** 2) / (L * (1.0 - ES))
    dw = (kk * i - TC * way - B * w - CW * w * abs(w)) / J if way else 0.0
    return di, dw, dx


def start(supply_v=SUPPLY_V, duration_s=None):
    """Times in s, currents in A, speeds in rad/s from rest."""
    mechanical = J / (B + K * K / R)
    if duration_s is None:
        duration_s = 6.0 * max(mechanical, L / R)
    h = min(L / R, mechanical) / 50.0
    if ES > 0.0:
        h = min(h, L * min(ES, 1.0 - ES) / RE / 2.0)
    steps = math.ceil(duration_s / h)
    h = duration_s / steps
    y = (0.0, 0.0, 0.0)
    times, currents, speeds = [0.0], [0.0], [0.0]
    for n in range(steps):
        i, w, _ = y
        way = math.copysign(1, w) if w else (math.copysign(1, i) if K * abs(i) > TC else 0)
        a = slopes(supply_v, *y, way)
        b = slopes(supply_v, *(p + 0.5 * h * q for p, q in zip(y, a)), way)
        c = slopes(supply_v, *(p + 0.5 * h * q for p, q in zip(y, b)), way)
        d = slopes(supply_v, *(p + h * q for p, q in zip(y, c)), way)
        y = tuple(p + h / 6.0 * (q + 2.0 * r + 2.0 * s + t) for p, q, r, s, t in zip(y, a, b, c, d))
        times.append((n + 1) * h)
        currents.append(y[0])
        speeds.append(y[1])
    return times, currents, speeds


if __name__ == "__main__":
    t, i, w = start()
    peak = max(range(len(i)), key=i.__getitem__)
    print(f"peak current {i[peak]:.9e} A at {t[peak]:.9e} s")
    print(f"final current {i[-1]:.9e} A")
    print(f"final speed {w[-1]:.9e} rad/s after {t[-1]:.9e} s")
"#;

/// Octave script that prints the same three lines.
///
/// # Errors
/// As [`python`].
pub fn octave(motor: &Instance<'_>, supply_v: Option<f64>) -> Result<String, ExportError> {
    let supply_v = motor.supply_v(supply_v, "the Octave snippet")?;
    let mut text = String::new();
    for line in motor.head() {
        let _ = writeln!(text, "% {line}");
    }
    text.push_str("1;  % a script, not a function file\n\n");
    for (name, value, words) in constants(motor, supply_v) {
        let _ = writeln!(text, "m.{name} = {value:e};  % {words}");
    }
    if let Some(network) = motor.network() {
        for (name, value, words) in thermal_constants(&network) {
            let _ = writeln!(text, "m.{name} = {value:e};  % {words}");
        }
        text.push_str(OCTAVE_THERMAL);
    }
    text.push_str(OCTAVE);
    Ok(text)
}

const OCTAVE: &str = r#"
% Rates of current, speed and eddy current; way is the sign of rotation, 0 for a still rotor.
function dy = slopes(m, v, y, way)
  kk = m.K * (1 - m.AR * abs(y(1)));
  u = v - m.R * y(1) - m.VB * tanh(y(1) / m.IB) - kk * y(2);
  dy = [0; 0; 0];
  if m.ES > 0
    u = u - m.RE * (y(1) - y(3));
    dy(3) = m.RE * (y(1) - y(3)) * (1 + (m.SAT * y(3))^2) / (m.L * m.ES);
  end
  dy(1) = u * (1 + (m.SAT * y(1))^2) / (m.L * (1 - m.ES));
  if way != 0
    dy(2) = (kk * y(1) - m.TC * way - m.B * y(2) - m.CW * y(2) * abs(y(2))) / m.J;
  end
end

% Times in s, currents in A, speeds in rad/s from rest.
function [t, i, w] = start(m, supply_v, duration_s)
  h = min(m.L / m.R, m.J / (m.B + m.K^2 / m.R)) / 50;
  if m.ES > 0
    h = min(h, m.L * min(m.ES, 1 - m.ES) / m.RE / 2);
  end
  steps = ceil(duration_s / h);
  h = duration_s / steps;
  y = [0; 0; 0];
  t = (0:steps)' * h;
  i = zeros(steps + 1, 1);
  w = zeros(steps + 1, 1);
  for n = 1:steps
    way = sign(y(2));
    if way == 0 && m.K * abs(y(1)) > m.TC
      way = sign(y(1));
    end
    a = slopes(m, supply_v, y, way);
    b = slopes(m, supply_v, y + 0.5 * h * a, way);
    c = slopes(m, supply_v, y + 0.5 * h * b, way);
    d = slopes(m, supply_v, y + h * c, way);
    y = y + h / 6 * (a + 2 * b + 2 * c + d);
    i(n + 1) = y(1);
    w(n + 1) = y(2);
  end
end

[t, i, w] = start(m, m.SUPPLY_V, 6 * max(m.J / (m.B + m.K^2 / m.R), m.L / m.R));
[peak, at] = max(i);
printf("peak current %.9e A at %.9e s\n", peak, t(at));
printf("final current %.9e A\n", i(end));
printf("final speed %.9e rad/s after %.9e s\n", w(end), t(end));
"#;
