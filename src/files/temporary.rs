//! Temporary files, in the folder of the file that they become.

use std::ffi::OsStr;
use std::fs::Permissions;
use std::io;
use std::path::Path;
use tempfile::NamedTempFile;

/// Begin and end of the name of a temporary file.
const TEMPORARY: (&str, &str) = (".rundown-", ".tmp");

/// True for the name of a file that a kill in the middle of a write left behind.
pub(crate) fn is_temporary(name: &OsStr) -> bool {
    let name = name.to_string_lossy();
    name.starts_with(TEMPORARY.0) && name.ends_with(TEMPORARY.1)
}

/// An empty temporary file, which takes itself away when dropped.
pub(crate) fn temporary(
    folder: &Path,
    permissions: Option<Permissions>,
) -> io::Result<NamedTempFile> {
    let mut builder = tempfile::Builder::new();
    builder.prefix(TEMPORARY.0).suffix(TEMPORARY.1);
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        // Temporary files are private by default; a result is as readable as the user's mask allows.
        builder.permissions(permissions.unwrap_or_else(|| Permissions::from_mode(0o666)));
    }
    #[cfg(not(unix))]
    drop(permissions);
    builder.tempfile_in(folder)
}
