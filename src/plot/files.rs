//! Pictures on disk: each written atomically, and nothing else overwritten.

use super::error::PlotError;
use crate::motor_file::write_atomically;
use crate::plot::drawing::picture::{PNG_SOFTWARE, Picture, SVG_MARK};
use std::io::{self, Read};
use std::path::{Path, PathBuf};

/// How far into a file its mark is looked for.
const HEAD: u64 = 4096;

/// Which files a picture becomes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum Format {
    /// Scalable vector graphics.
    Svg,
    /// Pixels.
    Png,
}

impl Format {
    fn ending(self) -> &'static str {
        match self {
            Format::Svg => "svg",
            Format::Png => "png",
        }
    }
}

/// Refuses a folder in which a picture would replace a file that is none of ours.
///
/// # Errors
/// [`PlotError::File`].
pub fn check_folder(
    folder: &Path,
    names: &[String],
    formats: &[Format],
    force: bool,
) -> Result<(), PlotError> {
    let refuse = |path: &Path, reason: &str| {
        let text = format!(
            "{reason}, so nothing was written; choose another folder, or pass --force to overwrite it"
        );
        Err(unwritten(path, text))
    };
    if folder.exists() && !folder.is_dir() {
        return refuse(folder, "it is a file, not a folder");
    }
    if force {
        return Ok(());
    }
    for name in names {
        for &format in formats {
            let path = place(folder, name, format);
            match is_ours(&path, format) {
                Ok(true) => {}
                Ok(false) => {
                    return refuse(&path, "a file is there that is no picture of this program");
                }
                Err(error) if error.kind() == io::ErrorKind::NotFound => {}
                Err(error) => return refuse(&path, &format!("it cannot be read ({error})")),
            }
        }
    }
    Ok(())
}

fn place(folder: &Path, name: &str, format: Format) -> PathBuf {
    folder.join(format!("{name}.{}", format.ending()))
}

fn is_ours(path: &Path, format: Format) -> io::Result<bool> {
    let mut head = Vec::new();
    std::fs::File::open(path)?
        .take(HEAD)
        .read_to_end(&mut head)?;
    let mark = match format {
        Format::Svg => SVG_MARK.as_bytes().to_vec(),
        Format::Png => format!("Software\0{PNG_SOFTWARE}").into_bytes(),
    };
    Ok(head.windows(mark.len()).any(|part| part == mark))
}

/// Draws all pictures, then writes them; the paths written, in order. The folder is made where it is not there.
///
/// # Errors
/// As [`check_folder`], [`Picture::svg`] and [`Picture::png`], [`PlotError::File`]. Nothing is written
/// before all are drawn.
pub fn write(
    folder: &Path,
    pictures: &[Picture],
    formats: &[Format],
    force: bool,
) -> Result<Vec<PathBuf>, PlotError> {
    let names: Vec<String> = pictures.iter().map(|p| p.name.clone()).collect();
    check_folder(folder, &names, formats, force)?;
    let mut drawn: Vec<(PathBuf, Vec<u8>)> = Vec::new();
    for picture in pictures {
        for &format in formats {
            let bytes = match format {
                Format::Svg => picture.svg()?.into_bytes(),
                Format::Png => picture.png()?,
            };
            drawn.push((place(folder, &picture.name, format), bytes));
        }
    }
    std::fs::create_dir_all(folder)
        .map_err(|error| unwritten(folder, format!("the folder could not be made: {error}")))?;
    for (written, (path, bytes)) in drawn.iter().enumerate() {
        write_atomically(path, bytes).map_err(|error| {
            let before = match written {
                0 => String::new(),
                1 => "; one picture was written before it".to_owned(),
                n => format!("; {n} pictures were written before it"),
            };
            unwritten(path, format!("could not be written: {error}{before}"))
        })?;
    }
    Ok(drawn.into_iter().map(|d| d.0).collect())
}

fn unwritten(path: &Path, text: String) -> PlotError {
    PlotError::File {
        path: path.to_owned(),
        text,
    }
}
