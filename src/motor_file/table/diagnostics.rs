//! Conflicts, warnings and notes of a motor file as lines.

use crate::motor_file::{MotorFile, Severity};
use std::fmt::Write;

/// What stands before the causes of a conflict, which are named once.
const USUAL: &str = ". Usual causes: ";

/// Conflicts and warnings, one paragraph each, and the notes where asked for. The same text about several subjects is one line with
/// all their names. Empty where there is none.
pub fn diagnostics(file: &MotorFile, notes: bool) -> String {
    let mut text = String::new();
    let shown = |severity: &Severity| notes || *severity != Severity::Note;
    for severity in Severity::ALL.into_iter().filter(shown) {
        let mut groups: Vec<(&str, Vec<&str>)> = Vec::new();
        for warning in file.warnings.iter().filter(|w| w.severity == severity) {
            let subject = warning.subject.as_deref();
            match groups.iter_mut().find(|(text, _)| *text == warning.text) {
                Some((_, subjects)) => subjects.extend(subject),
                None => groups.push((&warning.text, subject.into_iter().collect())),
            }
        }
        let mut causes: Vec<&str> = Vec::new();
        for (what, subjects) in groups {
            let what = match what.split_once(USUAL) {
                Some((seen, those)) if causes.contains(&those) => {
                    format!("{seen} (usual causes as above)")
                }
                Some((_, those)) => {
                    causes.push(those);
                    what.to_owned()
                }
                None => what.to_owned(),
            };
            let about = match subjects.is_empty() {
                true => String::new(),
                false => format!("{}: ", subjects.join(", ")),
            };
            let _ = writeln!(text, "{}: {about}{what}", severity.label());
        }
    }
    text
}

/// `; 3 notes (--details)`; empty where there is none.
pub fn notes_left_out(file: &MotorFile) -> String {
    let notes = file
        .warnings
        .iter()
        .filter(|w| w.severity == Severity::Note);
    match notes.count() {
        0 => String::new(),
        1 => "; 1 note (--details)".to_owned(),
        n => format!("; {n} notes (--details)"),
    }
}
