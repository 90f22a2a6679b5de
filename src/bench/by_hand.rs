//! Events and cuts that a person set in the sheet, in place of those found.

/// An event that can be set.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum HandEvent {
    /// The contact closes.
    SwitchOn,
    /// The contact opens.
    SwitchOff,
    /// The arc of an opened contact ends.
    Arc,
    /// The terminals are shorted.
    Short,
    /// The rotor comes to rest.
    Standstill,
}

impl HandEvent {
    /// All of them, by their keys in the sheet.
    pub const KEYS: [(&'static str, HandEvent); 5] = [
        ("switch-on", HandEvent::SwitchOn),
        ("switch-off", HandEvent::SwitchOff),
        ("arc", HandEvent::Arc),
        ("short", HandEvent::Short),
        ("standstill", HandEvent::Standstill),
    ];
}

/// What was set of one capture; times on the capture's own axis, s.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ByHand {
    /// Events, each kind at most once.
    pub events_s: Vec<(HandEvent, f64)>,
    /// Stretches that no fit may use, from and to.
    pub cuts_s: Vec<(f64, f64)>,
}

impl ByHand {
    /// True where nothing was set.
    pub fn is_empty(&self) -> bool {
        self.events_s.is_empty() && self.cuts_s.is_empty()
    }
}
