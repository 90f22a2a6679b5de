//! Draws benches with their truth as folders of files.
//!
//!     cargo run -p testbench --bin draw_benches -- DIR
//!     cargo run -p testbench --bin draw_benches -- DIR FIRST COUNT
//!     cargo run -p testbench --bin draw_benches -- DIR --repeats COUNT
//!     cargo run -p testbench --bin draw_benches -- DIR --departures FIRST COUNT
//!
//! The first form draws those on which `scripts/same_outputs` compares two builds: two seeds of every preset, each capture in another
//! layout, and a shelf of six small ones that differ in R. The second draws COUNT seeds of every preset from FIRST on, for studies. The third
//! draws one bench whose captures are each made COUNT times. The fourth draws COUNT seeds of the label peeler and the blind winder with each law
//! that the estimator does not know.

use std::error::Error;
use std::ops::Range;
use std::path::{Path, PathBuf};
use testbench::presets::Departure;
use testbench::{Layout, Scenario, Shot, draw, presets, write_folder};

const USAGE: &str =
    "usage: draw_benches DIR [FIRST COUNT | --repeats COUNT | --departures FIRST COUNT]";

fn main() -> Result<(), Box<dyn Error>> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    match arguments.as_slice() {
        [root] => {
            every(presets::all(), Path::new(root), 11..13)?;
            shelf(&PathBuf::from(root).join("shelf"))
        }
        [root, repeats, count] if repeats == "--repeats" => {
            let count: usize = count.parse().map_err(|_| USAGE)?;
            let drawn = draw(&repeated(presets::label_peeler(), count), 1)?;
            write_folder(&drawn, Path::new(root), &[Layout::HeaderWithUnits])?;
            Ok(())
        }
        [root, first, count] => every(presets::all(), Path::new(root), seeds(first, count)?),
        [root, departures, first, count] if departures == "--departures" => {
            let known = [presets::label_peeler(), presets::blind_winder()];
            let departing = Departure::ALL
                .into_iter()
                .flat_map(|law| known.clone().map(|preset| law.of(preset)));
            every(departing.collect(), Path::new(root), seeds(first, count)?)
        }
        _ => Err(USAGE.into()),
    }
}

fn repeated(mut scenario: Scenario, count: usize) -> Scenario {
    let once = std::mem::take(&mut scenario.plan);
    for number in 1..=count {
        scenario.plan.extend(once.iter().map(|shot| Shot {
            name: format!("{}_{number}", shot.name),
            ..shot.clone()
        }));
    }
    scenario
}

fn seeds(first: &str, count: &str) -> Result<Range<u64>, Box<dyn Error>> {
    let first: u64 = first.parse().map_err(|_| USAGE)?;
    let count: u64 = count.parse().map_err(|_| USAGE)?;
    Ok(first..first + count)
}

fn every(scenarios: Vec<Scenario>, root: &Path, seeds: Range<u64>) -> Result<(), Box<dyn Error>> {
    for scenario in scenarios {
        for seed in seeds.clone() {
            let name = scenario.facts.name.replace(' ', "_");
            let folder = root.join(format!("{name}_{seed}"));
            write_folder(&draw(&scenario, seed)?, &folder, &Layout::ALL)?;
        }
    }
    Ok(())
}

fn shelf(root: &Path) -> Result<(), Box<dyn Error>> {
    for (k, scenario) in presets::shelf(6).iter().enumerate() {
        let drawn = draw(scenario, 100 + k as u64)?;
        let folder = root.join(format!("stirrer{k:02}"));
        write_folder(&drawn, &folder, &[Layout::HeaderWithUnits])?;
    }
    Ok(())
}
