//! The harmonic pattern weighed: how many ripple cycles make one revolution.
//!
//! A hypothesis is (M, S, 2p): the strongest line is the M-th harmonic of one revolution, the commutator has S segments under 2p poles and
//! N ripple cycles per revolution. It predicts lines at every multiple m of `f₀/M`. In white noise the normalised power `P_m` of a line whose
//! amplitude is Gaussian with mean-square signal-to-noise s has log likelihood ratio against noise
//! `P s/(1+s) - ln(1+s)`. Lines fall into groups, each with a scale of its own: multiples of N (commutation line and harmonics); once per
//! revolution (eccentricity); the lowest multiple of 2p, in which a rotor that is not round shows besides; the other multiples of 2p
//! (unevenness of coils); all others. With equal poles a rotor turned by one pole looks the same (`cycles.rs`), so these others are weak: they
//! take a difference of the poles, or brushes out of place, *and* one of the coils. For two poles the multiples of 2p are the even ones. Within a group
//! amplitudes fall with the order or stay flat, and a line that stands out may lie some way from its group. Scales are integrated over a
//! logarithmic grid; so a hypothesis pays for lines it predicts and that are absent. The weights of once-per-revolution and other lines
//! against those of the coils decide between N and 2N: without unevenness nothing does but the prior.
//!
//! All hypotheses are weighed on the same band; `evidence.rs` holds the sums over a group. A small part of the prior is kept whatever the data say, for what the model leaves out.
//! Strong lines are taken out before the spectrum is read and put back with the main lobe of the window only, so that
//! its sidelobes are not read as lines.

use super::cycles::{
    Commutator, Counted, SEGMENTS, USUAL_POLES, greatest_common_divisor, segment_counts,
};
use super::evidence::{FALLS, Ladder, SCALES, Sums};
use super::spectral_lines::Lines;
use rayon::prelude::*;
use std::collections::{BTreeMap, BTreeSet, HashMap};

/// One weighed hypothesis.
#[derive(Clone, Debug)]
pub(crate) struct Weighed {
    pub commutator: Commutator,
    pub cycles_per_revolution: u32,
    /// Harmonic of one revolution that the strongest line is.
    pub harmonic: u32,
    pub probability: f64,
    pub prior: f64,
}

/// Part of the prior that survives any evidence.
const DISTRUST: f64 = 1e-3;

