//! Whether a path is a place that can be written, and which paths are the same file.

use super::temporary::temporary;
use std::io;
use std::path::{Component, Path, PathBuf};

/// Checks before long work that a file could be put at `path`: its folder is there and takes files, its name is no
/// longer than the file system allows, and what stands there is a regular file that is not write-protected.
///
/// # Errors
/// Why not, for a message behind the path.
pub fn check_place(path: &Path) -> io::Result<()> {
    check_standing(path)?;
    let target = followed(path);
    let folder = folder_of(&target);
    match std::fs::metadata(folder) {
        Err(error) if error.kind() == io::ErrorKind::NotFound => {
            return Err(io::Error::new(
                error.kind(),
                format!(
                    "its folder {} is not there; make it first",
                    folder.display()
                ),
            ));
        }
        Err(error) => return Err(error),
        Ok(metadata) if !metadata.is_dir() => {
            return Err(io::Error::new(
                io::ErrorKind::NotADirectory,
                format!("{} is a file, no folder", folder.display()),
            ));
        }
        Ok(_) => {}
    }
    // Permission bits do not say it all (read-only mounts, access lists): a file is made and taken away again.
    temporary(folder, None).map(drop).map_err(|error| {
        io::Error::new(
            error.kind(),
            format!("its folder {} takes no file: {error}", folder.display()),
        )
    })
}

/// Refuses what no file may replace.
pub(super) fn check_standing(path: &Path) -> io::Result<()> {
    if path.file_name().is_none() {
        return Err(io::Error::new(
            io::ErrorKind::InvalidInput,
            "it names no file",
        ));
    }
    let metadata = match std::fs::metadata(path) {
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(()),
        Err(error) => return Err(error),
        Ok(metadata) => metadata,
    };
    if metadata.is_dir() {
        return Err(io::Error::new(
            io::ErrorKind::IsADirectory,
            "it is a folder, expected a file name",
        ));
    }
    if !metadata.is_file() {
        return Err(io::Error::other(
            "it is a device, pipe or socket, which cannot be written atomically; name a file",
        ));
    }
    if metadata.permissions().readonly() {
        return Err(io::Error::new(
            io::ErrorKind::PermissionDenied,
            "the file there is write-protected; choose another name, or take the protection off",
        ));
    }
    Ok(())
}

/// The folder in which a file stands.
pub fn folder_of(path: &Path) -> &Path {
    match path.parent() {
        Some(parent) if !parent.as_os_str().is_empty() => parent,
        _ => Path::new("."),
    }
}

/// True when both paths lead to one file, or would when it is written: links are followed as far as they lead, also those that
/// lead to no file yet. Of files that are not there yet, names that differ in capitals only count as one: some file systems make
/// one file of them.
pub fn same_file(one: &Path, other: &Path) -> bool {
    if one == other {
        return true;
    }
    let (one, other) = (followed(one), followed(other));
    match (one.canonicalize(), other.canonicalize()) {
        (Ok(one), Ok(other)) => one == other,
        _ => {
            let folder = |path: &Path| folder_of(path).canonicalize().ok();
            let name = |path: &Path| Some(path.file_name()?.to_string_lossy().to_lowercase());
            name(&one) == name(&other) && folder(&one).is_some_and(|f| Some(f) == folder(&other))
        }
    }
}

/// Most links that are followed one after the other, as on common systems.
const MOST_LINKS: usize = 40;

/// Where a path leads when its last part is a link, or a chain of them, to a file that may not be there yet.
pub(super) fn followed(path: &Path) -> PathBuf {
    let mut path = path.to_owned();
    for _ in 0..MOST_LINKS {
        let Ok(target) = std::fs::read_link(&path) else {
            break;
        };
        path = folder_of(&path).join(target);
    }
    path
}

/// True when `file`, joined to `folder`, stays inside it. Links are followed before it is judged, so that none leads
/// out unseen; a file that is not there is judged by its name, which may not climb.
pub fn is_inside(folder: &Path, file: &Path) -> bool {
    let path = folder.join(file);
    match (folder.canonicalize(), path.canonicalize()) {
        (Ok(folder), Ok(real)) => real.starts_with(folder),
        _ => file
            .components()
            .all(|c| matches!(c, Component::Normal(_) | Component::CurDir)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::fs;

    #[test]
    fn places_that_take_no_file_are_told_before_the_work() {
        let folder = tempfile::tempdir().unwrap();
        let refusal = |path: &Path| check_place(path).unwrap_err().to_string();
        assert!(refusal(&folder.path().join("no/such/m.json")).contains("make it first"));
        assert!(refusal(folder.path()).contains("folder"));
        let file = folder.path().join("file");
        fs::write(&file, "x").unwrap();
        assert!(check_place(&file).is_ok());
        let under = refusal(&file.join("m.json"));
        assert!(under.contains("irectory"), "{under}");
        let long = refusal(&folder.path().join("n".repeat(300)));
        assert!(long.contains("too long"), "{long}");
        let mut permissions = fs::metadata(&file).unwrap().permissions();
        permissions.set_readonly(true);
        fs::set_permissions(&file, permissions).unwrap();
        assert!(refusal(&file).contains("write-protected"));
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1);
        #[cfg(unix)]
        assert!(refusal(Path::new("/dev/null")).contains("device"));
    }

    #[test]
    fn a_path_is_inside_or_not_whatever_its_links_and_dots() {
        let outer = tempfile::tempdir().unwrap();
        let inner = outer.path().join("inner");
        fs::create_dir(&inner).unwrap();
        fs::write(inner.join("a"), "").unwrap();
        fs::write(outer.path().join("b"), "").unwrap();
        for (file, inside) in [
            ("a", true),
            ("./a", true),
            ("../inner/a", true),
            ("../b", false),
            ("../none", false),
            ("none", true),
        ] {
            assert_eq!(is_inside(&inner, Path::new(file)), inside, "{file}");
        }
        assert!(!is_inside(&inner, &outer.path().join("b")));
        assert!(!is_inside(&inner, Path::new("/no/such/file")));
        #[cfg(unix)]
        {
            std::os::unix::fs::symlink("../b", inner.join("link")).unwrap();
            assert!(!is_inside(&inner, Path::new("link")));
            std::os::unix::fs::symlink("a", inner.join("within")).unwrap();
            assert!(is_inside(&inner, Path::new("within")));
            assert!(same_file(&inner.join("within"), &inner.join("a")));
            std::os::unix::fs::symlink("new", inner.join("dangling")).unwrap();
            std::os::unix::fs::symlink("dangling", inner.join("twice")).unwrap();
            assert!(same_file(&inner.join("twice"), &inner.join("new")));
            assert!(!same_file(&inner.join("twice"), &inner.join("a")));
        }
        assert!(same_file(&inner.join("new"), &inner.join("../inner/new")));
        assert!(!same_file(&inner.join("new"), &inner.join("a")));
        assert!(same_file(&inner.join("new"), &inner.join("NEW")));
    }
}
