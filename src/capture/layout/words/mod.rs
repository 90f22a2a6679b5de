//! The common words of column names and of settings.

mod column_names;
mod settings;

pub use column_names::{
    is_channel_name, is_index_name, is_other_axis_name, is_remark_name, is_spectrum_name,
    is_time_name, is_unit_of_time, time_unit_of_name, tokens,
};
pub use settings::{Setting, is_horizontal_unit, is_spectrum_setting, is_unit_key, setting};

/// A key with its letters and digits alone, in lower case: `X Increment` and `xIncrement` are one key.
pub(super) fn collapsed(key: &str) -> String {
    key.chars()
        .filter(|c| c.is_alphanumeric())
        .flat_map(char::to_lowercase)
        .collect()
}
