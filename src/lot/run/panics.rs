//! Work on one motor that may panic: the panic becomes a message and stays with its motor.

use std::cell::{Cell, RefCell};
use std::panic::{self, AssertUnwindSafe};
use std::sync::Once;

thread_local! {
    static GUARDED: Cell<bool> = const { Cell::new(false) };
    static MESSAGE: RefCell<Option<String>> = const { RefCell::new(None) };
}

/// Runs `work` on this thread; a panic in it comes back as its message with its place, and nothing is printed.
///
/// It holds for panics only. What ends the process (no memory left, the stack used up) is not caught; the results of the
/// motors done before it stay, and the next run goes on there.
pub(crate) fn guarded<T>(work: impl FnOnce() -> T) -> Result<T, String> {
    static HOOK: Once = Once::new();
    HOOK.call_once(|| {
        let before = panic::take_hook();
        panic::set_hook(Box::new(move |panic| {
            if GUARDED.get() {
                MESSAGE.with_borrow_mut(|message| *message = Some(panic.to_string()));
            } else {
                before(panic);
            }
        }));
    });
    GUARDED.set(true);
    let result = panic::catch_unwind(AssertUnwindSafe(work));
    GUARDED.set(false);
    result.map_err(|_| {
        MESSAGE
            .with_borrow_mut(Option::take)
            .unwrap_or_else(|| "a panic without a message".into())
            .replace('\n', " ")
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_panic_is_told_with_its_place_and_the_thread_goes_on() {
        let empty: Vec<u8> = Vec::new();
        let at = empty.len() + 3;
        let told = guarded(|| empty[at]).unwrap_err();
        assert!(
            told.contains("panics.rs") && told.contains("out of bounds"),
            "{told}"
        );
        assert_eq!(guarded(|| 7), Ok(7));
    }
}
