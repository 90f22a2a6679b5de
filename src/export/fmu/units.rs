//! Units of the variables as powers of the SI base units.

/// Powers of kg, m, s, A, K and rad.
pub(super) type Powers = [i8; 6];

/// Names of the base units in the order of [`Powers`].
pub(super) const BASE: [&str; 6] = ["kg", "m", "s", "A", "K", "rad"];

/// Every unit that a variable has.
pub(super) const UNITS: [(&str, Powers); 19] = [
    ("s", [0, 0, 1, 0, 0, 0]),
    ("V", [1, 2, -3, -1, 0, 0]),
    ("A", [0, 0, 0, 1, 0, 0]),
    ("A/s", [0, 0, -1, 1, 0, 0]),
    ("1/A", [0, 0, 0, -1, 0, 0]),
    ("Ohm", [1, 2, -3, -2, 0, 0]),
    ("H", [1, 2, -2, -2, 0, 0]),
    ("N.m", [1, 2, -2, 0, 0, 0]),
    ("kg.m2", [1, 2, 0, 0, 0, 0]),
    ("rad", [0, 0, 0, 0, 0, 1]),
    ("rad/s", [0, 0, -1, 0, 0, 1]),
    ("rad/s2", [0, 0, -2, 0, 0, 1]),
    ("V.s/rad", [1, 2, -2, -1, 0, -1]),
    ("N.m.s/rad", [1, 2, -1, 0, 0, -1]),
    ("N.m.s2/rad2", [1, 2, 0, 0, 0, -2]),
    ("K", [0, 0, 0, 0, 1, 0]),
    ("K/s", [0, 0, -1, 0, 1, 0]),
    ("K/W", [-1, -2, 3, 0, 1, 0]),
    ("J/K", [1, 2, -2, 0, -1, 0]),
];
