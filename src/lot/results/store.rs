//! The folder in which a lot's results lie.
//!
//! `lot.json` marks it and holds the summary; `motors/XX/ID.json` is a motor file, `motors/XX/ID.record.json` the record
//! that says how that motor ended. XX, the last two digits of ID, keeps folders small. A record is written last and in one
//! step: what has none is not done.

use super::record::{FORMAT, MotorRecord};
use crate::files::{LARGEST_JSON, hex, is_temporary, open_regular, read_at_most, sha256};
use crate::lot::LotError;
use crate::motor_file::{self, MotorFile, write_atomically};
use sha2::{Digest, Sha256};
use std::io::{self, Read};
use std::path::{Path, PathBuf};

/// Value of `format` in `lot.json`.
pub const LOT_FORMAT: &str = "rundown-lot/1";

/// Results on disk.
#[derive(Clone, Debug)]
pub struct Store {
    folder: PathBuf,
}

impl Store {
    /// Opens a folder of results, or makes one.
    ///
    /// # Errors
    /// [`LotError::File`] where the folder holds other things and `force` is not given; what the file system refuses.
    pub fn open(folder: &Path, force: bool) -> Result<Store, LotError> {
        let store = Store {
            folder: folder.to_owned(),
        };
        let foreign = |reason: &str| {
            let text = format!(
                "is no folder of a lot ({reason}); choose another folder, or pass --force to write into it"
            );
            LotError::file(folder, text)
        };
        let empty = match std::fs::read_dir(folder) {
            Ok(items) => items.flatten().all(|item| is_temporary(&item.file_name())),
            Err(error) if error.kind() == io::ErrorKind::NotFound => true,
            Err(_) if folder.is_file() => {
                let text = "is a file, expected a folder; choose another name".to_owned();
                return Err(LotError::file(folder, text));
            }
            Err(error) => return Err(foreign(&error.to_string())),
        };
        let ours = head_of(&store.path("lot.json")).is_ok_and(|head| head.contains(LOT_FORMAT));
        if !empty && !ours && !force {
            return Err(foreign("it holds files, but no lot.json of this program"));
        }
        let make = |folder: &Path| {
            std::fs::create_dir_all(folder).map_err(|error| LotError::unwritten(folder, error))
        };
        make(folder)?;
        if !ours {
            // First of all, so that a run that is stopped anywhere leaves a folder that the next one knows.
            let mark = format!("{{\"format\": \"{LOT_FORMAT}\"}}\n");
            store.write("lot.json", mark.as_bytes())?;
        }
        make(&folder.join("motors"))?;
        Ok(store)
    }

    /// A file of the lot as a whole.
    pub fn path(&self, name: &str) -> PathBuf {
        self.folder.join(name)
    }

    /// Writes a file of the lot as a whole, in one step.
    ///
    /// # Errors
    /// [`LotError::File`].
    pub fn write(&self, name: &str, bytes: &[u8]) -> Result<(), LotError> {
        let path = self.path(name);
        write_atomically(&path, bytes).map_err(|error| LotError::unwritten(&path, error))
    }

    /// Where the motor file of a motor lies.
    pub fn motor_path(&self, id: &str) -> PathBuf {
        let shard = id.get(id.len().saturating_sub(2)..).unwrap_or("00");
        self.folder
            .join("motors")
            .join(shard)
            .join(format!("{id}.json"))
    }

    fn record_path(&self, id: &str) -> PathBuf {
        self.motor_path(id).with_extension("record.json")
    }

    /// The record of a motor; `None` where there is none, or one that cannot be used.
    pub fn record(&self, id: &str) -> Option<MotorRecord> {
        let bytes = read_at_most(&self.record_path(id), LARGEST_JSON).ok()?;
        let record: MotorRecord = serde_json::from_slice(&bytes).ok()?;
        (record.format == FORMAT).then_some(record)
    }

    /// True when the motor's record has this fingerprint and its motor file is as it was written.
    pub fn is_done(&self, id: &str, fingerprint: &str) -> Option<MotorRecord> {
        let record = self.record(id).filter(|r| r.fingerprint == fingerprint)?;
        let intact = match &record.motor_file_sha256 {
            None => true,
            Some(hash) => sha256(&self.motor_path(id)).is_ok_and(|found| found == *hash),
        };
        intact.then_some(record)
    }

    /// Puts a motor down: motor file first, record last.
    ///
    /// # Errors
    /// [`LotError::File`].
    pub fn put(
        &self,
        id: &str,
        mut record: MotorRecord,
        file: Option<&MotorFile>,
    ) -> Result<(), LotError> {
        let path = self.motor_path(id);
        if let Some(folder) = path.parent() {
            std::fs::create_dir_all(folder).map_err(|e| LotError::unwritten(folder, e))?;
        }
        record.motor_file_sha256 = None;
        if let Some(file) = file {
            let text =
                motor_file::to_text(&path, file).map_err(|e| LotError::unwritten(&path, e))?;
            record.motor_file_sha256 = Some(hex(&Sha256::digest(text.as_bytes())));
            write_atomically(&path, text.as_bytes()).map_err(|e| LotError::unwritten(&path, e))?;
        } else if let Err(error) = std::fs::remove_file(&path)
            && error.kind() != io::ErrorKind::NotFound
        {
            return Err(LotError::unwritten(&path, error));
        }
        let path = self.record_path(id);
        let text = serde_json::to_string_pretty(&record)?;
        write_atomically(&path, text.as_bytes()).map_err(|e| LotError::unwritten(&path, e))
    }

    /// The motor file of a motor that has one.
    ///
    /// # Errors
    /// [`LotError::File`].
    pub fn motor_file(&self, id: &str) -> Result<MotorFile, LotError> {
        let path = self.motor_path(id);
        motor_file::read(&path).map_err(|error| {
            let text = format!("could not be read: {error}. Delete it and run the lot again");
            LotError::file(&path, text)
        })
    }
}

/// Bytes of `lot.json` in which its format stands.
const HEAD: u64 = 4096;

fn head_of(path: &Path) -> io::Result<String> {
    let mut head = Vec::new();
    open_regular(path)?.take(HEAD).read_to_end(&mut head)?;
    Ok(String::from_utf8_lossy(&head).into_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_folder_that_a_kill_left_unfinished_is_taken_and_a_foreign_one_is_not() {
        let folder = tempfile::tempdir().unwrap();
        let at = folder.path().join("lot");
        std::fs::create_dir(&at).unwrap();
        std::fs::write(at.join(".rundown-x1y2z3.tmp"), "{\"for").unwrap();
        Store::open(&at, false).expect("only the remains of a write");
        Store::open(&at, false).expect("its own mark");
        let other = folder.path().join("other");
        std::fs::create_dir(&other).unwrap();
        std::fs::write(other.join("notes.txt"), "mine").unwrap();
        assert!(Store::open(&other, false).is_err());
    }
}
