//! What the bench can do to people and hardware, shown on every page.

/// One caution a sentence or two.
pub const CAUTIONS: [&str; 7] = [
    "A locked rotor at full voltage overheats in seconds: limit voltage and time.",
    "Opening an inductive circuit makes hundreds of volts and an arc: clamp it.",
    "Inrush and braking currents of tens to hundreds of amperes weld contacts and burn fingers: fuse the circuit.",
    "Clamp the motor, guard the shaft, wear eye protection.",
    "Braking energy pumped into a supply raises its voltage: give it somewhere to go.",
    "Repeated hard braking can demagnetise the magnets.",
    "Local codes and licensed practice come first.",
];
