//! The file of a profile: a column of time, and of speed, position, torque or current with their units.

use super::{Asked, MOST_ROWS, Piece, Profile};
use crate::bench::unit_of_column;
use crate::capture::{self, Channel, ReadError, ReadOptions};
use crate::quantity::units::{Quantity, find};
use std::path::{Path, PathBuf};

/// A file that is no profile.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ProfileError {
    /// It could not be read as a table.
    #[error(transparent)]
    Read(#[from] Box<ReadError>),
    /// Its columns do not describe a move or a duty.
    #[error("{}: {text}", path.display())]
    Table {
        /// The file.
        path: PathBuf,
        /// Found, expected and what to do.
        text: String,
    },
}

const EXPECTED: &str = "a column of time and one or more of speed, position, torque or current, each with its unit in the name, e.g. time_s, speed_rpm, torque_mNm";

/// Quantities of the columns; the order decides where a unit could be two of them.
const QUANTITIES: [Quantity; 5] = [
    Quantity::Speed,
    Quantity::Torque,
    Quantity::Angle,
    Quantity::Current,
    Quantity::Time,
];

/// Endings of names that hold a unit of two parts.
const ENDINGS: [(&str, &str); 3] = [
    ("_rad_s", "rad/s"),
    ("_rad_per_s", "rad/s"),
    ("_deg_per_s", "deg/s"),
];

/// Quantity of a column, with the factor to its SI unit.
fn quantity_of(channel: &Channel) -> Option<(Quantity, f64)> {
    let name = channel.name.trim().to_lowercase();
    if let Some((_, unit)) = ENDINGS.iter().find(|(ending, _)| name.ends_with(ending)) {
        return Some((Quantity::Speed, find(Quantity::Speed, unit).ok()?.factor));
    }
    QUANTITIES
        .into_iter()
        .find_map(|quantity| Some((quantity, unit_of_column(quantity, channel)?)))
}

/// The columns in SI units, in the order of [`QUANTITIES`].
struct Columns([Option<Vec<f64>>; 5]);

impl Columns {
    fn read(path: &Path) -> Result<Columns, ProfileError> {
        let options = ReadOptions {
            // Every column is kept as it stands; equal times are a step.
            time_column: Some(0),
            ..ReadOptions::default()
        };
        let record = capture::read(path, &options).map_err(Box::new)?;
        let mut columns = Columns(Default::default());
        for channel in &record.channels {
            let Some((quantity, factor)) = quantity_of(channel) else {
                return invalid(
                    path,
                    format!(
                        "column {} \"{}\" has no unit that a profile knows; expected {EXPECTED}. Name it so, or take the column out",
                        channel.column, channel.name
                    ),
                );
            };
            let place = QUANTITIES.iter().position(|known| *known == quantity);
            let slot = &mut columns.0[place.unwrap_or_default()];
            if slot.is_some() {
                return invalid(
                    path,
                    format!(
                        "two columns hold a {quantity}, the second is column {} \"{}\"; take one out",
                        channel.column, channel.name
                    ),
                );
            }
            if let Some(row) = channel.values.iter().position(|value| !value.is_finite()) {
                return invalid(
                    path,
                    format!(
                        "column {} \"{}\" has no number in row {} of the numbers; fill it in, or take the row out",
                        channel.column,
                        channel.name,
                        row + 1
                    ),
                );
            }
            *slot = Some(channel.values.iter().map(|value| value * factor).collect());
        }
        Ok(columns)
    }

    fn take(&mut self, quantity: Quantity) -> Option<Vec<f64>> {
        let place = QUANTITIES.iter().position(|known| *known == quantity)?;
        self.0[place].take()
    }

