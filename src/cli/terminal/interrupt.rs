//! Ctrl-C and the signals like it: the first asks a long command to end with what is finished, the second ends it at once.

use anyhow::Context;
use rundown::fit::Interrupt;
use signal_hook::consts::{SIGINT, SIGTERM};
use signal_hook::flag::{register, register_conditional_shutdown};

/// Exit status after the second signal, as of a program that SIGINT ended.
const ENDED_AT_ONCE: i32 = 130;

/// A request to end that the signals make from now on.
///
/// # Errors
/// What the system refuses.
pub fn on_signals() -> anyhow::Result<Interrupt> {
    let interrupt = Interrupt::default();
    for signal in [SIGINT, SIGTERM] {
        // In this order: the first signal finds the flag unset.
        register_conditional_shutdown(signal, ENDED_AT_ONCE, interrupt.flag())
            .and_then(|_| register(signal, interrupt.flag()))
            .context("signals cannot be caught")?;
    }
    Ok(interrupt)
}
