//! What stands between the motor and the channels: probe bandwidth, and the oscillations that switching leaves.

/// What a run needs to know of the measurement.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Pickup {
    pub inside_ohm: f64,
    pub bandwidth_hz: Option<f64>,
    pub skew_s: f64,
}

/// First-order lag of a current probe, exact for a current that is linear within a step.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Filter {
    lag_s: f64,
    pub output: f64,
    cached: (f64, f64),
}

impl Filter {
    pub fn new(corner_hz: f64, output: f64) -> Self {
        Filter {
            lag_s: 1.0 / (std::f64::consts::TAU * corner_hz),
            output,
            cached: (0.0, 1.0),
        }
    }

    pub fn advance(&mut self, from: f64, to: f64, h: f64) {
        if h <= 0.0 {
            return;
        }
        if self.cached.0 != h {
            self.cached = (h, libm::exp(-h / self.lag_s));
        }
        let ramp = (to - from) / h * self.lag_s;
        self.output = to - ramp + (self.output - from + ramp) * self.cached.1;
    }
}

/// A decaying oscillation laid over the voltage.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Ring {
    pub from_s: f64,
    pub amplitude_v: f64,
    pub rate: f64,
    pub decay_s: f64,
    /// Current the oscillation carries per volt of amplitude, quadrature.
    pub current_per_v: f64,
}

impl Ring {
    /// What it adds to voltage and current `at_s`; nothing once it has died away.
    pub fn at(&self, at_s: f64) -> Option<(f64, f64)> {
        let since = at_s - self.from_s;
        (since >= 0.0 && since < 12.0 * self.decay_s).then(|| {
            let envelope = self.amplitude_v * libm::exp(-since / self.decay_s);
            (
                envelope * libm::cos(self.rate * since),
                self.current_per_v * envelope * libm::sin(self.rate * since),
            )
        })
    }
}
