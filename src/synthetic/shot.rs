//! What a person captures: kinds of captures and the plan they make up.

use crate::bench::Role;

/// What the person does in a capture.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
pub enum ShotKind {
    Start,
    RunDown,
    /// Run-down with the disc of the rig on the shaft.
    RunDownWithDisc,
    Brake,
    /// Step onto a held rotor through the switch, bounce and all.
    Locked,
    /// Step onto a held rotor through a transistor: one clean make.
    LockedClean,
    Steady,
    Pwm,
    PwmLocked,
    /// The held motor's current left to the clamp diode.
    TurnOff,
    /// The held motor's lead opened with nothing across it.
    TurnOffUnclamped,
    /// Terminals open, shaft driven at the motor's free-running speed.
    Driven,
}

impl ShotKind {
    /// Role in the bench; none for a driven record, which becomes a reading.
    pub fn role(self) -> Option<Role> {
        Some(match self {
            ShotKind::Start => Role::Start,
            ShotKind::RunDown | ShotKind::RunDownWithDisc => Role::RunDown,
            ShotKind::Brake => Role::Brake,
            ShotKind::Locked | ShotKind::LockedClean => Role::LockedRotor,
            ShotKind::Steady => Role::Steady,
            ShotKind::Pwm => Role::Pwm,
            ShotKind::PwmLocked => Role::PwmLocked,
            ShotKind::TurnOff | ShotKind::TurnOffUnclamped => Role::TurnOff,
            ShotKind::Driven => return None,
        })
    }

    pub(crate) fn held(self) -> bool {
        matches!(
            self,
            ShotKind::Locked
                | ShotKind::LockedClean
                | ShotKind::PwmLocked
                | ShotKind::TurnOff
                | ShotKind::TurnOffUnclamped
        )
    }

    /// Share of the rows before the trigger.
    pub(crate) fn before_trigger(self) -> f64 {
        match self {
            ShotKind::Steady | ShotKind::Driven => 0.0,
            ShotKind::RunDown | ShotKind::RunDownWithDisc => 0.08,
            ShotKind::Brake => 0.15,
            _ => 0.1,
        }
    }
}

/// One capture of the plan.
#[derive(Clone, Debug, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Shot {
    pub name: String,
    pub kind: ShotKind,
    /// Rows asked for; up to a third fewer where the sampling interval is rounded up.
    pub rows: usize,
    /// Share of the usual span: below 1 the record ends early.
    pub span: f64,
    /// False where no voltage channel was connected.
    pub voltage_recorded: bool,
}

impl Shot {
    /// A capture of about 10 000 rows over the usual span with the voltage recorded.
    pub fn new(name: &str, kind: ShotKind) -> Self {
        Shot {
            name: name.to_owned(),
            kind,
            rows: 10_000,
            span: 1.0,
            voltage_recorded: true,
        }
    }
}
