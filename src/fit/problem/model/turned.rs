//! Volt-seconds of back-EMF, which are K times the angle, at the instants that a speed channel asks for.

use super::gradient::Number;
use crate::fit::data::Bin;
use crate::motor::Advance;

/// At one instant.
#[derive(Clone, Copy, Debug)]
pub struct Turned<S> {
    /// Stretch that the model follows without a break; only within one have differences a meaning.
    pub run: usize,
    /// Since the stretch began, V·s.
    pub volt_seconds: S,
    /// V.
    pub back_emf: S,
}

/// The sum on its way through the segments.
#[derive(Clone, Debug)]
pub struct Turning<S> {
    run: usize,
    passed: S,
    /// End of the last bin, s; `None` at the beginning of a run.
    until_s: Option<f64>,
    /// Instants asked for with their places, in the order of time; the first that is not yet met.
    asked: Vec<(f64, usize)>,
    next: usize,
}

impl<S: Number> Turning<S> {
    /// Nothing has turned yet.
    pub fn new(instants: &[f64]) -> Self {
        let mut asked: Vec<(f64, usize)> = instants.iter().copied().zip(0..).collect();
        asked.sort_by(|a, b| a.0.total_cmp(&b.0));
        Turning {
            run: 0,
            passed: S::from(0.0),
            until_s: None,
            asked,
            next: 0,
        }
    }

    /// The model does not follow what comes next.
    pub fn interrupt(&mut self) {
        self.run += 1;
        self.until_s = None;
    }

    /// The rotor stands still over a bin.
    pub fn rest(&mut self, bin: &Bin, out: &mut [Option<Turned<S>>]) {
        let nothing = S::from(0.0);
        self.over(bin, [nothing; 3], out);
    }

    /// One step of the model, from the back-EMF `start` on.
    pub fn step(&mut self, bin: &Bin, start: S, next: &Advance<S>, out: &mut [Option<Turned<S>>]) {
        self.over(bin, [start, next.mean_back_emf, next.end.back_emf], out);
    }

    /// A bin with the back-EMF at its beginning, its mean, and that at its end: between them it runs as a parabola.
    fn over(&mut self, bin: &Bin, [start, mean, end]: [S; 3], out: &mut [Option<Turned<S>>]) {
        if self.next >= self.asked.len() {
            return;
        }
        let from_s = bin.time_s - 0.5 * bin.width_s;
        let to_s = from_s + bin.width_s;
        // Rows between two segments belong to neither; the speed goes on.
        let before_s = self.until_s.map_or(from_s, |until| until.min(from_s));
        let at_start = self.passed + start * (from_s - before_s);
        let bend = (mean - (start + end) * 0.5) * 6.0;
        while let Some(&(at_s, place)) = self.asked.get(self.next).filter(|a| a.0 <= to_s) {
            self.next += 1;
            if at_s < before_s {
                continue;
            }
            let part = ((at_s - from_s) / bin.width_s).max(0.0);
            let gap_s = (from_s - at_s).max(0.0);
            let rising = start * part + (end - start) * (0.5 * part * part);
            let bent = bend * (part * part * (0.5 - part / 3.0));
            out[place] = Some(Turned {
                run: self.run,
                volt_seconds: at_start - start * gap_s + (rising + bent) * bin.width_s,
                back_emf: start + (end - start) * part + bend * (part * (1.0 - part)),
            });
        }
        self.passed = at_start + mean * bin.width_s;
        self.until_s = Some(to_s);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::motor::State;
    use approx::assert_relative_eq;

    fn bin(from_s: f64, to_s: f64) -> Bin {
        Bin {
            time_s: 0.5 * (from_s + to_s),
            width_s: to_s - from_s,
            voltage_v: 0.0,
            current_a: 0.0,
            samples: 1,
            conducting: true,
        }
    }

    fn advance(end: f64, mean: f64) -> Advance<f64> {
        Advance {
            end: State {
                back_emf: end,
                ..State::rest()
            },
            mean_current: 0.0,
            mean_back_emf: mean,
            steps: 1,
        }
    }

    /// A back-EMF of 3t² V has t³ volt-seconds; a parabola is followed exactly, within a bin and over a gap of no length.
    #[test]
    fn a_parabola_is_integrated_exactly() {
        let instants = [2.0, 0.5, 1.5];
        let mut out = vec![None; 3];
        let mut turning = Turning::<f64>::new(&instants);
        for k in 0..2 {
            let (from, to) = (f64::from(k), f64::from(k + 1));
            let mean = to.powi(3) - from.powi(3);
            turning.step(
                &bin(from, to),
                3.0 * from * from,
                &advance(3.0 * to * to, mean),
                &mut out,
            );
        }
        for (at, seen) in instants.iter().zip(&out) {
            let seen = seen.expect("within the bins");
            assert_relative_eq!(seen.volt_seconds, at.powi(3), epsilon = 1e-12);
            assert_relative_eq!(seen.back_emf, 3.0 * at * at, epsilon = 1e-12);
        }
    }

    #[test]
    fn what_lies_across_an_interruption_has_another_run() {
        let mut out = vec![None; 3];
        let mut turning = Turning::<f64>::new(&[0.5, 1.5, 2.5]);
        turning.step(&bin(0.0, 1.0), 1.0, &advance(1.0, 1.0), &mut out);
        turning.interrupt();
        turning.step(&bin(2.0, 3.0), 1.0, &advance(1.0, 1.0), &mut out);
        assert_eq!(
            out.iter().map(|t| t.map(|t| t.run)).collect::<Vec<_>>(),
            [Some(0), None, Some(1)]
        );
    }
}
