//! What a person captures: kinds of captures and the plan they make up.

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
    /// The role under which a bench sheet lists it.
    pub fn role(self) -> &'static str {
        match self {
            ShotKind::Start => "start",
            ShotKind::RunDown | ShotKind::RunDownWithDisc => "run-down",
            ShotKind::Brake => "brake",
            ShotKind::Locked | ShotKind::LockedClean => "locked-rotor",
            ShotKind::Steady => "steady",
            ShotKind::Pwm => "pwm",
            ShotKind::PwmLocked => "pwm-locked",
            ShotKind::TurnOff | ShotKind::TurnOffUnclamped => "turn-off",
            ShotKind::Driven => "driven",
        }
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

    /// One of [`Shot::new`] for each name and kind.
    pub fn plan(kinds: &[(&str, ShotKind)]) -> Vec<Shot> {
        kinds
            .iter()
            .map(|(name, kind)| Shot::new(name, *kind))
            .collect()
    }
}
