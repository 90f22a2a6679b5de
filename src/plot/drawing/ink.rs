//! Colours of the pictures: those of the report page in light, told apart by colour-blind readers and by their line style too.

/// Red, green, blue and opacity.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(in crate::plot) struct Ink(pub u8, pub u8, pub u8, pub f64);

impl Ink {
    /// The same colour, paler.
    pub fn pale(self, opacity: f64) -> Ink {
        Ink(self.0, self.1, self.2, opacity)
    }
}

pub(in crate::plot) const PAPER: Ink = Ink(0xfb, 0xfa, 0xf6, 1.0);
pub(in crate::plot) const TEXT: Ink = Ink(0x1c, 0x1f, 0x22, 1.0);
pub(in crate::plot) const QUIET: Ink = Ink(0x56, 0x5c, 0x61, 1.0);
pub(in crate::plot) const GRID: Ink = Ink(0xe4, 0xe1, 0xd7, 1.0);
pub(in crate::plot) const FIELD: Ink = Ink(0xe7, 0xe4, 0xd9, 1.0);
pub(in crate::plot) const CUT: Ink = Ink(0x56, 0x5c, 0x61, 0.35);
pub(in crate::plot) const VOLTAGE: Ink = Ink(0x00, 0x60, 0x9c, 1.0);
pub(in crate::plot) const CURRENT: Ink = Ink(0xb0, 0x43, 0x00, 1.0);
pub(in crate::plot) const MODEL: Ink = Ink(0x1c, 0x1f, 0x22, 1.0);
pub(in crate::plot) const THIRD: Ink = Ink(0x00, 0x70, 0x5a, 1.0);

/// Shades of the budget's sources, and the ink of a letter on each.
pub(in crate::plot) const SHADES: [(Ink, Ink); 8] = [
    (Ink(0x00, 0x60, 0x9c, 1.0), PAPER),
    (Ink(0xe3, 0x9d, 0x00, 1.0), TEXT),
    (Ink(0x7c, 0xc0, 0xea, 1.0), TEXT),
    (Ink(0xb0, 0x43, 0x00, 1.0), PAPER),
    (Ink(0x00, 0x78, 0x5a, 1.0), PAPER),
    (Ink(0xd6, 0x9c, 0xc0, 1.0), TEXT),
    (Ink(0xf0, 0xe0, 0x4a, 1.0), TEXT),
    (Ink(0x8d, 0x8d, 0x8d, 1.0), TEXT),
];
