//! A file on disk, complete or absent: a temporary file in the same folder, flushed to the disk, then renamed.
//!
//! Whatever ends the program (an error, a full disk, a kill, a power cut), the name holds the old bytes or the new ones.
//! A kill in the middle can leave the temporary file, `.rundown-….tmp`, which may be deleted.

use super::place::{check_standing, folder_of, followed};
use super::temporary::temporary;
use std::fs::{self, Metadata};
use std::io::{self, Write};
use std::path::Path;
use tempfile::NamedTempFile;

/// Puts `bytes` at `path` in one step, in place of a file that stands there.
///
/// # Errors
/// Whatever the file system refuses; `path` is then as it was.
pub fn write_atomically(path: &Path, bytes: &[u8]) -> io::Result<()> {
    check_standing(path)?;
    // A link keeps pointing at its file, also at one that is not there yet.
    let target = followed(path);
    filled(&target, bytes, fs::metadata(&target).ok())?
        .persist(&target)
        .map_err(|error| error.error)?;
    flush_folder(&target);
    Ok(())
}

/// As [`write_atomically`], but never in place of anything.
///
/// # Errors
/// [`io::ErrorKind::AlreadyExists`] when something stands there, even if it came while the bytes were being written;
/// else whatever the file system refuses.
pub fn write_new(path: &Path, bytes: &[u8]) -> io::Result<()> {
    check_standing(path)?;
    if path.symlink_metadata().is_ok() {
        return Err(io::ErrorKind::AlreadyExists.into());
    }
    filled(path, bytes, None)?
        .persist_noclobber(path)
        .map_err(|error| error.error)?;
    flush_folder(path);
    Ok(())
}

/// Puts `bytes` at `path` when `check` allows what stands there to be replaced. Nothing that `check` has not seen is
/// replaced, even if it comes while the bytes are being written.
///
/// # Errors
/// What `check` refuses, and what the file system refuses, as `fail` words it.
pub fn put<E>(
    path: &Path,
    bytes: &[u8],
    check: impl Fn(&Path) -> Result<(), E>,
    fail: impl Fn(io::Error) -> E,
) -> Result<(), E> {
    // Each further turn means that another file came in between; that many in a row are no accident.
    for _ in 0..100 {
        let there = path.symlink_metadata().is_ok();
        check_standing(path).map_err(&fail)?;
        check(path)?;
        let put = if there {
            write_atomically(path, bytes)
        } else {
            write_new(path, bytes)
        };
        match put {
            Err(error) if error.kind() == io::ErrorKind::AlreadyExists => {}
            other => return other.map_err(fail),
        }
    }
    Err(fail(io::ErrorKind::ResourceBusy.into()))
}

fn filled(target: &Path, bytes: &[u8], replaced: Option<Metadata>) -> io::Result<NamedTempFile> {
    let permissions = replaced.as_ref().map(Metadata::permissions);
    let mut file = temporary(folder_of(target), permissions)?;
    if let Some(replaced) = replaced {
        keep_owner(&file, &replaced)?;
    }
    file.write_all(bytes)?;
    file.as_file().sync_all()?;
    Ok(file)
}

/// Owner, group and mode of the file that is replaced, as far as this user may give them away.
fn keep_owner(file: &NamedTempFile, replaced: &Metadata) -> io::Result<()> {
    #[cfg(unix)]
    {
        use std::os::unix::fs::{MetadataExt, fchown};
        let made = file.as_file().metadata()?;
        if (made.uid(), made.gid()) != (replaced.uid(), replaced.gid()) {
            let owner = fchown(file, Some(replaced.uid()), Some(replaced.gid()));
            // Only the administrator gives files away; a group of one's own may be kept all the same.
            if owner.is_err() {
                fchown(file, None, Some(replaced.gid())).ok();
            }
        }
    }
    // The mode once more: the user's mask was taken off when the file was made.
    file.as_file().set_permissions(replaced.permissions())
}

