//! What the speed channels recorded beside the fitted motor, for pictures.

use super::Estimate;
use crate::fit::references::{Group, ReadingTerm, Term};

/// The speed channel of one capture.
#[derive(Clone, Debug, PartialEq)]
pub struct ShaftCourse {
    /// Index of the capture in the bench.
    pub capture: usize,
    /// Name of the channel.
    pub channel: String,
    /// One a stretch, in the order of time.
    pub points: Vec<ShaftPoint>,
}

/// Mean speed over one stretch.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ShaftPoint {
    /// Middle of the stretch, s.
    pub time_s: f64,
    /// As recorded, rad/s.
    pub recorded_rad_s: f64,
    /// With which the fit weighs it, rad/s.
    pub standard_deviation_rad_s: f64,
    /// As the channel would show the fitted motor, rad/s.
    pub model_rad_s: f64,
}

impl Estimate {
    /// Every speed channel that took part in the fit.
    pub fn shaft_courses(&self) -> Vec<ShaftCourse> {
        let mut out: Vec<ShaftCourse> = Vec::new();
        for reading in &self.problem.readings {
            let (ReadingTerm::Shaft(term), Some(Group::Shaft(model))) = (reading, reading.group())
            else {
                continue;
            };
            let models = &self.problem.models[model];
            let Term { residual, .. } = term.evaluate(&self.solution.x, &self.predictions);
            let [first_s, last_s] = term.instants.map(|k| models.instants[k]);
            let point = ShaftPoint {
                time_s: 0.5 * (first_s + last_s),
                recorded_rad_s: term.turned_rad / term.duration_s,
                standard_deviation_rad_s: term.sd_rad / term.duration_s,
                model_rad_s: (term.turned_rad - residual * term.sd_rad) / term.duration_s,
            };
            match out.iter_mut().find(|c| c.capture == models.capture) {
                Some(course) => course.points.push(point),
                None => out.push(ShaftCourse {
                    capture: models.capture,
                    channel: term.name.to_string(),
                    points: vec![point],
                }),
            }
        }
        for course in &mut out {
            course.points.sort_by(|a, b| a.time_s.total_cmp(&b.time_s));
        }
        out
    }
}
