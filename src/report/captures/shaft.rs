//! Speed over time by the sensors on the shaft, beside the fitted motor.

use crate::bench::Bench;
use crate::fit::Estimate;
use crate::quantity::rounding::significant;
use crate::report::context::{MotionView, SpeedCurve};
use crate::stats::quantiles::normal_quantile;

/// One view for each speed channel that took part in the fit.
pub fn views(bench: &Bench, estimate: &Estimate) -> Vec<MotionView> {
    let z = normal_quantile(0.5 + 0.5 * estimate.options.level);
    let courses = estimate.shaft_courses().into_iter();
    courses
        .map(|course| {
            let points: Vec<(f64, f64, f64)> = course
                .points
                .iter()
                .map(|p| (p.time_s, p.recorded_rad_s, p.standard_deviation_rad_s))
                .collect();
            let model = course.points.iter().map(|p| significant(p.model_rad_s, 6));
            MotionView {
                capture: bench.captures[course.capture].name.clone(),
                role: course.channel.clone(),
                words: format!("Means over {} stretches of the capture.", points.len()),
                curve: SpeedCurve::new(&points, z),
                model_rad_s: model.collect(),
            }
        })
        .collect()
}
