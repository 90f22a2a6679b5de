//! Rows of a channel that sit at the end of the converter's range.

use crate::capture::{self, Channel, Codes};

/// Step between codes, and rows that the importer finds clipped or that sit at an extreme code where the preamble puts
/// the end of the range.
pub fn codes(channel: &Channel) -> Codes {
    let mut codes = capture::codes(&channel.values, &channel.overrange);
    let (Some(step), Some((low, high))) = (codes.step, codes.range) else {
        return codes;
    };
    let flags = &mut codes.clipped;
    for extreme in [low, high] {
        if at_edge(channel, extreme, (low, high), step) {
            flags.resize(channel.values.len(), false);
            for (flag, value) in flags.iter_mut().zip(&channel.values) {
                *flag |= (value - extreme).abs() < 0.5 * step;
            }
        }
    }
    codes
}

/// True when the preamble's scale and offset put the end of the range at `extreme`: five divisions either side of the
/// offset. The last code below an upper end stands a step inside.
///
/// The sign of an offset differs from one preamble to the next; the sign with which all values lie on the screen is
/// taken, and where both do, nothing is said.
fn at_edge(channel: &Channel, extreme: f64, (low, high): (f64, f64), step: f64) -> bool {
    let facts = &channel.facts;
    let (Some(scale), Some(offset)) = (facts.vertical_scale_per_division, facts.vertical_offset)
    else {
        return false;
    };
    let half = 5.0 * scale;
    let fits = |centre: f64| low >= centre - half - step && high <= centre + half + step;
    let centre = match (fits(offset), fits(-offset)) {
        (true, false) => offset,
        (false, true) => -offset,
        (true, true) if offset == 0.0 => offset,
        _ => return false,
    };
    (-1.5 * step..=0.5 * step).contains(&((extreme - centre).abs() - half))
}

/// Bits of the smallest usual converter that has so many steps; printed digits may make a step look a little finer than it is.
pub fn converter_bits(steps: f64) -> Option<u32> {
    let holds = |bits: &u32| steps <= 1.1 * 2f64.powi(*bits as i32);
    (steps > 0.0)
        .then(|| [8, 10, 12, 14, 16].into_iter().find(holds))
        .flatten()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::capture::ChannelFacts;

    fn clipped(channel: &Channel) -> Vec<bool> {
        codes(channel).clipped
    }

    fn channel(values: Vec<f64>) -> Channel {
        Channel {
            name: "CH1".into(),
            column: 2,
            unit_text: None,
            unit: Some("V".into()),
            missing: 0,
            overrange: Vec::new(),
            facts: ChannelFacts::default(),
            values,
        }
    }

    #[test]
    fn a_short_kick_to_the_edge_that_the_preamble_tells_is_clipped() {
        let step = 50.0 / 256.0;
        let mut values: Vec<f64> = (0..2000).map(|k| f64::from(k % 100) * step).collect();
        values[700] = -12.5;
        let mut kick = channel(values);
        assert!(
            !clipped(&kick).contains(&true),
            "one row alone proves nothing"
        );
        kick.facts.vertical_scale_per_division = Some(5.0);
        kick.facts.vertical_offset = Some(12.5);
        let flags = clipped(&kick);
        assert!(flags[700]);
        assert_eq!(flags.iter().filter(|f| **f).count(), 1);
    }

    #[test]
    fn overrange_marks_are_clipped() {
        let mut marked = channel(vec![0.0, 1.0, f64::NAN, 1.0]);
        marked.overrange = vec![(2, true), (9, true)];
        assert_eq!(clipped(&marked), [false, false, true, false]);
    }
}