/// Weighs all hypotheses; `strongest` is the frequency of the strongest line in cycles per V·s. What was counted adds poles that
/// are not usual, and nothing else.
pub(crate) fn weigh(
    lines: &Lines,
    strongest: f64,
    counted: &Counted,
    most_segments: u32,
) -> Vec<Weighed> {
    let mut hypotheses = hypotheses(counted, most_segments);
    let most_harmonic = hypotheses.iter().map(|h| h.harmonic).max().unwrap_or(1);
    let most_m = (lines.band / strongest * f64::from(most_harmonic)) as usize + 1;
    let ladder = Ladder::new(lines.gain.powi(2) / lines.noise_power, most_m);
    // What does not depend on the whole hypothesis is worked out once: a pattern by the harmonic, the commutation lines by their place
    // against the strongest line.
    let pattern_of = |h: &Weighed| (h.harmonic, h.commutator.order_of_coils());
    let keys: BTreeSet<(u32, u32)> = hypotheses.iter().map(pattern_of).collect();
    let read = |(harmonic, coils): (u32, u32)| {
        let revolution = strongest / f64::from(harmonic);
        let pattern = Pattern::read(lines, revolution, coils as usize, &ladder);
        ((harmonic, coils), pattern)
    };
    let patterns: HashMap<(u32, u32), Pattern> = keys.into_par_iter().map(read).collect();
    let place_of = |h: &Weighed| {
        let shared = greatest_common_divisor(h.cycles_per_revolution, h.harmonic);
        // A pattern too close to be distinguished has no line at all, whatever its place.
        match patterns[&pattern_of(h)].powers.is_empty() {
            true => (0, 0),
            false => (h.cycles_per_revolution / shared, h.harmonic / shared),
        }
    };
    let mut places: BTreeMap<(u32, u32), &Weighed> = BTreeMap::new();
    for h in &hypotheses {
        places.entry(place_of(h)).or_insert(h);
    }
    let commutation = |(place, h): ((u32, u32), &Weighed)| {
        let pattern = &patterns[&pattern_of(h)];
        (
            place,
            pattern.commutation(h.cycles_per_revolution as usize, &ladder),
        )
    };
    let commutations: HashMap<(u32, u32), f64> = places.into_par_iter().map(commutation).collect();
    let cycles_of = |h: &Weighed| (pattern_of(h), h.cycles_per_revolution);
    let keys: BTreeSet<((u32, u32), u32)> = hypotheses.iter().map(cycles_of).collect();
    let uneven = |(pattern, cycles): ((u32, u32), u32)| {
        let log = patterns[&pattern].unevenness(cycles as usize, &ladder);
        ((pattern, cycles), log)
    };
    let uneven: HashMap<((u32, u32), u32), f64> = keys.into_par_iter().map(uneven).collect();
    let log = |h: &Weighed| h.prior.ln() + commutations[&place_of(h)] + uneven[&cycles_of(h)];
    let logs: Vec<f64> = hypotheses.iter().map(log).collect();
    let total_prior: f64 = hypotheses.iter().map(|h| h.prior).sum();
    let most = logs.iter().copied().fold(f64::MIN, f64::max);
    let total: f64 = logs.iter().map(|l| (l - most).exp()).sum();
    for (h, log) in hypotheses.iter_mut().zip(&logs) {
        h.prior /= total_prior;
        h.probability = (1.0 - DISTRUST) * (log - most).exp() / total + DISTRUST * h.prior;
    }
    hypotheses.sort_by(|a, b| b.probability.total_cmp(&a.probability));
    hypotheses
}

/// Every (M, S, 2p) with its weight before the data.
fn hypotheses(counted: &Counted, most_segments: u32) -> Vec<Weighed> {
    // Whatever was counted, the usual fields stay possible.
    let of_poles = Counted {
        poles: counted.poles,
        ..Counted::default()
    };
    let mut fields: Vec<(u32, u32, f64)> = Counted::default().fields().collect();
    for field in of_poles.fields() {
        if fields.iter().all(|f| (f.0, f.1) != (field.0, field.1)) {
            fields.push(field);
        }
    }
    let mut all = Vec::new();
    for segments in SEGMENTS.0..=most_segments {
        // Large counts are rare in small motors; of an odd count and its double, which make the same ripple, the odd is common.
        let mut common = if segments <= 24 { 1.0 } else { 0.1 };
        if segments.is_multiple_of(2)
            && Commutator::new(segments, USUAL_POLES)
                .cycles()
                .is_some_and(|n| segment_counts(n, USUAL_POLES, SEGMENTS.0, segments).len() > 1)
        {
            common *= 0.4;
        }
        for &(poles, brushes, share) in &fields {
            let commutator = Commutator {
                segments,
                poles,
                brushes,
            };
            if let Some(cycles) = commutator.cycles() {
                let add = |(harmonic, weight)| Weighed {
                    commutator,
                    cycles_per_revolution: cycles,
                    harmonic,
                    probability: 0.0,
                    prior: common * share * weight,
                };
                all.extend(strongest_lines(&commutator, cycles).into_iter().map(add));
            }
        }
    }
    all
}

