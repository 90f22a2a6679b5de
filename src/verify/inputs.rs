//! The inputs of a motor file, found and hashed.

use crate::files::{folder_of, is_inside, sha256};
use crate::motor_file::{Input, MotorFile, SHEET_ROLE};
use rayon::prelude::*;
use std::io;
use std::path::{Path, PathBuf};

/// Where inputs are looked for.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Search {
    /// Folder that holds the bench sheet and its captures as they lay beside each other. Without it: the working folder
    /// and the folder of the motor file, from which the paths in the file are followed.
    pub folder: Option<PathBuf>,
    /// Also follow paths that lead out of these folders.
    pub allow_outside: bool,
}

/// What became of an input.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum State {
    /// Its bytes are those that were read.
    Unchanged,
    /// With the hash found.
    Changed(String),
    /// It is not there.
    Missing,
    /// It may be there, but outside the folders that may be read.
    Outside,
    /// It cannot be read.
    Unreadable(String),
}

/// One input.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CheckedInput {
    /// The input as the file names it.
    pub input: Input,
    /// Where it was looked for last, or found.
    pub path: PathBuf,
    /// What became of it.
    pub state: State,
}

/// Finds and hashes every input of `file`, which was read from `path`; in the order of the file.
pub fn check_inputs(path: &Path, file: &MotorFile, search: &Search) -> Vec<CheckedInput> {
    let sheet_folder = file
        .inputs
        .iter()
        .find(|input| input.role.as_deref() == Some(SHEET_ROLE))
        .map(|input| folder_of(Path::new(&input.path)).to_owned());
    file.inputs
        .par_iter()
        .map(|input| {
            let (path, state) = find(path, input, sheet_folder.as_deref(), search);
            CheckedInput {
                input: input.clone(),
                path,
                state,
            }
        })
        .collect()
}

fn find(
    motor_file: &Path,
    input: &Input,
    sheet_folder: Option<&Path>,
    search: &Search,
) -> (PathBuf, State) {
    let written = Path::new(&input.path);
    let places: Vec<(PathBuf, PathBuf)> = match &search.folder {
        Some(folder) => {
            let relative = sheet_folder.and_then(|sheet| written.strip_prefix(sheet).ok());
            let name = written.file_name().map(Path::new);
            let relative = relative.or(name).unwrap_or(written);
            vec![(folder.clone(), relative.to_owned())]
        }
        None => vec![
            (PathBuf::from("."), written.to_owned()),
            (folder_of(motor_file).to_owned(), written.to_owned()),
        ],
    };
    let mut last = (written.to_owned(), State::Missing);
    for (folder, relative) in places {
        let path = if folder == Path::new(".") {
            relative.clone()
        } else {
            folder.join(&relative)
        };
        if !search.allow_outside && !is_inside(&folder, &relative) {
            if last.1 == State::Missing {
                last = (path, State::Outside);
            }
            continue;
        }
        let state = match sha256(&path) {
            Ok(found) if found == input.sha256 => return (path, State::Unchanged),
            Ok(found) => State::Changed(found),
            Err(error) if error.kind() == io::ErrorKind::NotFound => State::Missing,
            Err(error) => State::Unreadable(error.to_string()),
        };
        if state != State::Missing || last.1 == State::Missing {
            last = (path, state);
        }
    }
    last
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::fs;

    /// From FIPS 180-4's companion examples: the SHA-256 of "abc".
    const ABC: &str = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";

    fn state(folder: &Path, path: &str, search: &Search) -> State {
        let input = Input {
            path: path.into(),
            sha256: ABC.into(),
            role: None,
        };
        find(&folder.join("m.json"), &input, None, search).1
    }

    #[test]
    fn val_an_input_is_unchanged_changed_missing_or_outside() {
        let outer = tempfile::tempdir().unwrap();
        let inner = outer.path().join("inner");
        fs::create_dir(&inner).unwrap();
        fs::write(inner.join("same.csv"), "abc").unwrap();
        fs::write(inner.join("other.csv"), "abd").unwrap();
        fs::write(outer.path().join("out.csv"), "abc").unwrap();
        let search = Search::default();
        assert_eq!(state(&inner, "same.csv", &search), State::Unchanged);
        assert!(matches!(state(&inner, "other.csv", &search), State::Changed(h) if h != ABC));
        assert_eq!(state(&inner, "none.csv", &search), State::Missing);
        assert_eq!(state(&inner, "../out.csv", &search), State::Outside);
        assert!(matches!(
            state(outer.path(), "inner", &search),
            State::Unreadable(_)
        ));
        let allowed = Search {
            allow_outside: true,
            ..search
        };
        assert_eq!(state(&inner, "../out.csv", &allowed), State::Unchanged);
    }

    #[test]
    fn a_named_folder_is_searched_by_place_beside_the_sheet() {
        let folder = tempfile::tempdir().unwrap();
        fs::create_dir(folder.path().join("day2")).unwrap();
        fs::write(folder.path().join("day2/a.csv"), "abc").unwrap();
        let input = Input {
            path: "/elsewhere/bench/day2/a.csv".into(),
            sha256: ABC.into(),
            role: None,
        };
        let search = Search {
            folder: Some(folder.path().into()),
            allow_outside: false,
        };
        let sheet = Some(Path::new("/elsewhere/bench"));
        let found = find(Path::new("m.json"), &input, sheet, &search);
        assert_eq!(found.1, State::Unchanged);
        assert_eq!(found.0, folder.path().join("day2/a.csv"));
    }
}
