//! Speed over time by the sensors on the shaft, beside the fitted motor.

use crate::bench::Bench;
use crate::fit::Estimate;
use crate::quantity::rounding::significant;
use crate::report::context::MotionView;
use crate::stats::quantiles::normal_quantile;

/// One view for each speed channel that took part in the fit.
pub fn views(bench: &Bench, estimate: &Estimate) -> Vec<MotionView> {
    let z = normal_quantile(0.5 + 0.5 * estimate.options.level);
    let courses = estimate.shaft_courses().into_iter();
    courses
        .map(|course| {
            let points = &course.points;
            let all = |of: &dyn Fn(&crate::fit::ShaftPoint) -> f64| {
                points.iter().map(|p| significant(of(p), 6)).collect()
            };
            MotionView {
                capture: bench.captures[course.capture].name.clone(),
                role: course.channel.clone(),
                words: format!("Means over {} stretches of the capture.", points.len()),
                speed_time_s: all(&|p| p.time_s),
                speed_rad_s: all(&|p| p.recorded_rad_s),
                speed_lower_rad_s: all(&|p| p.recorded_rad_s - z * p.standard_deviation_rad_s),
                speed_upper_rad_s: all(&|p| p.recorded_rad_s + z * p.standard_deviation_rad_s),
                model_rad_s: all(&|p| p.model_rad_s),
            }
        })
        .collect()
}
