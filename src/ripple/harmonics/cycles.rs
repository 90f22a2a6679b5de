//! How many ripple cycles a revolution a commutator makes.
//!
//! With S segments and 2p equal field poles the voltage between the brushes repeats
//!
//! * after 1/S of a turn, since the rotor then looks the same;
//! * after 1/(2p) of a turn too where the brushes then look the same with both signs turned: a brush at every pole, or two brushes
//!   on a lap winding whose equalisers join segments of equal potential, which needs S to be a multiple of p.
//!
//! So N = lcm(S, 2p) = 2pS/gcd(S, 2p) with all brushes (E. Vazquez-Sanchez et al., IEEE Trans. Ind. Electron. 59 (2012) 1397-1408, from memory), which
//! is 2S for odd and S for even S under two poles. Two brushes on a wave winding (S no multiple of p) leave the first symmetry only, N = S.
//! Coils that differ break the first symmetry, not the second: their lines are at multiples of 2p, or anywhere where it does not hold.

use crate::bench::MotorFacts;
use std::fmt;

/// Field poles of most small motors (common practice, no source).
pub const USUAL_POLES: u32 = 2;

/// Fewest and most commutator segments that are considered.
pub const SEGMENTS: (u32, u32) = (3, 48);

/// Poles that are considered where they are not stated, with the share of small brushed motors that have them (common practice, no source).
pub const POLES: [(u32, f64); 3] = [(2, 0.7), (4, 0.2), (6, 0.1)];

/// Share of motors with more than two poles that run on two brushes, where nobody counted the brushes: smaller than it is (common practice,
/// no source), since such a pattern, which has lines at every order, explains that of a motor of two poles whose odd orders are weak.
pub(crate) const TWO_BRUSHES: f64 = 0.01;

/// A commutator with its field and its brushes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize)]
pub struct Commutator {
    /// Segments S.
    pub segments: u32,
    /// Field poles 2p.
    pub poles: u32,
    /// Brushes.
    pub brushes: u32,
}

impl Commutator {
    /// With a brush at every pole.
    pub fn new(segments: u32, poles: u32) -> Self {
        Commutator {
            segments,
            poles,
            brushes: poles,
        }
    }

    /// Whether a turn by one pole leaves the voltage as it is.
    fn poles_look_alike(&self) -> bool {
        self.brushes == self.poles
            || (self.brushes == 2 && self.segments.is_multiple_of(self.poles / 2))
    }

    /// Ripple cycles per revolution; `None` for fewer than 2 segments or brushes, or an odd or zero number of poles.
    pub fn cycles(&self) -> Option<u32> {
        let Commutator {
            segments, poles, ..
        } = *self;
        if segments < 2 || self.brushes < 2 || poles == 0 || !poles.is_multiple_of(2) {
            return None;
        }
        if !self.poles_look_alike() {
            return Some(segments);
        }
        (segments / greatest_common_divisor(segments, poles)).checked_mul(poles)
    }

    /// The lines of coils that differ are at multiples of this order.
    pub(crate) fn order_of_coils(&self) -> u32 {
        if self.poles_look_alike() {
            self.poles
        } else {
            1
        }
    }
}

/// What somebody counted at the commutator; weighed against the harmonic pattern, never just believed.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, serde::Serialize)]
pub struct Counted {
    /// Commutator segments.
    pub segments: Option<u32>,
    /// Field poles.
    pub poles: Option<u32>,
    /// Brushes.
    pub brushes: Option<u32>,
}

impl Counted {
    /// As the sheet states it.
    pub fn of(motor: &MotorFacts) -> Self {
        Counted {
            segments: motor.commutator_segments,
            poles: motor.poles,
            brushes: motor.brush_count,
        }
    }

    /// Whether nothing was counted.
    pub fn is_empty(&self) -> bool {
        *self == Counted::default()
    }

    /// Whether a commutator agrees with everything counted.
    pub fn allows(&self, c: &Commutator) -> bool {
        let same = |stated: Option<u32>, n: u32| stated.is_none_or(|s| s == n);
        same(self.segments, c.segments)
            && same(self.poles, c.poles)
            && same(self.brushes, c.brushes)
    }

