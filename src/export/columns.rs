//! Tables written batch by batch, as CSV and as Parquet, both whole or not at all.

use super::rows::harmless;
use crate::files::{folder_of, temporary};
use polars::io::parquet::write::BatchedWriter;
use polars::prelude::*;
use std::fs::File;
use std::io;
use std::path::{Path, PathBuf};

/// Cells of one column of a batch. What is unknown is an empty cell.
#[derive(Clone, Debug, PartialEq)]
pub enum Cells {
    Text(Vec<Option<String>>),
    Number(Vec<Option<f64>>),
    Count(Vec<Option<u64>>),
}

impl Cells {
    /// Text that no spreadsheet runs, see [`harmless`].
    fn harmless(self) -> Cells {
        match self {
            Cells::Text(cells) => Cells::Text(
                cells
                    .into_iter()
                    .map(|cell| cell.map(|text| harmless(&text).into_owned()))
                    .collect(),
            ),
            other => other,
        }
    }

    fn column(self, name: &str) -> Column {
        match self {
            Cells::Text(cells) => Column::new(name.into(), cells),
            Cells::Number(cells) => Column::new(name.into(), cells),
            Cells::Count(cells) => Column::new(name.into(), cells),
        }
    }

    fn len(&self) -> usize {
        match self {
            Cells::Text(cells) => cells.len(),
            Cells::Number(cells) => cells.len(),
            Cells::Count(cells) => cells.len(),
        }
    }
}

/// A table under way. Nothing stands at the target before [`TableWriter::finish`].
pub struct TableWriter {
    target: PathBuf,
    csv: tempfile::NamedTempFile,
    head: bool,
    parquet: Option<(BatchedWriter<File>, tempfile::NamedTempFile)>,
}

fn other(error: impl std::fmt::Display) -> io::Error {
    io::Error::other(error.to_string())
}

impl TableWriter {
    /// Begins a table at `target`, whose ending is replaced by `csv` and `parquet`.
    ///
    /// # Errors
    /// When no file can be made in the folder.
    pub fn create(target: &Path) -> io::Result<TableWriter> {
        Ok(TableWriter {
            target: target.to_owned(),
            csv: temporary(folder_of(target), None)?,
            head: true,
            parquet: None,
        })
    }

    /// Adds rows; the columns are those of the first batch.
    ///
    /// # Errors
    /// What the file system refuses; columns of different lengths.
    pub fn append(&mut self, columns: Vec<(String, Cells)>) -> io::Result<()> {
        let rows = columns.first().map_or(0, |c| c.1.len());
        let plain = columns.clone();
        let columns = columns
            .into_iter()
            .map(|(name, cells)| cells.harmless().column(&name))
            .collect();
        let mut frame = DataFrame::new(rows, columns).map_err(other)?;
        CsvWriter::new(self.csv.as_file_mut())
            .include_header(self.head)
            .finish(&mut frame)
            .map_err(other)?;
        self.head = false;
        {
            let columns = plain
                .into_iter()
                .map(|(name, cells)| cells.column(&name))
                .collect();
            let frame = DataFrame::new(rows, columns).map_err(other)?;
            if self.parquet.is_none() {
                let file = temporary(folder_of(&self.target), None)?;
                let writer = ParquetWriter::new(file.reopen()?)
                    .batched(frame.schema())
                    .map_err(other)?;
                self.parquet = Some((writer, file));
            }
            if let Some((writer, _)) = &mut self.parquet {
                writer.write_batch(&frame).map_err(other)?;
            }
        }
        Ok(())
    }

    /// Puts the table in its place. Gives the files written.
    ///
    /// # Errors
    /// What the file system refuses; the target is then as it was.
    pub fn finish(self) -> io::Result<Vec<PathBuf>> {
        let put = |file: tempfile::NamedTempFile, ending: &str| -> io::Result<PathBuf> {
            let path = self.target.with_extension(ending);
            file.as_file().sync_all()?;
            file.persist(&path).map_err(|error| error.error)?;
            Ok(path)
        };
        let mut written = vec![put(self.csv, "csv")?];
        if let Some((writer, file)) = self.parquet {
            writer.finish().map_err(other)?;
            written.push(put(file, "parquet")?);
        }
        written.sort_unstable();
        Ok(written)
    }
}

/// Names of the columns of a Parquet table, and its rows as text; an unknown cell is empty.
pub type TextTable = (Vec<String>, Vec<Vec<String>>);

/// A Parquet table as text.
///
/// # Errors
/// Why it cannot be read.
pub fn parquet_text(path: &Path) -> Result<TextTable, String> {
    let file = crate::files::open_regular(path).map_err(|e| e.to_string())?;
    let frame = ParquetReader::new(file)
        .finish()
        .map_err(|e| e.to_string())?;
    let names = frame
        .get_column_names()
        .into_iter()
        .map(|name| name.to_string())
        .collect();
    let columns: Vec<Column> = frame
        .columns()
        .iter()
        .map(|column| column.cast(&DataType::String))
        .collect::<PolarsResult<_>>()
        .map_err(|e| e.to_string())?;
    let texts: Vec<&StringChunked> = columns
        .iter()
        .map(|column| column.str())
        .collect::<PolarsResult<_>>()
        .map_err(|e| e.to_string())?;
    let rows = (0..frame.height())
        .map(|row| {
            texts
                .iter()
                .map(|column| column.get(row).unwrap_or_default().to_owned())
                .collect()
        })
        .collect();
    Ok((names, rows))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn batches_make_one_table_with_one_head_and_empty_cells_where_nothing_is_known() {
        let folder = tempfile::tempdir().unwrap();
        let target = folder.path().join("motors.csv");
        let mut writer = TableWriter::create(&target).unwrap();
        for (motor, value) in [("a,b", Some(0.1)), ("c", None)] {
            assert!(!target.exists());
            writer
                .append(vec![
                    ("motor".into(), Cells::Text(vec![Some(motor.into())])),
                    ("r_ohm".into(), Cells::Number(vec![value])),
                    ("count".into(), Cells::Count(vec![Some(2)])),
                ])
                .unwrap();
        }
        let written = writer.finish().unwrap();
        assert!(written.contains(&target));
        let text = std::fs::read_to_string(&target).unwrap();
        assert_eq!(text, "motor,r_ohm,count\n\"a,b\",0.1,2\nc,,2\n");
        assert_eq!(
            std::fs::read_dir(folder.path()).unwrap().count(),
            written.len()
        );
    }
}
