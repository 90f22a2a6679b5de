//! The two functions that libFuzzer calls.

/// Makes `$body` the target: it gets the bytes, and any panic in it is a find. `$prepare` runs before the first.
macro_rules! fuzz_target {
    (|$bytes:ident| $body:block) => {
        $crate::target::fuzz_target!(prepare {}, |$bytes| $body);
    };
    (prepare $prepare:block, |$bytes:ident| $body:block) => {
        fn body($bytes: &[u8]) $body

        /// # Safety
        /// libFuzzer gives a pointer to `size` readable bytes.
        #[unsafe(no_mangle)]
        unsafe extern "C" fn LLVMFuzzerTestOneInput(data: *const u8, size: usize) -> i32 {
            let bytes = if size == 0 {
                &[]
            } else {
                unsafe { std::slice::from_raw_parts(data, size) }
            };
            body(bytes);
            0
        }

        #[unsafe(no_mangle)]
        extern "C" fn LLVMFuzzerInitialize(_: *mut i32, _: *mut *mut *mut u8) -> i32 {
            // A panic is told as always, then counts as a crash.
            let tell = std::panic::take_hook();
            std::panic::set_hook(Box::new(move |info| {
                tell(info);
                std::process::abort();
            }));
            // What is made once counts for no input's time.
            $prepare
            0
        }
    };
}
pub(crate) use fuzz_target;
