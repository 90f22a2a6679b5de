//! A switched supply: the edges, their period and duty.

use crate::events::remarks::Remark;
use crate::events::trace::bands::Band;
use crate::events::trace::quantile::{STATISTIC_ROWS, quantile};
use crate::events::trace::series::Series;
use crate::events::trace::view::View;

/// Edges of a switched voltage.
#[derive(Clone, Debug, PartialEq)]
pub struct Switching {
    /// Rows that first reach the upper level.
    pub rising: Vec<usize>,
    /// Rows that first fall below the lower level.
    pub falling: Vec<usize>,
    /// Median distance between rising edges, s; `None` where time is absent.
    pub period_s: Option<f64>,
    /// Median share of a period at the upper level.
    pub duty: f64,
    /// Upper level, V.
    pub high_v: f64,
    /// Lower level (diode or lower switch conducting), V.
    pub low_v: f64,
    /// Back-EMF seen while the current rests at zero between pulses, V; `None` when the current never rests.
    pub idle_v: Option<f64>,
}

impl Switching {
    /// A remark where a period of sampling step `step_s` holds too few rows to resolve its edges.
    pub(crate) fn too_coarse(&self, step_s: f64) -> Option<Remark> {
        let period_s = self.period_s?;
        let rows_per_period = period_s / step_s;
        (rows_per_period < 20.0).then_some(Remark::CoarseSwitching {
            period_s,
            rows_per_period,
        })
    }
}

/// True when the source's level is the negative one: the diode's is the smaller by far.
pub(crate) fn upside_down(v: &Series) -> bool {
    let level = |q| v.quantile(0, v.len(), q).unwrap_or(0.0);
    level(0.02) + level(0.98) < 0.0
}

/// Finds a regular switching pattern in the voltage; `None` without a voltage, with fewer than four periods, or when the
/// edges are no regular pattern (contact bounce).
pub(crate) fn in_view(view: &View) -> Option<Switching> {
    let v = view.v.as_ref()?;
    if v.len() < 40 {
        return None;
    }
    let low_v = v.quantile(0, v.len(), 0.02)?;
    let high_v = level_high(v)?;
    let span = high_v - low_v;
    if span < 12.0 * v.sigma {
        return None;
    }
    let band = Band {
        low: low_v + 0.2 * span,
        high: low_v + 0.8 * span,
    };
    let stretches = v.closed(band, 0, v.len());
    let full: Vec<_> = stretches.iter().filter(|s| s.from.is_some()).collect();
    if full.len() < 4 {
        return None;
    }
    let periods: Vec<f64> = full
        .windows(2)
        .map(|w| (w[1].reached - w[0].reached) as f64)
        .collect();
    let period = quantile(&periods, 0.5)?;
    let regular = periods
        .iter()
        .filter(|p| (*p - period).abs() <= 0.15 * period + 1.5)
        .count();
    // The pattern must be regular and fill the record.
    let covered = (full[full.len() - 1].reached - full[0].reached) as f64;
    if regular * 10 < periods.len() * 7 || covered < 0.5 * v.len() as f64 {
        return None;
    }
    let on: Vec<f64> = full
        .iter()
        .filter_map(|s| Some((s.until? - s.reached) as f64))
        .collect();
    let duty = quantile(&on, 0.5)? / period;
    Some(Switching {
        rising: full.iter().map(|s| s.reached).collect(),
        falling: stretches.iter().filter_map(|s| s.until).collect(),
        period_s: (view.step_s > 0.0).then_some(period * view.step_s),
        duty,
        high_v,
        low_v,
        idle_v: idle_voltage(view, high_v, low_v, duty),
    })
}

/// Upper level: the middle of the rows in the upper fifth of what is not a spike.
fn level_high(v: &Series) -> Option<f64> {
    let top = v.quantile(0, v.len(), 0.98)?;
    let low = v.quantile(0, v.len(), 0.02)?;
    let upper = v.x().iter().filter(|&x| x > low + 0.8 * (top - low));
    median_of(upper)
}

/// Voltage in the rows where the current has come to rest at its lowest level while the supply is off.
fn idle_voltage(view: &View, high_v: f64, low_v: f64, duty: f64) -> Option<f64> {
    let (v, i) = (view.v.as_ref()?, view.i.as_ref()?);
    let (floor, top) = (i.quantile(0, i.len(), 0.02)?, i.quantile(0, i.len(), 0.98)?);
    let limit = floor + (4.0 * i.sigma).max(0.03 * (top - floor));
    let span = high_v - low_v;
    let idle = (0..v.len())
        .filter(|&k| i.at(k) < limit && v.at(k) < high_v - 0.1 * span)
        .map(|k| v.at(k));
    // A triangle spends a share of its falling time near its lowest level that its height gives; resting current more.
    let falling = (1.0 - duty).max(0.0) * (limit - floor) / (top - floor).max(f64::MIN_POSITIVE);
    if (idle.clone().count() as f64) < (0.08 + 2.0 * falling) * v.len() as f64 {
        return None;
    }
    median_of(idle)
}

/// Median as [`quantile`] has it, of values that are not put down first: most rows of a long record may be among them.
fn median_of(values: impl Iterator<Item = f64> + Clone) -> Option<f64> {
    let stride = values.clone().count().div_ceil(STATISTIC_ROWS).max(1);
    let kept: Vec<f64> = values.step_by(stride).collect();
    quantile(&kept, 0.5)
}
