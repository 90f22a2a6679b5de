//! Several files that belong together, written by one run at a time.

use super::place::{folder_of, followed};
use std::fs::{File, TryLockError};
use std::io;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

/// How long another run may take to write its outputs.
const LONGEST_WAIT: Duration = Duration::from_secs(30);

/// Keeps other runs from writing into the same folders; ends when dropped, and with the process whatever ends it.
pub struct WriteLock(#[allow(dead_code, reason = "held, not read")] Vec<File>);

/// Waits until no other run writes outputs into the folders of `paths`, so that files written together stay together.
///
/// Folders that the system cannot lock (some network shares) are written without.
///
/// # Errors
/// When another run still writes after half a minute.
pub fn lock_folders<'p>(paths: impl IntoIterator<Item = &'p Path>) -> io::Result<WriteLock> {
    let mut folders: Vec<PathBuf> = paths
        .into_iter()
        .filter_map(|path| folder_of(&followed(path)).canonicalize().ok())
        .collect();
    // Always in the same order: two runs never wait for each other.
    folders.sort();
    folders.dedup();
    let end = Instant::now() + LONGEST_WAIT;
    let mut held = Vec::new();
    for folder in folders {
        let Ok(file) = File::open(&folder) else {
            continue;
        };
        loop {
            match file.try_lock() {
                Ok(()) => {
                    held.push(file);
                    break;
                }
                Err(TryLockError::Error(_)) => break,
                Err(TryLockError::WouldBlock) if Instant::now() < end => {
                    std::thread::sleep(Duration::from_millis(5));
                }
                Err(TryLockError::WouldBlock) => {
                    return Err(io::Error::new(
                        io::ErrorKind::WouldBlock,
                        format!(
                            "{}: another run writes into this folder; try again when it has ended",
                            folder.display()
                        ),
                    ));
                }
            }
        }
    }
    Ok(WriteLock(held))
}

#[cfg(all(test, unix))]
mod tests {
    use super::*;
    use std::fs;

    /// Four runs that each write the same two files many times: no mixture is ever seen.
    #[test]
    fn files_written_under_the_lock_belong_together() {
        let folder = tempfile::tempdir().unwrap();
        let (one, two) = (folder.path().join("one"), folder.path().join("two"));
        std::thread::scope(|scope| {
            for writer in 0..4u8 {
                let (one, two) = (&one, &two);
                scope.spawn(move || {
                    for _ in 0..20 {
                        let lock = lock_folders([one.as_path(), two.as_path()]).unwrap();
                        fs::write(one, [writer]).unwrap();
                        std::thread::yield_now();
                        fs::write(two, [writer]).unwrap();
                        assert_eq!(fs::read(one).unwrap(), fs::read(two).unwrap());
                        drop(lock);
                    }
                });
            }
        });
        assert_eq!(fs::read(&one).unwrap(), fs::read(&two).unwrap());
    }
}
