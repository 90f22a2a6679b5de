//! docs/coverage.md out of the studies.

use crate::covariances::COMPARED;
use crate::study::{Study, names};
use crate::tally::Tally;
use std::fmt::Write;
use testbench::stats::binomial::clopper_pearson;
use testbench::stats::sandwich::ScoreCovariance;

/// Coverage under every way to a covariance, and the variance over the bound of noise and priors.
pub fn comparison(studies: &[Study]) -> String {
    let mut out = String::from(
        "\n## Ways to the covariance, compared\n\n\
         The estimates are the same; only what is believed of the rows' scatter differs (`tests/testbench/src/stats/sandwich.rs`). Share of intervals that hold \
         the truth, in %, and the standard deviation of the pull.\n",
    );
    for study in studies.iter().filter(|s| s.compare) {
        let heads: Vec<String> = COMPARED.iter().map(|n| n.replace('_', " ")).collect();
        write!(
            out,
            "\n### {}, {} realisations\n\n| covariance | {} |\n|{}\n",
            study.scenario.facts.name,
            study.realisations,
            heads.join(" | "),
            " --- |".repeat(COMPARED.len() + 1)
        )
        .expect("a string takes everything");
        let ours: Vec<Tally> = COMPARED
            .iter()
            .map(|name| {
                let place = names()
                    .position(|n| n == *name)
                    .expect("it is in the table");
                study.tallies[place].clone()
            })
            .collect();
        let rows = std::iter::once((
            "as reported: share of the model, ripple by its spectrum",
            &ours,
        ))
        .chain(
            ScoreCovariance::ALL
                .iter()
                .map(|m| m.words())
                .zip(&study.others),
        );
        for (words, tallies) in rows {
            let cells: Vec<String> = tallies
                .iter()
                .map(|t| {
                    let share = 100.0 * t.held as f64 / t.judged.max(1) as f64;
                    let sd = t.mean_and_sd().map_or(f64::NAN, |m| m.1);
                    format!("{share:.1}, {sd:.2}")
                })
                .collect();
            writeln!(out, "| {words} | {} |", cells.join(" | "))
                .expect("a string takes everything");
        }
        let cells: Vec<String> = study.others[ScoreCovariance::ALL.len()]
            .iter()
            .map(|t| {
                let square: f64 = t.pulls.iter().map(|p| p * p).sum();
                format!("{:.2}", square / t.pulls.len().max(1) as f64)
            })
            .collect();
        writeln!(
            out,
            "| mean square error over the bound of the instruments' noise and priors alone | {} |",
            cells.join(" | ")
        )
        .expect("a string takes everything");
    }
    out
}

pub fn totals(studies: &[Study]) -> (u64, u64) {
    studies
        .iter()
        .flat_map(|s| &s.tallies)
        .fold((0, 0), |(held, judged), t| {
            (held + t.held, judged + t.judged)
        })
}

/// Rows of one preset's table.
fn table(study: &Study) -> String {
    let mut out = String::from(
        "| parameter | judged | hold the truth | share % | 95 % range of the share % | mean pull | sd of pull | median u/value % | one-sided | undetermined |\n\
         | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |\n",
    );
    for (name, t) in names().zip(&study.tallies) {
        let (share, range) = if t.judged == 0 {
            ("-".into(), "-".into())
        } else {
            let (low, high) = clopper_pearson(t.held, t.judged, 0.95).expect("a count of trials");
            (
                format!("{:.1}", 100.0 * t.held as f64 / t.judged as f64),
                format!("{:.1} to {:.1}", 100.0 * low, 100.0 * high),
            )
        };
        let (mean, sd) = t.mean_and_sd().map_or(("-".into(), "-".into()), |(m, s)| {
            (format!("{m:+.2}"), format!("{s:.2}"))
        });
        let relative = t
            .median_relative()
            .map_or("-".into(), |r| format!("{:.2}", 100.0 * r));
        writeln!(
            out,
            "| {} | {} | {} | {share} | {range} | {mean} | {sd} | {relative} | {} | {} |",
            name.replace('_', " "),
            t.judged,
            t.held,
            t.one_sided,
            t.without
        )
        .expect("a string takes everything");
    }
    out
}

pub fn page(studies: &[Study]) -> String {
    let (held, judged) = totals(studies);
    let realisations: u64 = studies.iter().map(|s| s.realisations).sum();
    let mut out = format!(
        "# Coverage of the intervals\n\n\
         Written by `scripts/coverage`; do not edit. Each realisation draws a bench of a preset of `tests/testbench` afresh: gains, zeros, shunt, \
         temperatures, segments, bounce, ripple, noise and quantisation. The simulator uses no code, integrator or random number of the estimator. It does share \
         the laws of the motor with it: a brush drop V_b tanh(i/i_b), one screened branch of the inductance, Coulomb, viscous and square-law \
         friction, armature reaction by |i|, one gain and one zero a channel, copper's temperature coefficient; beyond them it has stiction, cogging, \
         unbalance, an uneven commutator, needles, ripple of the current and a resistance that varies over a turn. Motors and instruments with other laws \
         have a table of their own below. An interval that covers with 95 % holds the truth in 93 to 97 % of many realisations.\n\n\
         Pull: (estimate - truth) in standard uncertainties, in the log where the parameter is positive by nature; its mean is the bias, its \
         standard deviation is 1 where the uncertainty is right, below 1 where it is too wide. One-sided intervals count in the coverage, not in \
         the pull. The range of the share is that of Clopper and Pearson. Parameters of one realisation are correlated, so the total is not \
         as sure as its number of intervals.\n\n\
         **{held} of {judged} intervals hold the truth ({:.1} %)**, {realisations} realisations of {} presets, seeds from 1.\n",
        100.0 * held as f64 / judged.max(1) as f64,
        studies.len()
    );
    for study in studies {
        let (held, judged) = totals(std::slice::from_ref(study));
        write!(
            out,
            "\n## {}\n\n{held} of {judged} ({:.1} %) over {} realisations; fits without a result: {}, not ended at a minimum: {}.\n\n{}",
            study.scenario.facts.name,
            100.0 * held as f64 / judged.max(1) as f64,
            study.realisations,
            study.failed,
            study.unconverged,
            table(study)
        )
        .expect("a string takes everything");
        let mut worst = study.misses.clone();
        worst.sort_by(|a, b| b.2.abs().total_cmp(&a.2.abs()));
        if !worst.is_empty() {
            let told: Vec<String> = worst
                .iter()
                .take(8)
                .map(|(seed, name, pull)| {
                    format!("{} {pull:+.1} (seed {seed})", name.replace('_', " "))
                })
                .collect();
            write!(out, "\nFarthest misses: {}.\n", told.join(", "))
                .expect("a string takes everything");
        }
    }
    out
}
