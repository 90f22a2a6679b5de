//! A hash of all that decides a motor's result: program version, settings, bench sheet, captures.

use crate::files::{hex, open_regular, sha256};
use crate::lot::{Entry, Work};
use sha2::{Digest, Sha256};
use std::io::Read;
use std::path::Path;

/// The fingerprint of a motor as its files are now. What cannot be read counts as absent, so that a failure is tried
/// again as soon as the file is there.
pub(crate) fn of_files(entry: &Entry, settings: &str) -> String {
    let mut digest = Sha256::new();
    put(&mut digest, env!("CARGO_PKG_VERSION"));
    put(&mut digest, settings);
    match &entry.work {
        Work::Sheet { path, folder } => {
            let bytes = open_regular(path).and_then(|mut file| {
                let mut bytes = Vec::new();
                file.read_to_end(&mut bytes)?;
                Ok(bytes)
            });
            let Ok(bytes) = bytes else {
                put(&mut digest, "no sheet");
                return hex(&digest.finalize());
            };
            put(&mut digest, &hex(&Sha256::digest(&bytes)));
            let own = path.parent().unwrap_or(Path::new(""));
            let folder = folder.as_deref().unwrap_or(own);
            for file in captures_of(&bytes) {
                put(&mut digest, &file);
                put(&mut digest, &hash_of(&folder.join(&file)));
            }
        }
        Work::Quick(run) => {
            // Everything but the paths, which differ from machine to machine.
            let mut told = (**run).clone();
            told.captures.clear();
            put(&mut digest, &format!("{told:?}"));
            for (role, path) in &run.captures {
                put(&mut digest, role.name());
                put(&mut digest, &hash_of(path));
            }
        }
    }
    hex(&digest.finalize())
}

/// The capture files that a sheet names, as written there; none where it is no TOML.
fn captures_of(sheet: &[u8]) -> Vec<String> {
    let text = String::from_utf8_lossy(sheet.strip_prefix(b"\xef\xbb\xbf").unwrap_or(sheet));
    let Ok(table) = text.parse::<toml::Table>() else {
        return Vec::new();
    };
    let captures = table.get("captures").and_then(|c| c.as_array());
    captures
        .into_iter()
        .flatten()
        .filter_map(|capture| Some(capture.get("file")?.as_str()?.to_owned()))
        .collect()
}

fn hash_of(path: &Path) -> String {
    sha256(path).unwrap_or_else(|_| "absent".to_owned())
}

/// A text with its length in front, so that no two lists of texts look alike.
fn put(digest: &mut Sha256, text: &str) {
    digest.update((text.len() as u64).to_le_bytes());
    digest.update(text.as_bytes());
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn any_byte_of_sheet_or_capture_and_any_setting_changes_it() {
        let folder = tempfile::tempdir().unwrap();
        let sheet = folder.path().join("bench.toml");
        let write =
            |name: &str, text: &str| std::fs::write(folder.path().join(name), text).unwrap();
        write(
            "bench.toml",
            "[[captures]]\nfile = \"a.csv\"\nrole = \"start\"\n",
        );
        let entry = Entry::of_sheet(0, folder.path(), sheet);
        let mut seen = vec![of_files(&entry, "level 0.95")];
        let mut changed = |settings: &str| {
            let now = of_files(&entry, settings);
            assert!(!seen.contains(&now));
            assert_eq!(now, of_files(&entry, settings));
            seen.push(now);
        };
        changed("level 0.9");
        write("a.csv", "1,2\n");
        changed("level 0.95");
        write("a.csv", "1,3\n");
        changed("level 0.95");
        write(
            "bench.toml",
            "[[captures]]\nfile = \"a.csv\"\nrole = \"brake\"\n",
        );
        changed("level 0.95");
        std::fs::remove_file(folder.path().join("bench.toml")).unwrap();
        changed("level 0.95");
    }
}
