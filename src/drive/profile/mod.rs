//! A move or a duty over time: what shaft or winding are asked for, from a table (`docs/drive.md`, section 11).
//!
//! * `read`: the file. `demand`: the current and voltage that one motor needs for it. `warmth`: its temperatures.

mod demand;
mod read;
mod warmth;

pub use demand::{Demand, Geared, Point};
pub use read::ProfileError;
pub use warmth::Warming;

/// Most rows: beyond it a file is a record, not a profile.
const MOST_ROWS: usize = 5000;
/// Most pieces after they were divided.
const MOST_PIECES: usize = 4000;

/// What drives the motor through a profile beside inertia and friction.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Asked {
    /// The torque that the load takes at its shaft is in the table.
    Torque,
    /// The motor's current is in the table.
    Current,
    /// Speed only; the load is that of the order.
    Motion,
}

/// A stretch between two rows; everything runs in a straight line from its first to its second value.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Piece {
    /// From the first row, s.
    pub start_s: f64,
    pub length_s: f64,
    /// Of the load's shaft, rad/s.
    pub speed_rad_s: [f64; 2],
    /// Torque that the load takes, N·m, or current, A; zero for [`Asked::Motion`].
    pub asked: [f64; 2],
}

/// A profile, validated.
#[derive(Clone, Debug, PartialEq)]
pub struct Profile {
    pub(in crate::drive) asked: Asked,
    /// Whether the table has a speed or a position.
    pub moves: bool,
    pub(in crate::drive) pieces: Vec<Piece>,
    /// Name of its file.
    pub name: String,
}

impl Piece {
    /// Values at a share of the piece.
    fn at(values: [f64; 2], share: f64) -> f64 {
        values[0] + share * (values[1] - values[0])
    }

    fn part(&self, from: f64, to: f64) -> Piece {
        Piece {
            start_s: self.start_s + from * self.length_s,
            length_s: (to - from) * self.length_s,
            speed_rad_s: [from, to].map(|share| Piece::at(self.speed_rad_s, share)),
            asked: [from, to].map(|share| Piece::at(self.asked, share)),
        }
    }

    /// The piece, cut where the speed changes its sign, since friction does so too.
    fn cut(self) -> Vec<Piece> {
        let [from, to] = self.speed_rad_s;
        if from * to >= 0.0 {
            return vec![self];
        }
        let zero = from / (from - to);
        let (mut one, mut other) = (self.part(0.0, zero), self.part(zero, 1.0));
        one.speed_rad_s[1] = 0.0;
        other.speed_rad_s[0] = 0.0;
        vec![one, other]
    }
}

impl Profile {
    /// Duration, s.
    pub fn length_s(&self) -> f64 {
        self.pieces
            .last()
            .map_or(0.0, |piece| piece.start_s + piece.length_s)
    }

    /// The same with no piece longer than `longest_s`, as far as their number allows.
    pub(in crate::drive) fn divided(&self, longest_s: f64) -> Profile {
        let longest_s = longest_s
            .max(self.length_s() / (MOST_PIECES - self.pieces.len().min(MOST_PIECES / 2)) as f64);
        let parts = |piece: &Piece| {
            let count = (piece.length_s / longest_s).ceil().max(1.0);
            let piece = *piece;
            (0..count as usize).map(move |k| piece.part(k as f64 / count, (k as f64 + 1.0) / count))
        };
        Profile {
            pieces: self.pieces.iter().flat_map(parts).collect(),
            name: self.name.clone(),
            ..*self
        }
    }
}
