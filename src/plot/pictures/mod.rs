//! What there is to draw, one file a subject.

mod answer;
mod captures;
mod drive;
mod efficiency;
mod operating;
mod ripple;

pub use drive::{DRIVE_PICTURES, drive_pictures};

use super::drawing::picture::Picture;
use super::names::Names;
use crate::report::Report;

/// Every picture that the data allow.
pub fn pictures(report: &Report) -> Vec<Picture> {
    let origin = format!("{} · {} {}", report.motor, report.program, report.version);
    let mut out = vec![answer::parameters(report, &origin)];
    out.extend(answer::budget(report, &origin));
    out.extend(operating::operating(report, &origin));
    out.extend(efficiency::map(report, &origin));
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
        out.extend(ripple::ripple(view, name, &origin));
    }
    let mut names = Names::default();
    for view in &report.motion {
        let part = view.role.replace(' ', "_");
        let name = format!("speed_{}_{part}", names.of(&view.capture));
        out.extend(ripple::motion(view, name, &origin));
    }
    out
}
