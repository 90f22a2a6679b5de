//! A folder tree, walked in the order of names, one folder in memory at a time.

use super::entry::{Entry, Work};
use crate::lot::LotError;
use std::path::{Path, PathBuf};

/// Name of the sheets looked for.
const SHEET: &str = "bench.toml";

/// Every bench sheet below a folder. Links to folders are not followed: they may lead in circles.
pub(crate) struct Walk {
    root: PathBuf,
    /// What is still to be visited, last first.
    stack: Vec<PathBuf>,
    row: u64,
}

impl Walk {
    pub fn new(root: &Path) -> Walk {
        Walk {
            root: root.to_owned(),
            stack: vec![root.to_owned()],
            row: 0,
        }
    }

    fn visit(&mut self, folder: &Path) -> Result<bool, LotError> {
        let fault = |error: std::io::Error| LotError::Manifest {
            path: folder.to_owned(),
            reason: error.to_string(),
        };
        let mut folders = Vec::new();
        let mut sheet = false;
        for item in std::fs::read_dir(folder).map_err(fault)? {
            let item = item.map_err(fault)?;
            if item.file_type().map_err(fault)?.is_dir() {
                folders.push(item.path());
            } else if item.file_name() == SHEET {
                sheet = true;
            }
        }
        folders.sort_unstable_by(|a, b| b.cmp(a));
        self.stack.extend(folders);
        Ok(sheet)
    }
}

impl Iterator for Walk {
    type Item = Result<Entry, LotError>;

    fn next(&mut self) -> Option<Self::Item> {
        while let Some(folder) = self.stack.pop() {
            match self.visit(&folder) {
                Ok(false) => {}
                Ok(true) => {
                    let path = folder.join(SHEET);
                    let named = path.strip_prefix(&self.root).unwrap_or(&path);
                    let row = self.row;
                    self.row += 1;
                    return Some(Ok(Entry {
                        row,
                        motor: None,
                        order: None,
                        named: named.to_string_lossy().replace('\\', "/"),
                        work: Work::Sheet { path, folder: None },
                    }));
                }
                Err(error) => return Some(Err(error)),
            }
        }
        None
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sheets_come_in_the_order_of_names_at_every_depth() {
        let root = tempfile::tempdir().unwrap();
        for folder in ["b/10", "b/2", "a", "c/none", "."] {
            std::fs::create_dir_all(root.path().join(folder)).unwrap();
        }
        for folder in ["b/10", "b/2", "a", "."] {
            std::fs::write(root.path().join(folder).join(SHEET), "").unwrap();
        }
        let named: Vec<String> = Walk::new(root.path())
            .map(|entry| entry.unwrap().named)
            .collect();
        assert_eq!(
            named,
            [
                "bench.toml",
                "a/bench.toml",
                "b/10/bench.toml",
                "b/2/bench.toml"
            ]
        );
    }
}
