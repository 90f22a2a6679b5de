//! Pictures for a lab notebook or a pull request: SVG and PNG, drawn by plotters from the same plain data as the report page.
//!
//! * [`find`]: the records behind a motor file, by their SHA-256.
//! * [`pictures()`]: what there is to draw; [`drive_pictures`]: of a sizing.
//! * [`write`](write()): the files, each written atomically.
//!
//! A picture has one look on screen and paper: dark on pale, colours that colour-blind readers tell apart, and a line style or
//! a letter beside every colour. The letters of PNG pictures are a subset of a free sans-serif face in `font/`; SVG pictures
//! use the reader's own.

mod drawing;
mod error;
mod files;
mod names;
mod pictures;
mod records;

pub use drawing::picture::Picture;
pub use error::PlotError;
pub use files::{Format, check_folder, write};
pub use names::possible_names;
pub use pictures::{DRIVE_PICTURES, drive_pictures, pictures};
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
