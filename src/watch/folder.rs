//! The folder as it is: which files are whole, which are still arriving.
//!
//! The folder is looked at ten times a second. That is one list of names and one look at each file's size and times; it works on every
//! disk, also on shares and sticks that report no changes.

use crate::bench::has_capture_ending;
use crate::files::is_inside;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant, SystemTime};

/// A file is whole when it has been quiet for so long.
const QUIET: Duration = Duration::from_millis(250);
/// A file that was seen to grow has to be quiet for its longest pause so far, so many times, but not longer than [`LONGEST_QUIET`].
const PAUSES: u32 = 2;
const LONGEST_QUIET: Duration = Duration::from_secs(3);
/// An empty file is expected to be filled for so long.
const LONGEST_EMPTY: Duration = Duration::from_secs(6);
/// Most files that are followed.
const MOST_FILES: usize = 4000;
/// Deepest folder below the watched one.
const DEEPEST: usize = 8;
/// Folders that the page's own buttons write into.
pub(super) const OWN_FOLDERS: [&str; 2] = ["pictures", "exports"];

/// Size and time by which a change shows.
type Stamp = (u64, Option<SystemTime>);

#[derive(Clone, Debug)]
struct Seen {
    stamp: Stamp,
    /// When the stamp was first seen so.
    since: Instant,
    /// Longest time between two changes that were seen.
    longest_pause: Duration,
    whole: bool,
}

/// What lies in the folder, by path relative to it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Inventory {
    /// Files that are whole, each with a number that changes when the file does.
    pub whole: BTreeMap<String, u64>,
    /// Files that are still being written.
    pub arriving: Vec<String>,
    /// Files that are no captures, and why.
    pub others: Vec<(String, String)>,
}

/// Follows one folder.
pub struct Folder {
    root: PathBuf,
    deep: bool,
    seen: BTreeMap<String, Seen>,
    changes: u64,
    numbers: BTreeMap<String, u64>,
}

impl Folder {
    /// Follows `root`; with `deep` also the folders below it.
    pub fn new(root: &Path, deep: bool) -> Folder {
        Folder {
            root: root.to_owned(),
            deep,
            seen: BTreeMap::new(),
            changes: 0,
            numbers: BTreeMap::new(),
        }
    }

    /// Looks once.
    ///
    /// # Errors
    /// The folder cannot be listed.
    pub fn look(&mut self, now: Instant) -> std::io::Result<Inventory> {
        let mut found = BTreeMap::new();
        let mut out = Inventory::default();
        self.list(&self.root, "", 0, &mut found, &mut out.others)?;
        self.seen.retain(|name, _| found.contains_key(name));
        self.numbers.retain(|name, _| found.contains_key(name));
        for (name, stamp) in found {
            if self.is_whole(&name, stamp, now) {
                let number = *self.numbers.entry(name.clone()).or_insert_with(|| {
                    self.changes += 1;
                    self.changes
                });
                out.whole.insert(name, number);
            } else if self.is_left_empty(&name, now) {
                out.others.push((name, "empty".to_owned()));
            } else {
                self.numbers.remove(&name);
                out.arriving.push(name);
            }
        }
        Ok(out)
    }

    /// True of a file into which nothing has come for long.
    fn is_left_empty(&self, name: &str, now: Instant) -> bool {
        let seen = self.seen.get(name);
        seen.is_some_and(|s| s.stamp.0 == 0 && now.duration_since(s.since) > LONGEST_EMPTY)
    }

    fn is_whole(&mut self, name: &str, stamp: Stamp, now: Instant) -> bool {
        let Some(seen) = self.seen.get_mut(name) else {
            let seen = Seen {
                stamp,
                since: now,
                longest_pause: Duration::ZERO,
                whole: rested(&stamp, QUIET) && stamp.0 > 0,
            };
            let whole = seen.whole;
            self.seen.insert(name.to_owned(), seen);
            return whole;
        };
        if seen.stamp != stamp {
            let pause = now.duration_since(seen.since);
            // A change long after is another file, not a pause in the writing of this one.
            if pause < LONGEST_QUIET {
                seen.longest_pause = seen.longest_pause.max(pause);
            }
            seen.stamp = stamp;
            seen.since = now;
            seen.whole = false;
            self.numbers.remove(name);
            return false;
        }
        if !seen.whole {
            let quiet = QUIET.max(seen.longest_pause * PAUSES).min(LONGEST_QUIET);
            seen.whole = stamp.0 > 0
                && (now.duration_since(seen.since) >= quiet
                    || seen.longest_pause.is_zero() && rested(&stamp, QUIET));
            if seen.whole {
                seen.longest_pause = Duration::ZERO;
            }
        }
        seen.whole
    }

