//! The bench sheet on disk, as the page changes it and an editor may: read before every change, written atomically, with undo.

use super::edit::{Edit, EditError, edited};
use crate::files::{LARGEST_SHEET, put, read_at_most};
use std::path::{Path, PathBuf};

/// Changes that can be undone.
const MOST_STEPS: usize = 200;

/// One change, as texts before and after it.
struct Step {
    before: Option<String>,
    after: String,
    what: String,
}

/// The sheet of the watched folder.
pub struct SheetFile {
    path: PathBuf,
    read_only: bool,
    text: Option<String>,
    /// Why the file that is there cannot be read.
    fault: Option<String>,
    /// Text of the last draft; while the sheet is just that, nobody has worked on it.
    draft: Option<String>,
    done: Vec<Step>,
    undone: Vec<Step>,
}

impl SheetFile {
    /// The sheet at `path`, which need not be there yet. With `read_only` it is never written: a draft stays in memory.
    pub fn new(path: PathBuf, read_only: bool) -> SheetFile {
        let mut sheet = SheetFile {
            path,
            read_only,
            text: None,
            fault: None,
            draft: None,
            done: Vec::new(),
            undone: Vec::new(),
        };
        sheet.refresh();
        sheet
    }

    /// Where it is.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Its text as last read; `None` where there is no sheet.
    pub fn text(&self) -> Option<&str> {
        self.text.as_deref()
    }

    /// Why the file that is there cannot be read.
    pub fn fault(&self) -> Option<&str> {
        self.fault.as_deref()
    }

    /// True while the sheet is a draft that nobody has changed.
    pub fn is_untouched_draft(&self) -> bool {
        self.draft.is_some() && self.draft == self.text
    }

    /// What undo and redo would do.
    pub fn steps(&self) -> (Option<&str>, Option<&str>) {
        (
            self.done.last().map(|s| s.what.as_str()),
            self.undone.last().map(|s| s.what.as_str()),
        )
    }

    /// Reads the file again; true where it has changed.
    pub fn refresh(&mut self) -> bool {
        let before = (self.text.clone(), self.fault.clone());
        match read_at_most(&self.path, LARGEST_SHEET) {
            Ok(bytes) => match String::from_utf8(bytes) {
                Ok(text) => (self.text, self.fault) = (Some(text), None),
                Err(_) => self.fault = Some("the sheet is not UTF-8 text".into()),
            },
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => {
                self.fault = None;
                // A draft in memory stays.
                if !(self.read_only && self.is_untouched_draft()) {
                    self.text = None;
                }
            }
            Err(error) => self.fault = Some(error.to_string()),
        }
        before != (self.text.clone(), self.fault.clone())
    }

    /// Makes changes of the page, or none of them.
    ///
    /// # Errors
    /// [`EditError`]: the sheet is read-only, says something else by now, or would not be a sheet.
    pub fn edit(&mut self, edits: &[Edit], what: &str) -> Result<(), EditError> {
        self.refresh();
        let before = self.text.clone().unwrap_or_default();
        let after = edited(&self.path, &before, edits)?;
        self.write(after, what)
    }

    /// Puts a new text, made from [`SheetFile::text`], in place.
    ///
    /// # Errors
    /// Read-only, the file has changed since it was read, or it cannot be written.
    pub fn write(&mut self, after: String, what: &str) -> Result<(), EditError> {
        if self.text.as_deref() == Some(after.as_str()) {
            return Ok(());
        }
        let before = self.text.clone();
        self.store(&after)?;
        self.done.push(Step {
            before,
            after: after.clone(),
            what: what.to_owned(),
        });
        if self.done.len() > MOST_STEPS {
            self.done.remove(0);
        }
        self.undone.clear();
        self.text = Some(after);
        Ok(())
    }

    /// Puts a draft in place of no sheet, or of the draft before.
    ///
    /// # Errors
    /// The file cannot be written.
    pub fn write_draft(&mut self, text: String) -> Result<(), EditError> {
        if !self.read_only {
            self.store(&text)?;
        }
        self.draft = Some(text.clone());
        self.text = Some(text);
        Ok(())
    }

