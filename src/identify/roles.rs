//! Captures that surely show something else than they are said to, before any time is spent on them.

use crate::bench::{Bench, Capture};
use crate::events::{self, Mismatch, RoleGuess};
use rayon::prelude::*;
use std::path::PathBuf;

/// A capture from which its stated role cannot be fitted.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum RoleError {
    /// Voltage and current columns are exchanged.
    #[error(
        "capture \"{name}\" ({}): voltage and current seem to be exchanged: only with the two columns exchanged it shows a {stated}. Exchange the columns (or the probes), or pass --trust-roles to fit it as it is",
        path.display()
    )]
    Swapped {
        /// Name of the capture.
        name: String,
        /// File of the capture.
        path: PathBuf,
        /// Role as stated.
        stated: &'static str,
    },
    /// The waveform clearly shows another role.
    #[error(
        "capture \"{name}\" ({}) has the role {stated}, but shows a {} (confidence {:.2}): {}. Give it its right role, or pass --trust-roles to fit it as stated, which may take minutes",
        path.display(), guess.role.name(), guess.confidence, guess.reason
    )]
    Contradicted {
        /// Name of the capture.
        name: String,
        /// File of the capture.
        path: PathBuf,
        /// Role as stated.
        stated: &'static str,
        /// Role that the waveform shows, with its grounds.
        guess: Box<RoleGuess>,
    },
}

/// Holds every capture's stated role against what its waveform surely shows.
///
/// # Errors
/// [`RoleError`] of the first capture that contradicts.
pub fn check_roles(bench: &Bench) -> Result<(), RoleError> {
    let found: Vec<Option<RoleError>> = bench.captures.par_iter().map(check_role).collect();
    found.into_iter().flatten().next().map_or(Ok(()), Err)
}

/// The same of one capture.
pub fn check_role(capture: &Capture) -> Option<RoleError> {
    let (name, path) = (capture.name.clone(), capture.path.clone());
    let stated = capture.role.name();
    Some(match events::mismatch(&capture.waveform, capture.role)? {
        Mismatch::Swapped => RoleError::Swapped { name, path, stated },
        Mismatch::Shows(guess) => RoleError::Contradicted {
            name,
            path,
            stated,
            guess: Box::new(guess),
        },
    })
}