    fn list(
        &self,
        folder: &Path,
        prefix: &str,
        depth: usize,
        found: &mut BTreeMap<String, Stamp>,
        others: &mut Vec<(String, String)>,
    ) -> std::io::Result<()> {
        for entry in std::fs::read_dir(folder)? {
            let entry = entry?;
            let Ok(name) = entry.file_name().into_string() else {
                continue;
            };
            if name.starts_with('.') || found.len() >= MOST_FILES {
                continue;
            }
            let path = entry.path();
            let relative = format!("{prefix}{name}");
            // A file may go between the list and the look.
            let Ok(metadata) = std::fs::metadata(&path) else {
                continue;
            };
            if metadata.is_dir() {
                let own = depth == 0 && OWN_FOLDERS.contains(&name.as_str());
                let linked = entry.file_type().is_ok_and(|t| t.is_symlink());
                if self.deep && !own && !linked && depth < DEEPEST {
                    let inner = format!("{relative}/");
                    // One that may not be listed is passed over.
                    let _ = self.list(&path, &inner, depth + 1, found, others);
                }
            } else if !has_capture_ending(&name) {
                if others.len() < 50 && !is_known(&name) {
                    others.push((relative, "no capture by its ending".to_owned()));
                }
            } else if !metadata.is_file() {
                others.push((relative, "no regular file".to_owned()));
            } else if !is_inside(&self.root, Path::new(&relative)) {
                others.push((relative, "a link out of the folder".to_owned()));
            } else {
                found.insert(relative, (metadata.len(), metadata.modified().ok()));
            }
        }
        Ok(())
    }
}

/// Sheets, motor files and pages stand beside captures and need no word.
fn is_known(name: &str) -> bool {
    let ending = name.rsplit_once('.').map_or("", |(_, e)| e);
    matches!(ending, "toml" | "json" | "html" | "md")
}

/// True when a file was last written so long ago.
fn rested(stamp: &Stamp, quiet: Duration) -> bool {
    let age = stamp.1.and_then(|modified| modified.elapsed().ok());
    age.is_some_and(|age| age >= quiet)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::fs;
    use std::io::Write;

    #[test]
    fn a_file_in_pieces_is_whole_only_after_its_longest_pause_and_a_replaced_one_is_another() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("start.csv");
        let mut folder = Folder::new(dir.path(), false);
        let t0 = Instant::now();
        let at = |ms| t0 + Duration::from_millis(ms);
        let mut file = fs::File::create(&path).unwrap();
        assert_eq!(folder.look(at(0)).unwrap().arriving, ["start.csv"]);
        // Nothing in it yet, however long.
        let late = folder.look(at(7000)).unwrap();
        assert!(late.whole.is_empty() && late.arriving.is_empty());
        assert_eq!(late.others[0].1, "empty");
        file.write_all(b"t,v\n").unwrap();
        folder.look(at(7100)).unwrap();
        file.write_all(b"0,1\n").unwrap();
        folder.look(at(7800)).unwrap();
        // A pause of 0.7 s was seen: 0.25 s of quiet are not enough, 1.4 s are.
        assert!(folder.look(at(8200)).unwrap().whole.is_empty());
        let whole = folder.look(at(9300)).unwrap().whole;
        assert_eq!(whole.len(), 1);
        assert_eq!(folder.look(at(9400)).unwrap().whole, whole);
        file.write_all(b"1,1\n").unwrap();
        assert!(folder.look(at(20_000)).unwrap().whole.is_empty());
        let again = folder.look(at(20_400)).unwrap().whole;
        assert_ne!(again, whole);
        fs::remove_file(&path).unwrap();
        assert_eq!(folder.look(at(20_500)).unwrap(), Inventory::default());
    }

    #[cfg(unix)]
    #[test]
    fn links_out_of_the_folder_are_named_and_not_followed() {
        let outside = tempfile::tempdir().unwrap();
        fs::write(outside.path().join("x.csv"), "t,v\n").unwrap();
        let dir = tempfile::tempdir().unwrap();
        let link = |name: &str, to: &Path| {
            std::os::unix::fs::symlink(to, dir.path().join(name)).unwrap();
        };
        link("x.csv", &outside.path().join("x.csv"));
        link("all", outside.path());
        let mut folder = Folder::new(dir.path(), true);
        let seen = folder.look(Instant::now()).unwrap();
        assert!(
            seen.whole.is_empty() && seen.arriving.is_empty(),
            "{seen:?}"
        );
        assert_eq!(seen.others[0].1, "a link out of the folder");
    }
}
