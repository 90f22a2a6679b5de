use super::*;
use crate::drive::order::{Load, Order};
use crate::drive::sample::tests::plain as sample;
use crate::motor::thermal::tests::NETWORK;
use crate::motor::{Condition, Constants, State, TerminalParameters, advance};
use approx::assert_relative_eq;

const K: f64 = 0.042;

fn read(text: &str) -> Profile {
    let folder = tempfile::tempdir().expect("folder");
    let path = folder.path().join("moves.csv");
    std::fs::write(&path, text).expect("written");
    Profile::read(&path).expect("a profile")
}

fn parameters() -> TerminalParameters {
    TerminalParameters {
        windage_a_per_v2: 1e-4,
        brush_drop_v: 0.7,
        brush_scale_a: 0.05,
        armature_reaction_per_a: 0.004,
        ..TerminalParameters::plain(3.2, 2.4e-3, 3.6e-3, 0.13, 3e-3)
    }
}

fn setting(profile: Profile) -> Setting {
    let mut order = Order::usual(24.0);
    order.load_inertia_kg_m2 = Some(4e-5);
    order.load = Load::Torque(8e-3);
    order.gear = Some(3.0);
    order.gear_efficiency = Some(0.8);
    order.current_limit_a = Some(5.0);
    order.winding_limit_c = Some(130.0);
    let mut setting = Setting::of(order);
    setting.winding_c = Some(25.0);
    setting.profile = Some(profile);
    setting
}

fn filled(setting: &mut Setting, m: &Sample) -> Section {
    let profile = setting.profile.as_ref().expect("a profile");
    setting.divided = Some(divided(profile, m));
    let mut out = Section {
        estimate: true,
        ..Section::default()
    };
    fill(setting, m, &mut out);
    out
}

fn value(out: &Section, key: &str) -> Known {
    let row = out.rows.iter().find(|(def, _)| def.key == key).expect(key);
    out.values[row.1]
}

/// The current found, imposed on the simulated motor with load and gear on its shaft, makes it follow the profile.
#[test]
fn the_current_makes_a_simulated_motor_follow_the_move() {
    let mut setting = setting(read(
        "time_s,speed_rpm\n0,0\n0.1,900\n0.3,900\n0.35,-300\n0.4,-300\n",
    ));
    let m = sample(parameters(), K);
    let out = filled(&mut setting, &m);
    let profile = setting.divided.clone().expect("divided");
    let geared = Geared::new(&profile, &setting.order, &m, 3.0, 3.2).expect("known");
    let h = 1e-5;
    let (mut e, mut peak, mut square, mut t) = (0.0f64, 0.0f64, 0.0, 0.0);
    for piece in &profile.pieces {
        let demand = geared.demand(&profile, piece).expect("a current");
        let slope = (piece.speed_rad_s[1] - piece.speed_rad_s[0]) / piece.length_s;
        let steps = (piece.length_s / h).round() as usize;
        for step in 0..steps {
            let share = (step as f64 + 0.5) / steps as f64;
            let [a, b, c] = demand.points.map(|p| p.current_a);
            // The parabola through the three points.
            let i = a * (1.0 - share) * (1.0 - 2.0 * share)
                + 4.0 * b * share * (1.0 - share)
                + c * share * (2.0 * share - 1.0);
            let moving = (piece.speed_rad_s[0] + piece.speed_rad_s[1]).signum();
            // At the load's shaft, then through the gear, which loses a fifth of what goes through it.
            let load = 8e-3 * moving + 4e-5 * slope;
            let through = if load * moving < 0.0 { 0.8 } else { 1.0 / 0.8 };
            let net = i * (1.0 - 0.004 * i.abs())
                - load * through / 3.0 / K
                - moving * (0.13 + 3e-3 * e.abs() + 1e-4 * e * e);
            e += net / 3.6e-3 * piece.length_s / steps as f64;
            peak = peak.max(i.abs());
            square += i * i * piece.length_s / steps as f64;
        }
        t += piece.length_s;
        assert_relative_eq!(e, 3.0 * K * piece.speed_rad_s[1], epsilon = 2e-3);
    }
    assert_relative_eq!(
        value(&out, "profile_peak_current").expect("known"),
        peak,
        max_relative = 2e-3
    );
    let rms = (square / t).sqrt();
    assert_relative_eq!(
        value(&out, "profile_rms_current").expect("known"),
        rms,
        max_relative = 1e-3
    );
}

/// The voltage found, put on the simulated motor, draws the current found; the supply's share follows from it.
#[test]
fn the_voltage_makes_a_simulated_motor_draw_the_current() {
    let mut setting = setting(read("time_s,speed_rpm\n0,0\n0.2,900\n0.4,900\n"));
    setting.order.load = Load::None;
    setting.order.load_inertia_kg_m2 = None;
    let m = sample(parameters(), K);
    let out = filled(&mut setting, &m);
    let needed = value(&out, "profile_supply_voltage").expect("known");
    let c = Constants::<f64>::new(&parameters());
    let profile = setting.divided.clone().expect("divided");
    let geared = Geared::new(&profile, &setting.order, &m, 3.0, 3.2).expect("known");
    let mut s = State::<f64>::rest();
    let mut most = 0.0f64;
    for piece in &profile.pieces {
        let demand = geared.demand(&profile, piece).expect("a current");
        let slope = demand.slope_a_per_s();
        let volts = demand
            .points
            .map(|p| geared.voltage_v(&p, slope).expect("known"));
        for part in 0..40 {
            let share = (f64::from(part) + 0.5) / 40.0;
            let v = volts[0] + share * (volts[2] - volts[0]);
            most = most.max(v);
            s = advance(&c, s, Condition::Voltage(v), piece.length_s / 40.0, false).end;
        }
        if piece.start_s > 0.01 {
            let end = &demand.points[2];
            assert_relative_eq!(s.back_emf, end.back_emf_v, epsilon = 0.06);
        }
    }
    assert_relative_eq!(needed, most, max_relative = 5e-3);
    assert_relative_eq!(
        value(&out, "profile_voltage_share").expect("known"),
        needed / 24.0
    );
}

