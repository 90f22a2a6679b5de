//! How a command ended.

use std::process::ExitCode;

/// What the exit status of the process says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Status {
    /// The result is complete and nothing is in conflict.
    Ok,
    /// The command ended, but its result is incomplete or in conflict, or a claim fails.
    Questionable,
    /// There is no result.
    NoResult,
}

impl Status {
    /// [`Status::Ok`] where the result is good, else [`Status::Questionable`].
    pub fn of(good: bool) -> Status {
        if good {
            Status::Ok
        } else {
            Status::Questionable
        }
    }
}

impl From<Status> for ExitCode {
    fn from(status: Status) -> ExitCode {
        ExitCode::from(match status {
            Status::Ok => 0,
            Status::Questionable => 1,
            Status::NoResult => 2,
        })
    }
}
