//! What goes to the terminal: without a panic when nobody takes it, and without what could command the terminal.

use anyhow::Context;
use rundown::quantity::{escape, is_invisible, one_line, wrapped};
use serde::Serialize;
use std::borrow::Cow;
use std::fmt::Display;
use std::io::{ErrorKind, Write};
use std::path::Path;

/// Columns of text in a pipe, and at the least and at the most on a terminal.
const PIPE: usize = 80;
const NARROWEST: usize = 40;
const WIDEST: usize = 120;

/// A path for a person: one line, whatever its name holds.
pub fn path_text(path: &Path) -> String {
    one_line(&path.display().to_string()).into_owned()
}

/// Prints text for people to the standard output. A reader that has gone (`rundown ... | head`) has what it wanted and is
/// no error. Control characters, which names in captures and sheets may hold, are shown and not obeyed.
///
/// # Errors
/// Anything else that keeps the text from being written, such as a full disk.
pub fn print_text(text: &str) -> anyhow::Result<()> {
    let width = width(&console::Term::stdout());
    print_bytes(wrapped(&shown(text), width).as_bytes())
}

/// Columns of text: those of a terminal within what is easy to read, 80 in a pipe.
fn width(terminal: &console::Term) -> usize {
    match terminal.size_checked() {
        Some((_, columns)) if terminal.is_term() => usize::from(columns).clamp(NARROWEST, WIDEST),
        _ => PIPE,
    }
}

/// Prints the bytes of a file as they are; otherwise as [`print_text`].
///
/// # Errors
/// As [`print_text`].
pub fn print_bytes(bytes: &[u8]) -> anyhow::Result<()> {
    let mut output = std::io::stdout().lock();
    match output.write_all(bytes).and_then(|()| output.flush()) {
        Err(error) if error.kind() == ErrorKind::BrokenPipe => Ok(()),
        other => other.context("the standard output cannot be written"),
    }
}

/// Prints a document as JSON; otherwise as [`print_text`].
///
/// # Errors
/// As [`print_text`].
pub fn print_json(document: &impl Serialize) -> anyhow::Result<()> {
    print_bytes((serde_json::to_string_pretty(document)? + "\n").as_bytes())
}

/// Prints why a command failed to the standard error.
pub fn report_error(text: impl Display) {
    report_lines(&format!("error: {text}"));
}

/// Prints what the reader should know before trusting the result to the standard error.
pub fn report_warning(text: impl Display) {
    report_lines(&format!("warning: {text}"));
}

/// Prints lines to the standard error, where there is one to take them; control characters as in [`print_text`].
pub fn report_lines(text: &str) {
    let width = width(&console::Term::stderr());
    let _ = writeln!(std::io::stderr(), "{}", wrapped(&shown(text), width));
}

/// Line feeds and tabs stay, every other invisible character is shown as its code: `\u{1b}`.
fn shown(text: &str) -> Cow<'_, str> {
    escape(text, |c| is_invisible(c) && c != '\n' && c != '\t')
}

#[cfg(test)]
mod tests {
    use super::shown;

    #[test]
    fn control_characters_are_shown_and_the_rest_is_left() {
        assert_eq!(shown("12 µs\t±\n"), "12 µs\t±\n");
        assert_eq!(
            shown("\u{1b}[2Jname\r\u{9b}\u{202e}"),
            "\\u{1b}[2Jname\\u{d}\\u{9b}\\u{202e}"
        );
    }
}
