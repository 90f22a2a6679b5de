//! The cautions that belong to what the program computes, worded once.

/// A danger at the bench or in the drive.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
#[non_exhaustive]
pub enum Caution {
    /// A held rotor overheats.
    LockedRotor,
    /// An opened lead makes a high voltage.
    OpenedInductance,
    /// Inrush and braking currents.
    LargeCurrents,
    /// Moving parts.
    TurningShaft,
    /// Returned energy raises the supply.
    RaisedSupply,
    /// Hard braking weakens the magnets.
    Demagnetisation,
    /// Rules of the place.
    Codes,
}

impl Caution {
    /// Those of the first captures of a motor.
    pub const OF_FIRST_CAPTURES: [Caution; 5] = [
        Caution::LockedRotor,
        Caution::TurningShaft,
        Caution::OpenedInductance,
        Caution::LargeCurrents,
        Caution::Codes,
    ];

    /// The sentence that is printed.
    pub fn text(self) -> &'static str {
        match self {
            Caution::LockedRotor => {
                "a locked rotor at full voltage overheats in seconds: limit voltage and time"
            }
            Caution::OpenedInductance => {
                "opening an inductive circuit makes hundreds of volts and an arc: clamp it"
            }
            Caution::LargeCurrents => {
                "inrush and braking currents of tens to hundreds of amperes weld contacts and burn fingers: fuse"
            }
            Caution::TurningShaft => "clamp the motor, guard the shaft, wear eye protection",
            Caution::RaisedSupply => "braking energy pumped into a supply raises its voltage",
            Caution::Demagnetisation => "repeated hard braking can demagnetise the magnets",
            Caution::Codes => "local codes and licensed practice come first",
        }
    }
}