/// Which harmonic of a turn the strongest line may be, with the weight of each before the data.
fn strongest_lines(commutator: &Commutator, cycles: u32) -> Vec<(u32, f64)> {
    let mut lines = vec![(cycles, 0.9), (2 * cycles, 0.01)];
    let coils = commutator.order_of_coils();
    if commutator.poles > USUAL_POLES {
        // Of unevenness only the lowest orders: the higher ones belong to commutators of very many segments.
        let low = [(1, 0.01), (2, 0.01), (coils, 0.01), (2 * coils, 0.005)];
        lines.extend(low.into_iter().filter(|(m, _)| cycles > 2 * m));
        return lines;
    }
    if commutator.segments % 2 == 1 {
        // Brushes that are not opposite each other: by four degrees with seven segments, for instance.
        lines.push((commutator.segments, 0.01));
    }
    // The unevenness of a commutator with many segments can outweigh its ripple, which falls with the square of their number: once or twice a
    // revolution, or a low even order.
    let outweighed = (0.01 * (f64::from(cycles) / 10.0).powi(3)).clamp(0.01, 0.2);
    let low = (1..=16).filter(|m| cycles > 2 * m || (cycles > *m && m % 2 == 0));
    lines.extend(low.map(|m| match m {
        1 | 2 => (m, outweighed),
        m if m % 2 == 0 => (m, 0.005),
        _ => (m, 0.001),
    }));
    lines
}

/// Normalised powers at the multiples of one revolution.
struct Pattern {
    /// P_m of the line of order m; `None` for a line that cannot be told.
    powers: Vec<Option<f64>>,
    /// Evidence of all orders of the coils, those of the commutation line too.
    coils: Sums,
    /// Evidence of the other orders and of once per revolution against each scale of the coils' ones.
    others_and_once: Sums,
    /// The lowest order of the coils but one per revolution, and its evidence against each scale of the coils' ones.
    lowest: (usize, Sums),
}

impl Pattern {
    /// `coils`: the lines of coils that differ are at its multiples.
    fn read(lines: &Lines, revolution: f64, coils: usize, ladder: &Ladder) -> Pattern {
        let mut powers = Vec::new();
        // Lines closer than the main lobe of the window are not told apart.
        if revolution * lines.span >= 2.5 {
            powers = lines.powers(revolution);
        }
        let of = |belongs: &dyn Fn(usize) -> bool| {
            let seen = powers.iter().enumerate().skip(2);
            ladder.sums(seen.filter_map(|(m, p)| Some((m, (*p).filter(|_| belongs(m))?))))
        };
        let lowest = coils.max(2);
        let of_coils = of(&|m| m.is_multiple_of(coils) && m != lowest);
        let others = of(&|m| !m.is_multiple_of(coils));
        let alone = |m: usize| match powers.get(m) {
            Some(Some(power)) => ladder.sum_of([(1.0, *power)].into_iter()),
            _ => Sums::default(),
        };
        Pattern {
            coils: of_coils,
            others_and_once: others_and_once(&others, &alone(1)),
            lowest: (lowest, against_coils(&alone(lowest), lowest_over_coils)),
            powers,
        }
    }

    /// (i, P) of the multiples i of the commutation line.
    fn multiples(&self, cycles: usize) -> impl Iterator<Item = (f64, f64)> {
        let told = self.powers.iter().step_by(cycles).enumerate().skip(1);
        told.filter_map(|(i, power)| Some((i as f64, (*power)?)))
    }

    /// Log evidence of a commutation line: some scale above 3e-4, falling at least with the root of its order.
    fn commutation(&self, cycles: usize, ladder: &Ladder) -> f64 {
        let sums = ladder.sum_of(self.multiples(cycles));
        log_mean(
            (1..FALLS.len())
                .flat_map(|f| (13..SCALES).map(move |k| (f, k)))
                .map(|(f, k)| (sums.0[f][k], 1.0)),
        )
    }

    /// Log evidence of the lines that are no multiples of the commutation line. Those are among the orders of the coils.
    fn unevenness(&self, cycles: usize, ladder: &Ladder) -> f64 {
        // Scales of unevenness are those of two per revolution.
        let half = cycles as f64 / 2.0;
        let (lowest, of_lowest) = &self.lowest;
        let taken = self
            .multiples(cycles)
            .filter(|(i, _)| cycles as f64 * i != *lowest as f64);
        let taken = ladder.sum_of(taken.map(|(i, power)| (i * half, power)));
        let none = Sums::default();
        let of_lowest = if cycles == *lowest { &none } else { of_lowest };
        let flat = |sums: &Sums| -> [f64; SCALES * FALLS.len()] {
            std::array::from_fn(|k| sums.0[k / SCALES][k % SCALES])
        };
        let (all, taken, rest) = (flat(&self.coils), flat(&taken), flat(&self.others_and_once));
        let low = flat(of_lowest);
        log_mean((0..all.len()).map(|k| (all[k] - taken[k] + rest[k] + low[k], 1.0)))
    }
}

