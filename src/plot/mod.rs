//! Pictures for a lab notebook or a pull request: SVG and PNG, drawn by plotters from the same plain data as the report page.
//!
//! * [`find`]: the records behind a motor file, by their SHA-256.
//! * [`pictures`]: what there is to draw.
//! * [`write`](write()): the files, each whole or not at all.
//!
//! A picture has one look on screen and paper: dark on pale, colours that colour-blind readers tell apart, and a line style or
//! a letter beside every colour. The letters of PNG pictures are a subset of a free sans-serif face in `font/`; SVG pictures
//! use the reader's own.

mod answer;
mod axis;
mod captures;
mod error;
mod files;
mod ink;
mod motor;
mod panel;
mod picture;
mod records;
mod surface;

pub use error::PlotError;
pub use files::{Format, check_folder, write};
pub use picture::Picture;
pub use records::{Records, find};

use crate::motor_file::MotorFile;
use crate::report::{self, Report};

/// The report's data of a motor file with as much of its records as was found.
pub fn data(file: &MotorFile, records: Option<&Records>) -> Report {
    let Some(records) = records else {
        return report::from_file(file);
    };
    match &records.estimate {
        Some(estimate) => report::gather(&records.bench, &records.timelines, estimate, file),
        None => Report {
            captures: report::capture_views(&records.bench, &records.timelines, None, file),
            ..report::from_file(file)
        },
    }
}

/// Every picture that the data allow.
pub fn pictures(report: &Report) -> Vec<Picture<'_>> {
    let origin = picture::shown(&format!(
        "{} · {} {}",
        report.motor, report.program, report.version
    ));
    let mut out = vec![answer::parameters(report, &origin)];
    out.extend(answer::budget(report, &origin));
    out.extend(motor::operating(report, &origin));
    let mut names = Names::default();
    for view in &report.captures {
        let stem = names.of(&view.name);
        out.push(captures::capture(view, format!("capture_{stem}"), &origin));
        if let Some(inset) = &view.inset {
            let name = format!("beginning_{stem}");
            out.push(captures::beginning(view, inset, name, &origin));
        }
    }
    let mut names = Names::default();
    for view in &report.ripple {
        let name = format!("ripple_{}", names.of(&view.capture));
        out.extend(motor::ripple(view, name, &origin));
    }
    let mut names = Names::default();
    for view in &report.motion {
        let part = view.role.replace(' ', "_");
        let name = format!("speed_{}_{part}", names.of(&view.capture));
        out.extend(motor::motion(view, name, &origin));
    }
    out
}

/// Names of all files that [`pictures`] can make of a motor file, so that a refusal comes before the long work.
pub fn possible_names(file: &MotorFile) -> Vec<String> {
    let mut out: Vec<String> = ["parameters", "budget", "torque_speed"]
        .map(String::from)
        .to_vec();
    let mut names = Names::default();
    for capture in &file.fit.captures {
        let stem = names.of(&capture.name);
        for kind in ["capture", "beginning", "ripple"] {
            out.push(format!("{kind}_{stem}"));
        }
        for part in ["start", "steady_running", "brake"] {
            out.push(format!("speed_{stem}_{part}"));
        }
    }
    out
}

/// File names from the names of captures: letters, digits, `-` and `_`, each once.
#[derive(Default)]
struct Names(Vec<String>);

/// Longest part of a capture's name in a file name.
const LONGEST_NAME: usize = 60;

impl Names {
    fn of(&mut self, name: &str) -> String {
        let plain: String = name
            .chars()
            .take(LONGEST_NAME)
            .map(|c| {
                if c.is_ascii_alphanumeric() || c == '-' {
                    c
                } else {
                    '_'
                }
            })
            .collect();
        let mut stem = plain.clone();
        let mut count = 2;
        // Some file systems take capital and small letters for the same.
        while self.0.iter().any(|used| used.eq_ignore_ascii_case(&stem)) {
            stem = format!("{plain}_{count}");
            count += 1;
        }
        self.0.push(stem.clone());
        stem
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_of_captures_become_names_of_files() {
        let mut names = Names::default();
        assert_eq!(names.of("../../etc/passwd"), "______etc_passwd");
        assert_eq!(names.of("Start 1"), "Start_1");
        assert_eq!(names.of("start/1"), "start_1_2");
        assert!(names.of(&"ü".repeat(300)).len() <= 64);
    }
}
