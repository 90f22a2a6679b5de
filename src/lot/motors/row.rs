//! What is kept of one motor, read back.

use crate::lot::{Entry, LotError, MotorRecord, Store};
use crate::motor_file::MotorFile;

/// A motor that is done.
pub(crate) struct Row {
    pub entry: Entry,
    pub record: MotorRecord,
    /// Absent where the motor failed.
    pub file: Option<MotorFile>,
}

impl Row {
    /// The results of a motor; `None` where it is not done.
    pub fn read(store: &Store, entry: &Entry) -> Result<Option<Row>, LotError> {
        let id = entry.id();
        let Some(record) = store.record(&id) else {
            return Ok(None);
        };
        let file = match record.motor_file_sha256 {
            Some(_) => Some(store.motor_file(&id)?),
            None => None,
        };
        Ok(Some(Row {
            entry: entry.clone(),
            record,
            file,
        }))
    }
}