/// A half bridge has one switch in the loop and no voltage of the other sign, which a steep stop needs and a slow one does not.
#[test]
fn a_half_bridge_drives_what_needs_no_reversed_voltage() {
    let mut slow = setting(read("time_s,speed_rpm\n0,0\n0.5,900\n4,0\n"));
    let steep = read("time_s,speed_rpm\n0,0\n0.5,900\n0.52,0\n");
    slow.order.switch_resistance_ohm = Some(0.5);
    let m = sample(parameters(), K);
    let full = filled(&mut slow, &m);
    let missing = value(&full, "profile_reversed_voltage");
    assert!(matches!(missing, Err(Why::Moot(_))), "{missing:?}");
    slow.order.half_bridge = true;
    let half = filled(&mut slow, &m);
    assert_eq!(value(&half, "profile_reversed_voltage"), Ok(0.0));
    let [needs_full, needs_half] =
        [&full, &half].map(|out| value(out, "profile_supply_voltage").expect("known"));
    let most_a = value(&full, "profile_peak_current").expect("known");
    assert!(needs_full > needs_half && needs_full - needs_half <= 0.5 * most_a * 1.001);
    slow.profile = Some(steep);
    let reversed = value(&filled(&mut slow, &m), "profile_reversed_voltage").expect("known");
    // At the end of the stop the back-EMF is gone, and R i is left.
    assert!(reversed > 3.0, "{reversed}");
}

/// Without friction, a triangle of speed with nothing but inertia: the ratio is √(J_l/J), any drives text (inertia matching, exact).
#[test]
fn val_the_best_gear_matches_the_inertias() {
    let mut setting = setting(read("time_s,speed_rpm\n0,0\n0.1,300\n0.2,0\n"));
    setting.order.load = Load::None;
    setting.order.gear_efficiency = None;
    setting.order.gear = None;
    let m = sample(TerminalParameters::plain(3.2, 2.4e-3, 3.6e-3, 0.0, 0.0), K);
    let rotor = 3.6e-3 * K * K;
    let profile = setting.profile.clone().expect("a profile");
    let (ratio, _) = gear::best(&setting, &profile, &m).expect("found");
    assert_relative_eq!(ratio, (4e-5 / rotor).sqrt(), max_relative = 2e-3);
    // A supply that does not reach that speed takes a smaller one, at its own edge.
    setting.order.supply_v = 3.5;
    let (slower, rms) = gear::best(&setting, &profile, &m).expect("found");
    assert!(slower < 0.9 * ratio, "{slower} {ratio}");
    let geared = Geared::new(&profile, &setting.order, &m, slower, 3.2).expect("known");
    let demand = geared.demand(&profile, &profile.pieces[0]).expect("known");
    let end = geared.supply_v(&demand.points[2], 0.0).expect("known");
    assert_relative_eq!(end, 3.5, max_relative = 1e-3);
    assert_relative_eq!(demand.points[2].current_a, rms, max_relative = 1e-6);
    setting.order.supply_v = 0.5;
    assert!(gear::best(&setting, &profile, &m).is_err());
}

/// A duty of currents needs no speed; without a heat run it gives no temperature.
#[test]
fn a_duty_of_currents_gives_temperatures_only_with_a_heat_run() {
    let text = "time_s,current_A\n0,1.2\n60,1.2\n60,0\n180,0\n";
    let mut setting = setting(read(text));
    setting.order.ambient_c = 25.0;
    let cold = sample(
        TerminalParameters {
            brush_drop_v: 0.7,
            brush_scale_a: 1e-3,
            ..TerminalParameters::plain(3.0, 2.4e-3, 3.6e-3, 0.13, 0.0)
        },
        K,
    );
    let out = filled(&mut setting, &cold);
    assert_eq!(value(&out, "profile_winding_once"), Err(NO_HEAT_RUN));
    assert_eq!(value(&out, "profile_supply_voltage"), Err(NO_SPEED));
    assert_relative_eq!(
        value(&out, "profile_rms_current").expect("known"),
        1.2 / 3f64.sqrt(),
        max_relative = 1e-9
    );
    let m = Sample {
        thermal: Some(NETWORK),
        ..cold
    };
    let out = filled(&mut setting, &m);
    let once = value(&out, "profile_winding_once").expect("known");
    let repeated = value(&out, "profile_winding_repeated").expect("known");
    assert!(30.0 < once && once + 10.0 < repeated, "{once} {repeated}");
    assert_relative_eq!(
        value(&out, "profile_margin").expect("known"),
        130.0 - repeated
    );
    assert_relative_eq!(
        value(&out, "profile_heat_share").expect("known"),
        (repeated - 25.0) / 105.0
    );
}
