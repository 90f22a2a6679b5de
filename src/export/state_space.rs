//! State-space matrices as JSON.
//!
//! ```text
//! ẋ = A x + B u,  y = C x + D u      x = (i, ω), u = (v, T_load), y = (i, ω)
//! A = [−R/L −K/L; K/J −B/J]          B = [1/L 0; 0 −1/J]
//! ```
//! and with the inputs held over a sample time T: A_d = e^{AT}, B_d = ∫₀ᵀ e^{As} ds B, both from the exponential of one
//! augmented matrix (Van Loan, IEEE Trans. Autom. Control 23 (1978) 395). Coulomb friction, windage, brush drop and the
//! finer terms are no part of a linear model; they are listed under `left_out`.

use super::Instance;
use crate::motor_file::{ModelTerms, ParameterName};
use nalgebra::{Matrix2, Matrix4};
use serde_json::{Value, json};

/// Continuous A and B.
pub fn continuous(motor: &Instance<'_>) -> (Matrix2<f64>, Matrix2<f64>) {
    let (t, m) = (&motor.terminal, &motor.mechanical);
    let (r, l) = (t.terminal_resistance_ohm, t.armature_inductance_h);
    let (k, j) = (m.back_emf_constant_v_s_per_rad, m.rotor_inertia_kg_m2);
    let b = m.viscous_friction_nm_s_per_rad;
    (
        Matrix2::new(-r / l, -k / l, k / j, -b / j),
        Matrix2::new(1.0 / l, 0.0, 0.0, -1.0 / j),
    )
}

/// Exact discrete A and B for inputs held over `sample_time_s`.
pub fn discrete(
    a: &Matrix2<f64>,
    b: &Matrix2<f64>,
    sample_time_s: f64,
) -> (Matrix2<f64>, Matrix2<f64>) {
    let mut whole = Matrix4::zeros();
    whole
        .fixed_view_mut::<2, 2>(0, 0)
        .copy_from(&(a * sample_time_s));
    whole
        .fixed_view_mut::<2, 2>(0, 2)
        .copy_from(&(b * sample_time_s));
    let whole = whole.exp();
    (
        whole.fixed_view::<2, 2>(0, 0).into_owned(),
        whole.fixed_view::<2, 2>(0, 2).into_owned(),
    )
}

/// The matrices of one motor; the discrete ones where a sample time is given.
pub fn document(motor: &Instance<'_>, sample_time_s: Option<f64>) -> Value {
    let (a, b) = continuous(motor);
    let rows = |m: &Matrix2<f64>| json!([[m.m11, m.m12], [m.m21, m.m22]]);
    let parameters: serde_json::Map<String, Value> = super::instance::MODEL
        .into_iter()
        .map(|name| {
            let known = motor.file.parameters.get(&name);
            let mut entry = json!({"value": motor.value(name), "unit": name.ucum()});
            for (key, number) in [
                (
                    "standard_uncertainty",
                    known.and_then(|known| known.standard_uncertainty),
                ),
                ("temperature_c", known.and_then(|known| known.temperature_c)),
            ] {
                if let Some(number) = number {
                    entry[key] = json!(number);
                }
            }
            (name.key().to_owned(), entry)
        })
        .collect();
    let mut left_out: Vec<&str> = [
        ParameterName::CoulombFrictionTorque,
        ParameterName::Windage,
        ParameterName::BrushDrop,
    ]
    .into_iter()
    .filter(|name| motor.value(*name) != 0.0)
    .map(ParameterName::key)
    .collect();
    left_out.extend(
        motor
            .file
            .model
            .iter()
            .flat_map(ModelTerms::listed)
            .map(|(key, _)| key),
    );
    let identity = json!([[1.0, 0.0], [0.0, 1.0]]);
    let zero = json!([[0.0, 0.0], [0.0, 0.0]]);
    let mut document = json!({
        "motor": motor.file.motor_name(),
        "what": motor.what,
        "states": [{"name": "current", "unit": "A"}, {"name": "speed", "unit": "rad/s"}],
        "inputs": [{"name": "voltage", "unit": "V"}, {"name": "load_torque", "unit": "N.m"}],
        "outputs": [{"name": "current", "unit": "A"}, {"name": "speed", "unit": "rad/s"}],
        "continuous": {"a": rows(&a), "b": rows(&b), "c": identity, "d": zero},
    });
    if let Some(sample_time_s) = sample_time_s {
        let (ad, bd) = discrete(&a, &b, sample_time_s);
        document["discrete"] = json!({
            "sample_time_s": sample_time_s,
            "hold": "zero-order, exact",
            "a": rows(&ad), "b": rows(&bd), "c": identity, "d": zero,
        });
    }
    document["parameters"] = Value::Object(parameters);
    document["left_out"] = json!(left_out);
    document["left_out_effects"] = json!(motor.finer_terms());
    document["program"] =
        json!({"name": env!("CARGO_PKG_NAME"), "version": env!("CARGO_PKG_VERSION")});
    document["inputs_of_the_fit"] = json!(motor.file.inputs);
    document
}
