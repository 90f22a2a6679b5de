//! Draws the benches that `scripts/same_outputs` compares two builds on: two seeds of every preset, each capture in another layout,
//! and a shelf of six small ones that differ in R.
//!
//!     cargo run -p testbench --bin draw_benches -- DIR

use std::error::Error;
use std::path::PathBuf;
use testbench::{Layout, draw, presets, write_folder};

fn main() -> Result<(), Box<dyn Error>> {
    let root = PathBuf::from(std::env::args().nth(1).ok_or("usage: draw_benches DIR")?);
    for scenario in presets::all() {
        for seed in [11, 12] {
            let name = scenario.facts.name.replace(' ', "_");
            let folder = root.join(format!("{name}_{seed}"));
            write_folder(&draw(&scenario, seed)?, &folder, &Layout::ALL)?;
        }
    }
    for (k, scenario) in presets::shelf(6).iter().enumerate() {
        let folder = root.join("shelf").join(format!("stirrer{k:02}"));
        let drawn = draw(scenario, 100 + k as u64)?;
        write_folder(&drawn, &folder, &[Layout::HeaderWithUnits])?;
    }
    Ok(())
}