/// The new name must outlive a power cut as well; not every file system can flush a folder.
fn flush_folder(target: &Path) {
    #[cfg(unix)]
    if let Ok(folder) = fs::File::open(folder_of(target)) {
        folder.sync_all().ok();
    }
    #[cfg(not(unix))]
    let _ = target;
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::path::PathBuf;
    use std::sync::atomic::{AtomicUsize, Ordering};

    fn names(folder: &Path) -> Vec<PathBuf> {
        let mut names: Vec<PathBuf> = fs::read_dir(folder)
            .unwrap()
            .map(|entry| entry.unwrap().path())
            .collect();
        names.sort();
        names
    }

    #[test]
    fn what_came_while_writing_is_judged_before_it_is_replaced() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("out");
        let asked = AtomicUsize::new(0);
        // Another program puts its file there just after the first look.
        let result = put(
            &path,
            b"ours",
            |path| {
                if asked.fetch_add(1, Ordering::Relaxed) == 0 {
                    fs::write(path, "theirs").unwrap();
                    return Ok(());
                }
                match fs::read(path) {
                    Ok(bytes) if bytes == b"theirs" => Err("theirs stands there".to_string()),
                    _ => Ok(()),
                }
            },
            |error| error.to_string(),
        );
        assert_eq!(result, Err("theirs stands there".to_string()));
        assert_eq!(fs::read(&path).unwrap(), b"theirs");
        assert_eq!(names(folder.path()), [path]);
    }

    #[test]
    fn many_writers_at_once_end_with_one_whole_file() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("out");
        std::thread::scope(|scope| {
            for writer in 0..8u8 {
                let path = &path;
                scope.spawn(move || {
                    for _ in 0..10 {
                        put(path, &vec![writer; 100_000], |_| Ok(()), |error| error).unwrap();
                    }
                });
            }
        });
        let bytes = fs::read(&path).unwrap();
        assert_eq!(bytes.len(), 100_000);
        assert!(bytes.iter().all(|byte| *byte == bytes[0]));
        assert_eq!(names(folder.path()), [path]);
    }

    #[test]
    fn a_new_file_never_replaces_even_a_link_that_leads_nowhere() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("out");
        #[cfg(unix)]
        std::os::unix::fs::symlink("nowhere", &path).unwrap();
        #[cfg(not(unix))]
        fs::write(&path, "x").unwrap();
        let error = write_new(&path, b"x").unwrap_err();
        assert_eq!(error.kind(), io::ErrorKind::AlreadyExists);
    }

    #[cfg(unix)]
    #[test]
    fn a_link_that_leads_nowhere_is_followed_and_kept() {
        let folder = tempfile::tempdir().unwrap();
        let link = folder.path().join("link");
        std::os::unix::fs::symlink("file", &link).unwrap();
        put(&link, b"ours", |_| Ok(()), |error| error).unwrap();
        assert!(link.symlink_metadata().unwrap().is_symlink());
        assert_eq!(fs::read(folder.path().join("file")).unwrap(), b"ours");
    }

    #[cfg(unix)]
    #[test]
    fn a_replaced_file_keeps_its_mode_and_its_owner() {
        use std::os::unix::fs::{MetadataExt, PermissionsExt, chown};
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("out");
        fs::write(&path, "old").unwrap();
        fs::set_permissions(&path, fs::Permissions::from_mode(0o666)).unwrap();
        // Another owner where this test may give files away, else our own.
        chown(&path, Some(12345), Some(12345)).ok();
        let before = fs::metadata(&path).unwrap();
        write_atomically(&path, b"new").unwrap();
        let after = fs::metadata(&path).unwrap();
        assert_eq!(fs::read(&path).unwrap(), b"new");
        assert_eq!(after.mode() & 0o7777, 0o666);
        assert_eq!((after.uid(), after.gid()), (before.uid(), before.gid()));
    }

    #[test]
    fn a_protected_file_stays() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("out");
        fs::write(&path, "kept").unwrap();
        let mut permissions = fs::metadata(&path).unwrap().permissions();
        permissions.set_readonly(true);
        fs::set_permissions(&path, permissions).unwrap();
        assert!(write_atomically(&path, b"new").is_err());
        assert_eq!(fs::read(&path).unwrap(), b"kept");
    }
}