    /// The times, which do not go back.
    fn times(&mut self, path: &Path) -> Result<Vec<f64>, ProfileError> {
        let Some(times_s) = self.take(Quantity::Time) else {
            return invalid(
                path,
                format!("no column holds the time; expected {EXPECTED}"),
            );
        };
        if !(2..=MOST_ROWS).contains(&times_s.len()) {
            return invalid(
                path,
                format!(
                    "{} rows of numbers, expected 2 to {MOST_ROWS}; thin out a longer one",
                    times_s.len()
                ),
            );
        }
        if let Some(row) = times_s.windows(2).position(|pair| pair[1] < pair[0]) {
            return invalid(
                path,
                format!(
                    "the time goes back from {} s to {} s at row {} of the numbers; sort the rows",
                    times_s[row],
                    times_s[row + 1],
                    row + 2
                ),
            );
        }
        Ok(times_s)
    }

    /// Speed, or that of a position.
    fn speed(&mut self, path: &Path, times_s: &[f64]) -> Result<Option<Vec<f64>>, ProfileError> {
        let position = self.take(Quantity::Angle);
        let speed = self.take(Quantity::Speed);
        if let Some(position) = position {
            if speed.is_some() {
                return invalid(
                    path,
                    "it has both speed and position, and one follows from the other; remove one"
                        .to_owned(),
                );
            }
            if let Some(row) = times_s.windows(2).position(|pair| pair[1] <= pair[0]) {
                return invalid(
                    path,
                    format!(
                        "rows {} and {} have the same time; positions need times that rise",
                        row + 1,
                        row + 2
                    ),
                );
            }
            return Ok(Some(slopes(times_s, &position)));
        }
        Ok(speed)
    }
}

fn invalid<T>(path: &Path, text: String) -> Result<T, ProfileError> {
    Err(ProfileError::Table {
        path: path.to_owned(),
        text,
    })
}

/// Speeds at given times from positions there: slope of the parabola through a row and its neighbours. At rest before the first row and
/// after the last.
fn slopes(times_s: &[f64], positions_rad: &[f64]) -> Vec<f64> {
    let last = times_s.len() - 1;
    let slope =
        |k: usize| (positions_rad[k + 1] - positions_rad[k]) / (times_s[k + 1] - times_s[k]);
    (0..times_s.len())
        .map(|k| {
            if k == 0 || k == last {
                return 0.0;
            }
            let (before_s, after_s) = (times_s[k] - times_s[k - 1], times_s[k + 1] - times_s[k]);
            (slope(k - 1) * after_s + slope(k) * before_s) / (before_s + after_s)
        })
        .collect()
}

impl Profile {
    /// Reads a profile.
    ///
    /// # Errors
    /// A file that is no table, or one whose columns are no profile.
    pub fn read(path: &Path) -> Result<Profile, ProfileError> {
        let mut columns = Columns::read(path)?;
        let times_s = columns.times(path)?;
        let speed = columns.speed(path, &times_s)?;
        let (asked, values) = match (
            columns.take(Quantity::Torque),
            columns.take(Quantity::Current),
        ) {
            (Some(_), Some(_)) => {
                return invalid(
                    path,
                    "it has both torque and current, and one follows from the other; remove one"
                        .to_owned(),
                );
            }
            (Some(torque), None) => (Asked::Torque, Some(torque)),
            (None, Some(current)) => (Asked::Current, Some(current)),
            (None, None) => (Asked::Motion, None),
        };
        if speed.is_none() && values.is_none() {
            return invalid(path, format!("nothing but the time; expected {EXPECTED}"));
        }
        let moves = speed.is_some();
        let of = |column: &Option<Vec<f64>>, k: usize| column.as_ref().map_or(0.0, |all| all[k]);
        let pieces: Vec<Piece> = (0..times_s.len() - 1)
            .filter(|k| times_s[k + 1] > times_s[*k])
            .flat_map(|k| {
                let piece = Piece {
                    start_s: times_s[k] - times_s[0],
                    length_s: times_s[k + 1] - times_s[k],
                    speed_rad_s: [k, k + 1].map(|k| of(&speed, k)),
                    asked: [k, k + 1].map(|k| of(&values, k)),
                };
                piece.cut()
            })
            .collect();
        if let Some(row) = jump(&times_s, speed.as_deref()) {
            return invalid(
                path,
                format!(
                    "the speed jumps within no time at row {row} of the numbers, which no motor can follow; give the change a time"
                ),
            );
        }
        if pieces.is_empty() {
            return invalid(
                path,
                "all rows have the same time; expected times that rise".to_owned(),
            );
        }
        let name = path.file_name().unwrap_or_default();
        Ok(Profile {
            asked,
            moves,
            pieces,
            name: name.to_string_lossy().into_owned(),
        })
    }
}

