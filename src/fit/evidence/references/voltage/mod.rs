//! What the voltage of a running motor tells: the level that its channel reads, and the back-EMF under it.

mod converter_level;
mod voltage_balance;

pub use converter_level::level_uncertainty;
pub use voltage_balance::voltage_balance;
