//! The pictures of a sizing.

use crate::cli::terminal::{path_text, report_lines, report_warning};
use rundown::drive::Sizing;
use rundown::plot::{self, Format};
use std::path::Path;

const FORMATS: [Format; 2] = [Format::Svg, Format::Png];

/// Refuses a folder in which a picture would replace a file that is none of ours, before the long work.
pub fn check(folder: &Path) -> anyhow::Result<()> {
    let names = plot::DRIVE_PICTURES.map(str::to_owned);
    Ok(plot::check_folder(folder, &names, &FORMATS, false)?)
}

/// Writes the pictures; their paths go to the standard error, so that JSON stays whole.
pub fn draw(sizing: &Sizing, folder: &Path) -> anyhow::Result<()> {
    let pictures = plot::drive_pictures(sizing);
    if pictures.is_empty() {
        report_warning(
            "nothing to draw: a profile is drawn with --profile, the torque at each speed with --winding-limit and a heat run",
        );
        return Ok(());
    }
    for path in plot::write(folder, &pictures, &FORMATS, false)? {
        report_lines(&format!("written: {}", path_text(&path)));
    }
    Ok(())
}