/// Row at which the speed changes while the time does not.
fn jump(times_s: &[f64], speed: Option<&[f64]>) -> Option<usize> {
    let speed = speed?;
    (1..times_s.len())
        .find(|k| times_s[*k] == times_s[k - 1] && speed[*k] != speed[k - 1])
        .map(|k| k + 1)
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    fn read(text: &str) -> Result<Profile, String> {
        let folder = tempfile::tempdir().expect("folder");
        let path = folder.path().join("moves.csv");
        std::fs::write(&path, text).expect("written");
        Profile::read(&path).map_err(|error| error.to_string())
    }

    #[test]
    fn units_of_the_columns_are_converted_and_a_step_is_two_rows_of_one_time() {
        let profile =
            read("time_ms,speed_rpm,torque_mNm\n0,0,5\n100,600,5\n100,600,8\n300,-600,8\n")
                .expect("a profile");
        assert_eq!((profile.asked, profile.moves), (Asked::Torque, true));
        // Cut where the speed is zero.
        assert_eq!(profile.pieces.len(), 3);
        assert_relative_eq!(profile.length_s(), 0.3, max_relative = 1e-12);
        let last = profile.pieces[2];
        assert_relative_eq!(last.start_s, 0.2, max_relative = 1e-12);
        assert_relative_eq!(last.speed_rad_s[1], -62.83185307, max_relative = 1e-9);
        assert_relative_eq!(last.asked[0], 8e-3, max_relative = 1e-12);
        let other = read("t (s);speed_rad_s\n0;0\n0,5;10\n2;10\n").expect("a profile");
        assert_eq!(other.asked, Asked::Motion);
        assert_eq!(other.pieces[0].speed_rad_s, [0.0, 10.0]);
        assert_relative_eq!(other.length_s(), 2.0);
    }

    #[test]
    fn positions_become_speeds() {
        // 90° turned by a constant acceleration: φ = 2 t² rad.
        let rows: String = (0..=20)
            .map(|k| f64::from(k) * 0.05)
            .map(|t| format!("{t},{}\n", 2.0 * t * t))
            .collect();
        let profile = read(&format!("time (s),position (rad)\n{rows}")).expect("a profile");
        for piece in &profile.pieces[1..19] {
            assert_relative_eq!(
                piece.speed_rad_s[0],
                4.0 * piece.start_s,
                epsilon = 1e-9,
                max_relative = 1e-9
            );
        }
    }

    #[test]
    fn what_is_no_profile_is_refused_with_place_found_and_expected() {
        for (text, expected) in [
            (
                "time_s,speed_rpm\n0,0\n1,10\n0.5,20\n",
                "time goes back from 1 s to 0.5 s at row 3",
            ),
            ("time_s,bananas\n0,0\n1,10\n", "\"bananas\" has no unit"),
            (
                "speed_rpm,torque_mNm\n0,0\n1,10\n",
                "no column holds the time",
            ),
            (
                "time_s,torque_mNm,current_A\n0,0,1\n1,10,1\n",
                "torque and current",
            ),
            (
                "time_s,speed_rpm\n0,0\n0,10\n1,20\n",
                "jumps within no time at row 2",
            ),
            ("time_s,speed_rpm\n0,0\n1,\n2,3\n", "no number in row 2"),
        ] {
            let error = read(text).expect_err(text);
            assert!(error.contains(expected), "{text}: {error}");
        }
    }
}
