//! One bench drawn, read and fitted, with the operating points of its motor file.

use crate::load::load;
use rundown::events;
use rundown::fit::{Estimate, FitError, FitOptions, Interval, estimate};
use rundown::motor_file::{self, OperatingPoints};
use testbench::{DrawnBench, Scenario, draw};

/// What is judged against the truth of `drawn`.
pub struct Fitted {
    pub drawn: DrawnBench,
    pub found: Estimate,
    points: Option<OperatingPoints>,
}

impl Fitted {
    pub fn of(scenario: &Scenario, seed: u64) -> Result<Fitted, FitError> {
        let drawn = draw(scenario, seed).expect("the presets describe real benches");
        let bench = load(&drawn).expect("the sheet can be read");
        let captures = bench.captures.iter();
        let timelines: Vec<_> = captures
            .map(|c| events::find(&c.waveform, c.role))
            .collect();
        let found = estimate(&bench, &timelines, &FitOptions::default())?;
        let file = motor_file::assemble(&bench, &timelines, &found);
        let points = motor_file::draw::operating_points(&file, drawn.truth.rig.supply_v, 0.95);
        Ok(Fitted {
            drawn,
            found,
            points,
        })
    }

    /// An operating point by its key.
    pub fn point(&self, key: &str) -> Option<Interval> {
        let points = self.points.as_ref()?;
        let at = match key {
            "no_load_speed" => points.no_load_speed.as_ref(),
            "no_load_current" => points.no_load_current.as_ref(),
            "stall_torque" => points.stall_torque.as_ref(),
            "stall_current" => points.stall_current.as_ref(),
            _ => None,
        }?;
        Some(Interval {
            value: at.value,
            standard_uncertainty: at.standard_uncertainty,
            lower: at.lower,
            upper: at.upper,
        })
    }
}
