//! What a person sees while a command runs and when it ends.

pub mod interrupt;
mod number;
mod output;
pub mod plot;
mod progress;
mod status;
mod timings;

pub use number::number;
pub use output::{
    path_text, print_bytes, print_json, print_text, report_error, report_lines, report_warning,
};
pub use progress::Progress;
pub use status::Status;
pub use timings::Timings;
