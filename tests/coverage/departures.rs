//! Benches that follow other laws than the estimator's model: does what a user needs still hold the truth?

use crate::fitted::Fitted;
use crate::tally::Tally;
use rundown::fit::Status;
use std::fmt::Write;
use testbench::presets::Departure;
use testbench::{ContactLaw, DrawnBench, Scenario};

/// Columns of the table: key of the result, and whether it is judged in the log.
const JUDGED: [(&str, bool); 7] = [
    ("terminal_resistance", true),
    ("armature_inductance", true),
    ("back_emf_constant", true),
    ("rotor_inertia", true),
    ("friction_torque_at_speed", false),
    ("no_load_speed", true),
    ("stall_current", true),
];

/// What became of one kind of bench.
pub struct Row {
    pub name: &'static str,
    pub tallies: Vec<Tally>,
    pub benches: u64,
    pub conflicts: u64,
    pub failed: u64,
}

const AS_FITTED: &str = "the estimator's laws";

/// `seeds` benches of each of `presets` as the model has it, and with each departure whose name holds `only`.
pub fn study(presets: &[Scenario], seeds: u64, only: &str) -> Vec<Row> {
    let laws = [None].into_iter().chain(Departure::ALL.map(Some));
    let wanted = laws.filter(|law| law.map_or(AS_FITTED, Departure::name).contains(only));
    wanted
        .map(|law| {
            let mut row = Row {
                name: law.map_or(AS_FITTED, Departure::name),
                tallies: vec![Tally::default(); JUDGED.len()],
                benches: 0,
                conflicts: 0,
                failed: 0,
            };
            for preset in presets {
                let scenario = law.map_or(preset.clone(), |law| law.of(preset.clone()));
                (1..=seeds).for_each(|seed| row.realise(&scenario, seed));
            }
            row
        })
        .collect()
}

impl Row {
    fn realise(&mut self, scenario: &Scenario, seed: u64) {
        self.benches += 1;
        let Ok(fitted) = Fitted::of(scenario, seed) else {
            self.failed += 1;
            return;
        };
        let (drawn, found) = (&fitted.drawn, &fitted.found);
        let reported = found.reported();
        let conflict = reported.iter().any(|r| r.status == Status::InConflict);
        self.conflicts += u64::from(conflict);
        for ((name, in_log), tally) in JUDGED.iter().zip(&mut self.tallies) {
            let one = reported.iter().find(|r| r.name == *name);
            let interval = one.and_then(|r| r.estimate).or(fitted.point(name));
            let at_v = one.and_then(|r| r.at_back_emf_v);
            let truth = truth(drawn, name, at_v);
            let miss = tally.judge(interval, truth, truth, *in_log, false);
            if let Some(pull) = miss {
                println!("{} seed {seed}: {name} {pull:+.1}", scenario.facts.name);
            }
        }
    }
}

fn truth(drawn: &DrawnBench, name: &str, back_emf_v: Option<f64>) -> f64 {
    if let (Some(back_emf_v), Some(k)) = (back_emf_v, drawn.truth.parameter("back_emf_constant")) {
        return drawn
            .truth
            .machine_at_25_c
            .running_friction_nm(back_emf_v / k);
    }
    let operating = drawn.truth.operating_at(drawn.truth.rig.supply_v);
    let operating = operating.expect("the motor turns");
    if let Some((_, value)) = operating.iter().find(|(key, _)| *key == name) {
        return *value;
    }
    let value = drawn.truth.parameter(name).expect("every name has a truth");
    let machine = &drawn.truth.machine_at_25_c;
    if name == "terminal_resistance" && machine.contact != ContactLaw::Constant {
        // R is a slope: what the contact drop still rises from the no-load to the stall current is a part of it.
        let [_, (_, free_a), _, (_, stall_a)] = operating;
        let rise_v = machine.contact_drop_v(stall_a) - machine.contact_drop_v(free_a);
        return value + rise_v / (stall_a - free_a);
    }
    value
}

/// Intervals that hold the truth, and all.
pub fn totals(rows: &[Row]) -> (u64, u64) {
    rows.iter()
        .flat_map(|row| &row.tallies)
        .fold((0, 0), |(held, judged), t| {
            (held + t.held, judged + t.judged)
        })
}

/// The table, a row a law: intervals that hold the truth over all, and the mean pull.
pub fn table(rows: &[Row]) -> String {
    let names: Vec<String> = JUDGED
        .iter()
        .map(|(name, _)| name.replace('_', " "))
        .collect();
    let mut out = format!(
        "| benches with | benches | in conflict | {} |\n| --- | --- | --- |{}\n",
        names.join(" | "),
        " --- |".repeat(JUDGED.len())
    );
    for row in rows {
        let cells: Vec<String> = row.tallies.iter().map(cell).collect();
        let failed = match row.failed {
            0 => String::new(),
            count => format!(", {count} without a result"),
        };
        writeln!(
            out,
            "| {}{failed} | {} | {} | {} |",
            row.name,
            row.benches,
            row.conflicts,
            cells.join(" | ")
        )
        .expect("a string takes everything");
    }
    out
}

fn cell(tally: &Tally) -> String {
    let mean = tally
        .mean_and_sd()
        .map_or(String::new(), |(mean, _)| format!(", {mean:+.1}"));
    format!("{} of {}{mean}", tally.held, tally.judged)
}