    /// Ripple cycles per revolution of every commutator that agrees, most common poles first; empty without a segment count.
    pub fn cycles(&self) -> Vec<u32> {
        let Some(segments) = self.segments else {
            return Vec::new();
        };
        let mut all: Vec<u32> = self
            .fields()
            .filter_map(|(poles, brushes, _)| {
                Commutator {
                    segments,
                    poles,
                    brushes,
                }
                .cycles()
            })
            .collect();
        let mut seen = Vec::new();
        all.retain(|n| {
            !seen.contains(n) && {
                seen.push(*n);
                true
            }
        });
        all
    }

    /// Poles and brushes that agree, or all that are considered where none do, with their shares.
    pub(crate) fn fields(&self) -> impl Iterator<Item = (u32, u32, f64)> + use<> {
        let stated = *self;
        let usual = POLES.iter().copied();
        let further = stated.poles.filter(|p| POLES.iter().all(|(q, _)| q != p));
        usual
            .chain(further.map(|p| (p, 0.01)))
            .flat_map(|(poles, share)| {
                let two = if poles > 2 { TWO_BRUSHES } else { 0.0 };
                [(poles, poles, share * (1.0 - two)), (poles, 2, share * two)]
            })
            .filter(|(_, _, share)| *share > 0.0)
            .filter(move |(poles, brushes, _)| {
                stated.poles.is_none_or(|p| p == *poles)
                    && stated.brushes.is_none_or(|b| b == *brushes)
            })
    }
}

impl fmt::Display for Counted {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let parts = [
            (self.segments, "commutator segments"),
            (self.poles, "poles"),
            (self.brushes, "brushes"),
        ];
        let parts = parts
            .iter()
            .filter_map(|(n, what)| Some(format!("{} {what}", (*n)?)));
        f.write_str(&parts.collect::<Vec<_>>().join(", "))
    }
}

impl fmt::Display for Commutator {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Commutator {
            segments, poles, ..
        } = self;
        write!(f, "{segments} segments, {poles} poles")?;
        match self.brushes == *poles {
            true => Ok(()),
            false => write!(f, ", {} brushes", self.brushes),
        }
    }
}

/// All segment counts from `least` to `most` that give `cycles` cycles per revolution with a brush at each of `poles`.
pub fn segment_counts(cycles: u32, poles: u32, least: u32, most: u32) -> Vec<u32> {
    (least..=most)
        .filter(|&s| Commutator::new(s, poles).cycles() == Some(cycles))
        .collect()
}