/// Weights of no line at all beside those of the scales: shafts run true, and equal poles leave no other order (common practice, no source).
const NO_ONCE: f64 = 0.6;
const NO_OTHERS: f64 = 4.0;

/// Evidence of once per revolution and of other orders where those of the coils have each scale, averaged over the scales they may have.
fn others_and_once(others: &Sums, once: &Sums) -> Sums {
    let mut both = Sums::default();
    for (fall, row) in both.0.iter_mut().enumerate() {
        let once = around(&once.0[fall], -20..=20, once_over_coils, Some(NO_ONCE));
        // Equal poles leave no other line at all.
        let others = around(&others.0[fall], -20..=4, others_over_coils, Some(NO_OTHERS));
        for (k, value) in row.iter_mut().enumerate() {
            *value = once[k] + others[k];
        }
    }
    both
}

/// Evidence of one line where those of the coils have each scale, averaged over the scales it may have beside theirs.
fn against_coils(line: &Sums, weight: impl Fn(i32) -> f64 + Copy) -> Sums {
    Sums(line.0.map(|logs| around(&logs, -20..=20, weight, None)))
}

/// For each scale the log of the mean, weighted by `weight` of the shift, of what the scales about it say; `none`: weight of no line at all.
fn around(
    logs: &[f64; SCALES],
    shifts: std::ops::RangeInclusive<i32>,
    weight: impl Fn(i32) -> f64,
    none: Option<f64>,
) -> [f64; SCALES] {
    let weights: Vec<(i32, f64)> = shifts.map(|s| (s, weight(s))).collect();
    let most = logs.iter().copied().fold(f64::MIN, f64::max).max(0.0);
    let plain = logs.map(|l| (l - most).exp());
    std::array::from_fn(|scale| {
        let near = weights.iter().filter_map(|(shift, w)| {
            let k = usize::try_from(scale as i32 + shift).ok()?;
            (k < SCALES).then_some((k, *w))
        });
        let (mut sum, mut total) = (0.0, 0.0);
        for (k, w) in near.clone() {
            sum += w * plain[k];
            total += w;
        }
        if let Some(w) = none {
            sum += w * (-most).exp();
            total += w;
        }
        // Where all of the neighbours vanish against the largest of all, they are weighed among themselves.
        if sum < 1e-290 {
            let empty = none.map(|w| (0.0, w));
            return log_mean(near.map(|(k, w)| (logs[k], w)).chain(empty));
        }
        most + (sum / total).ln()
    })
}

/// Weight of the once-per-revolution scale against that of two per revolution, in steps of the grid (a factor 1.45 each).
fn once_over_coils(shift: i32) -> f64 {
    (-(f64::from(shift) - 1.0).abs() / 6.0).exp()
}

/// The same for the lowest order of the coils, in which a rotor that is not round shows besides.
fn lowest_over_coils(shift: i32) -> f64 {
    (-f64::from(shift).abs() / 4.0).exp()
}

/// The same for the other orders: about a tenth of the coils' ones, hardly ever as large.
fn others_over_coils(shift: i32) -> f64 {
    let d = f64::from(shift) + 7.0;
    (-if d > 0.0 { d / 1.5 } else { -d / 4.0 }).exp()
}

fn log_mean(terms: impl Iterator<Item = (f64, f64)> + Clone) -> f64 {
    let most = terms.clone().map(|t| t.0).fold(f64::MIN, f64::max);
    let (mut sum, mut weight) = (0.0, 0.0);
    for (value, w) in terms {
        // Below the last place of the largest term there is nothing to add.
        if value > most - 40.0 {
            sum += w * (value - most).exp();
        }
        weight += w;
    }
    most + (sum / weight).ln()
}
