//! One preset, drawn and estimated again and again.

use crate::covariances::{COMPARED, noise_bound, sandwiches};
use crate::fitted::Fitted;
use crate::tally::Tally;
use rundown::fit::{Estimate, Interval, Reported, Status};
use rundown::stats::quantiles::normal_quantile;
use testbench::stats::sandwich::ScoreCovariance;
use testbench::{DrawnBench, Scenario};

/// Names in the order of the table, and whether the estimate is positive by nature and its interval symmetric in the log.
const PARAMETERS: [(&str, bool); 13] = [
    ("terminal_resistance", true),
    ("armature_inductance", true),
    ("back_emf_constant", true),
    ("coulomb_friction_torque", false),
    ("viscous_friction", false),
    ("windage", false),
    ("rotor_inertia", true),
    ("brush_drop", false),
    ("inertia_capacitance", true),
    ("friction_current", false),
    ("viscous_conductance", false),
    ("electrical_time_constant", true),
    ("mechanical_time_constant", true),
];

/// What the motor does at its supply: keys of the fit's result and of the truth.
const OPERATING: [&str; 4] = [
    "no_load_speed",
    "no_load_current",
    "stall_torque",
    "stall_current",
];

/// Every row of the table.
pub fn names() -> impl Iterator<Item = &'static str> {
    PARAMETERS.iter().map(|p| p.0).chain(OPERATING)
}

/// Results of one preset.
pub struct Study {
    pub scenario: Scenario,
    pub tallies: Vec<Tally>,
    /// For each of [`ScoreCovariance::ALL`], and last for the bound of noise and priors alone, the tallies of [`COMPARED`].
    pub others: Vec<Vec<Tally>>,
    /// Whether `others` is worked out.
    pub compare: bool,
    pub realisations: u64,
    /// Fits that gave no result, and those whose solver did not end at a minimum.
    pub failed: u64,
    pub unconverged: u64,
    /// Every miss: seed, parameter, pull.
    pub misses: Vec<(u64, &'static str, f64)>,
}

impl Study {
    pub fn new(scenario: Scenario) -> Self {
        Study {
            scenario,
            tallies: vec![Tally::default(); names().count()],
            others: vec![vec![Tally::default(); COMPARED.len()]; ScoreCovariance::ALL.len() + 1],
            compare: false,
            realisations: 0,
            failed: 0,
            unconverged: 0,
            misses: Vec::new(),
        }
    }

    pub fn realise(&mut self, seed: u64) {
        self.realisations += 1;
        let fitted = match Fitted::of(&self.scenario, seed) {
            Ok(fitted) => fitted,
            Err(why) => {
                println!("{} seed {seed}: {why}", self.scenario.facts.name);
                self.failed += 1;
                return;
            }
        };
        let (drawn, found) = (&fitted.drawn, &fitted.found);
        self.unconverged += u64::from(!found.converged());
        let reported = found.reported();
        let supply_v = drawn.truth.rig.supply_v;
        let truths = drawn.truth.operating_at(supply_v).expect("the motor turns");
        let constant = drawn.truth.parameter("back_emf_constant").expect("known");
        let [(_, free_rad_s), (_, free_a), ..] = truths;
        let free_nm = constant * free_a;
        for ((name, in_log), tally) in PARAMETERS.iter().zip(&mut self.tallies) {
            let truth = drawn.truth.parameter(name).expect("every name has a truth");
            let one = reported
                .iter()
                .find(|r| r.name == *name)
                .expect("every parameter is reported");
            let interval = one.estimate.filter(|_| one.status != Status::Undetermined);
            let size = match *name {
                // The windage that would be all the friction there is when running freely.
                "windage" => free_nm / (free_rad_s * free_rad_s),
                _ => truth,
            };
            let miss = tally.judge(interval, truth, size, *in_log, one.one_sided);
            self.misses.extend(miss.map(|pull| (seed, *name, pull)));
        }
        if self.compare {
            self.compare_covariances(drawn, found, &reported);
        }
        for ((name, truth), tally) in truths
            .into_iter()
            .zip(&mut self.tallies[PARAMETERS.len()..])
        {
            let interval = fitted.point(name);
            let miss = tally.judge(interval, truth, truth, true, false);
            self.misses.extend(miss.map(|pull| (seed, name, pull)));
        }
    }
}

impl Study {
    /// Judges the intervals that other covariances of the same estimate give.
    fn compare_covariances(&mut self, drawn: &DrawnBench, found: &Estimate, reported: &[Reported]) {
        let covariances = sandwiches(found)
            .into_iter()
            .chain([noise_bound(found, drawn)]);
        let z = normal_quantile(0.975);
        for (covariance, tallies) in covariances.zip(&mut self.others) {
            for (name, tally) in COMPARED.iter().zip(tallies) {
                let one = reported.iter().find(|r| r.name == *name);
                let Some((estimate, gradient)) =
                    one.and_then(|r| Some((r.estimate?, r.gradient.as_ref()?)))
                else {
                    continue;
                };
                let truth = drawn.truth.parameter(name).expect("every name has a truth");
                let u = gradient.dot(&(&covariance * gradient)).max(0.0).sqrt();
                let reach = (z * u / estimate.value).exp();
                let interval = Interval {
                    value: estimate.value,
                    standard_uncertainty: u,
                    lower: estimate.value / reach,
                    upper: estimate.value * reach,
                };
                tally.judge(Some(interval), truth, truth, true, false);
            }
        }
    }
}