pub(crate) fn greatest_common_divisor(mut a: u32, mut b: u32) -> u32 {
    while b != 0 {
        (a, b) = (b, a % b);
    }
    a
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::TAU;

    fn cycles(segments: u32, poles: u32) -> Option<u32> {
        Commutator::new(segments, poles).cycles()
    }

    /// Common practice, no source: 3, 5, 7, 8, 12, 13 segments make 6, 10, 14, 8, 12, 26 cycles.
    #[test]
    fn val_two_pole_counts_follow_the_rule_of_practice() {
        let counts = [3, 5, 7, 8, 12, 13].map(|s| cycles(s, 2));
        assert_eq!(counts, [6, 10, 14, 8, 12, 26].map(Some));
        assert_eq!(cycles(10, 4), Some(20));
        assert_eq!(cycles(1, 2), None);
        assert_eq!(cycles(7, 0), None);
        assert_eq!(cycles(7, 3), None);
    }

    #[test]
    fn an_odd_count_and_its_double_cannot_be_told_apart() {
        assert_eq!(segment_counts(14, 2, 3, 48), [7, 14]);
        assert_eq!(segment_counts(12, 2, 3, 48), [12]);
        assert!(segment_counts(7, 2, 3, 48).is_empty());
    }

    #[test]
    fn a_stated_count_leaves_the_cycles_of_every_field() {
        let seven = Counted {
            segments: Some(7),
            ..Counted::default()
        };
        assert_eq!(seven.cycles(), [14, 28, 7, 42]);
        let four_poles = Counted {
            poles: Some(4),
            ..seven
        };
        assert_eq!(four_poles.cycles(), [28, 7]);
        let wave = Counted {
            brushes: Some(2),
            ..four_poles
        };
        assert_eq!(wave.cycles(), [7]);
    }

    /// Amplitudes of the orders below `most` of the open-circuit voltage of a winding. Coil j lies between segments j and j + `step`
    /// and has a trapezoidal EMF under 2p equal poles; each brush has the potential of the segment it is on; brushes of a sign are joined.
    fn orders(commutator: Commutator, step: usize, uneven: f64, most: usize) -> Vec<f64> {
        let Commutator {
            segments,
            poles,
            brushes,
        } = commutator;
        let (s, pairs) = (segments as usize, f64::from(poles) / 2.0);
        let field = |turn: f64| (1.9 * (TAU * pairs * turn).sin()).clamp(-1.0, 1.0);
        // A coil spans a pole pitch; its error belongs to it alone.
        let coil = |j: usize, turn: f64| {
            let own = 1.0 + uneven * ((j * j * 7 + 3 * j) % 11) as f64 / 11.0;
            own * field(turn + j as f64 / s as f64)
        };
        // A turn by a segment or a pole is a whole number of points, so that the symmetries are exact.
        let points = 16 * s * poles as usize * most.div_ceil(s * poles as usize);
        let voltage: Vec<f64> = (0..points)
            .map(|k| {
                let turn = (k as f64 + 0.5) / points as f64;
                // Round the winding from segment to segment: the EMFs of equal coils sum to zero, what is left is shared.
                let mut potential = vec![0.0; s];
                let left: f64 = (0..s).map(|j| coil(j, turn)).sum::<f64>() / s as f64;
                let mut at = 0;
                for _ in 1..s {
                    let next = (at + step) % s;
                    potential[next] = potential[at] + coil(at, turn) - left;
                    at = next;
                }
                let mut sum = 0.0;
                for brush in 0..brushes {
                    // The zero of a coil's EMF is at the brush.
                    let place = f64::from(brush) / f64::from(poles) - turn;
                    let on = ((place * s as f64).floor() as i64).rem_euclid(s as i64) as usize;
                    sum += if brush % 2 == 0 { 1.0 } else { -1.0 } * potential[on];
                }
                sum
            })
            .collect();
        (0..most)
            .map(|order| {
                let (mut re, mut im) = (0.0, 0.0);
                for (k, v) in voltage.iter().enumerate() {
                    let (sin, cos) = (TAU * order as f64 * k as f64 / points as f64).sin_cos();
                    re += v * cos;
                    im += v * sin;
                }
                re.hypot(im) / points as f64
            })
            .collect()
    }

    /// The rule against the voltages of windings laid out coil by coil, which know nothing of it.
    #[test]
    fn val_lines_of_wound_rotors_are_where_the_rule_says() {
        let wave = |segments, poles, step| {
            (
                Commutator {
                    segments,
                    poles,
                    brushes: 2,
                },
                step,
            )
        };
        let lap = |segments, poles| (Commutator::new(segments, poles), 1);
        for (commutator, step) in [
            lap(7, 2),
            lap(12, 2),
            lap(7, 4),
            lap(10, 4),
            lap(9, 6),
            // Steps of a simplex wave winding: (S ± 1)/p.
            wave(7, 4, 3),
            wave(11, 4, 6),
            wave(13, 6, 4),
        ] {
            let cycles = commutator.cycles().expect("cycles") as usize;
            let most = 2 * cycles + 2;
            let even = orders(commutator, step, 0.0, most);
            let largest = even[1..].iter().copied().fold(0.0, f64::max);
            for (order, amplitude) in even.iter().enumerate().skip(1) {
                let expected = order % cycles == 0;
                assert!(
                    expected || *amplitude < 1e-2 * largest,
                    "{commutator:?}: order {order} {amplitude:e} of {largest:e}"
                );
            }
            assert!(
                even[cycles] > 0.3 * largest,
                "{commutator:?}: {:e}",
                even[cycles]
            );
            let coils = commutator.order_of_coils() as usize;
            let uneven = orders(commutator, step, 0.1, most);
            for (order, amplitude) in uneven.iter().enumerate().skip(1) {
                assert!(
                    order % coils == 0 || *amplitude < 1e-2 * largest,
                    "{commutator:?}: order {order} {amplitude:e} of {largest:e}"
                );
            }
        }
    }
}
