//! Any text as a vendor's sheet.
#![no_main]

mod target;

use rundown::claim::sheet::from_text;
use std::path::Path;
use target::fuzz_target;

fuzz_target!(|bytes| {
    let Ok(text) = std::str::from_utf8(bytes) else {
        return;
    };
    if let Err(error) = from_text(Path::new("vendor.toml"), text) {
        assert!(!error.to_string().is_empty());
    }
});