    fn store(&self, text: &str) -> Result<(), EditError> {
        if self.read_only {
            return Err(EditError::Refused(
                "this page was opened with --read-only; nothing is written".into(),
            ));
        }
        let expected = self.text.as_deref().map(str::as_bytes);
        // What an editor has put there since is not overwritten.
        let unchanged = |path: &Path| {
            match std::fs::read(path) {
            Ok(bytes) if Some(bytes.as_slice()) == expected => Ok(()),
            Err(error) if error.kind() == std::io::ErrorKind::NotFound && expected.is_none() => {
                Ok(())
            }
            Ok(_) | Err(_) => Err(EditError::Refused(
                "changed meanwhile: the sheet was saved by another program just now; nothing was written".into(),
            )),
        }
        };
        put(&self.path, text.as_bytes(), unchanged, |error| {
            EditError::Refused(format!("the sheet cannot be written: {error}"))
        })
    }

    /// Takes the last change of the page back, or makes the one again that was taken back last.
    ///
    /// # Errors
    /// There is none, or an editor has changed the sheet since.
    pub fn step(&mut self, back: bool) -> Result<(), EditError> {
        self.refresh();
        let (from, to, word) = match back {
            true => (&mut self.done, &mut self.undone, "undo"),
            false => (&mut self.undone, &mut self.done, "redo"),
        };
        let Some(step) = from.pop() else {
            return Err(EditError::Refused(format!("there is nothing to {word}")));
        };
        let (before, after) = (step.before.clone().unwrap_or_default(), step.after.clone());
        let (here, there) = if back {
            (after, before)
        } else {
            (before, after)
        };
        if self.text.as_deref().unwrap_or_default() != here {
            from.clear();
            return Err(EditError::Refused(
                "changed meanwhile: the sheet was changed in an editor since, so that step cannot be taken back; nothing was written".into(),
            ));
        }
        to.push(step);
        let written = self.store(&there);
        if written.is_ok() {
            self.text = Some(there);
        } else {
            self.done.clear();
            self.undone.clear();
        }
        written
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    fn poles(was: Option<u32>, now: u32) -> Edit {
        serde_json::from_value(json!({"at": ["motor", "poles"], "was": was, "value": now})).unwrap()
    }

    #[test]
    fn changes_are_undone_and_redone_but_never_over_those_of_an_editor() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("bench.toml");
        std::fs::write(&path, "[motor]\nname = \"M\"\n").unwrap();
        let mut sheet = SheetFile::new(path.clone(), false);
        let disk = || std::fs::read_to_string(&path).unwrap();
        sheet.edit(&[poles(None, 2)], "poles").unwrap();
        sheet.edit(&[poles(Some(2), 4)], "poles").unwrap();
        assert!(disk().contains("poles = 4"));
        sheet.step(true).unwrap();
        assert!(disk().contains("poles = 2"));
        sheet.step(false).unwrap();
        assert!(disk().contains("poles = 4"));
        // An editor adds a line; the page's next change keeps it, undo of an older one is refused.
        std::fs::write(&path, format!("{}note = \"x\"\n", disk())).unwrap();
        let error = sheet.step(true).unwrap_err().to_string();
        assert!(error.contains("changed meanwhile"), "{error}");
        sheet.edit(&[poles(Some(4), 6)], "poles").unwrap();
        assert!(disk().contains("poles = 6") && disk().contains("note = \"x\""));
        // An editor changes the same key.
        std::fs::write(&path, disk().replace("poles = 6", "poles = 8")).unwrap();
        let error = sheet.edit(&[poles(Some(6), 2)], "poles").unwrap_err();
        assert!(matches!(error, EditError::Changed { .. }), "{error}");
        assert!(disk().contains("poles = 8"));
    }

    #[test]
    fn read_only_writes_nothing() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("bench.toml");
        let mut sheet = SheetFile::new(path.clone(), true);
        sheet.write_draft("[motor]\nname = \"M\"\n".into()).unwrap();
        assert!(sheet.edit(&[poles(None, 2)], "poles").is_err());
        assert!(!path.exists() && sheet.text().is_some());
    }
}
