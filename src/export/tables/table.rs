//! Tables as CSV and as Parquet.
//!
//! CSV is read by spreadsheets, which run text that begins like a formula; there it is made [`harmless`]. Parquet keeps text
//! as it is.

use crate::files::{folder_of, temporary};
use crate::quantity::{is_invisible, one_line};
use polars::io::csv::write::BatchedWriter as CsvBatches;
use polars::io::parquet::write::BatchedWriter as ParquetBatches;
use polars::prelude::*;
use std::borrow::Cow;
use std::fs::File;
use std::io;
use std::path::{Path, PathBuf};
use tempfile::NamedTempFile;

/// Text that a spreadsheet takes for text, on one line. One that it would run as a formula (it begins with `=`, `+`, `-` or `@`, also
/// in their wide forms and behind blanks or invisible characters) gets an apostrophe in front.
pub fn harmless(text: &str) -> Cow<'_, str> {
    let formula = |c: char| matches!(c, '=' | '+' | '-' | '@' | '＝' | '＋' | '－' | '＠');
    let seen = text.trim_start_matches(|c: char| c.is_whitespace() || is_invisible(c));
    if seen.starts_with(formula) {
        Cow::Owned(format!("'{}", one_line(text)))
    } else {
        one_line(text)
    }
}

fn harmless_table(table: &DataFrame) -> PolarsResult<DataFrame> {
    let columns = table.apply_columns(|column| match column.str() {
        Ok(texts) => texts.apply_values(harmless).into_column(),
        Err(_) => column.clone(),
    });
    DataFrame::new(table.height(), columns)
}

/// A table as CSV with a head line.
///
/// # Errors
/// What polars refuses.
pub fn csv(table: &DataFrame) -> PolarsResult<Vec<u8>> {
    let mut bytes = Vec::new();
    CsvWriter::new(&mut bytes).finish(&mut harmless_table(table)?)?;
    Ok(bytes)
}

/// A table as Parquet.
///
/// # Errors
/// What polars refuses.
pub fn parquet(table: &mut DataFrame) -> PolarsResult<Vec<u8>> {
    let mut bytes = Vec::new();
    ParquetWriter::new(&mut bytes).finish(table)?;
    Ok(bytes)
}

/// A table under way, written batch by batch as CSV and as Parquet. Nothing stands at the targets before
/// [`TableWriter::finish`].
pub struct TableWriter {
    target: PathBuf,
    csv: (CsvBatches<File>, NamedTempFile),
    parquet: (ParquetBatches<File>, NamedTempFile),
}

impl TableWriter {
    /// Begins a table of these columns at `target`, whose ending is replaced by `csv` and `parquet`.
    ///
    /// # Errors
    /// When no file can be made in the folder.
    pub fn create(target: &Path, schema: &Schema) -> io::Result<TableWriter> {
        let file = || temporary(folder_of(target), None);
        let (csv, parquet) = (file()?, file()?);
        Ok(TableWriter {
            target: target.to_owned(),
            csv: (
                CsvWriter::new(csv.reopen()?)
                    .batched(schema)
                    .map_err(io::Error::other)?,
                csv,
            ),
            parquet: (
                ParquetWriter::new(parquet.reopen()?)
                    .batched(schema)
                    .map_err(io::Error::other)?,
                parquet,
            ),
        })
    }

    /// Adds rows.
    ///
    /// # Errors
    /// What the file system refuses; other columns than those of the table.
    pub fn append(&mut self, batch: &DataFrame) -> io::Result<()> {
        let csv = harmless_table(batch).map_err(io::Error::other)?;
        self.csv.0.write_batch(&csv).map_err(io::Error::other)?;
        self.parquet.0.write_batch(batch).map_err(io::Error::other)
    }

    /// Puts the table in its place. Gives the files written.
    ///
    /// # Errors
    /// What the file system refuses.
    pub fn finish(mut self) -> io::Result<[PathBuf; 2]> {
        self.csv.0.finish().map_err(io::Error::other)?;
        self.parquet.0.finish().map_err(io::Error::other)?;
        let put = |file: NamedTempFile, ending: &str| -> io::Result<PathBuf> {
            let path = self.target.with_extension(ending);
            file.as_file().sync_all()?;
            file.persist(&path).map_err(|error| error.error)?;
            Ok(path)
        };
        Ok([put(self.csv.1, "csv")?, put(self.parquet.1, "parquet")?])
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::export::columns::{count, number, text};

    #[test]
    fn text_is_one_line_that_no_spreadsheet_runs() {
        for (text, expected) in [
            ("pump 7", "pump 7"),
            ("=1+1", "'=1+1"),
            ("\u{200b}\u{a0}=1+1", "'\\u{200b}\u{a0}=1+1"),
            ("a\n=1+1", "a\\u{a}=1+1"),
            ("\t＝1", "'\\u{9}＝1"),
        ] {
            assert_eq!(harmless(text), expected);
        }
    }

    #[test]
    fn batches_make_one_table_with_one_head_and_empty_cells_where_nothing_is_known() {
        let folder = tempfile::tempdir().unwrap();
        let target = folder.path().join("motors.csv");
        let batch = |motor: &str, value: Option<f64>| {
            let columns = vec![
                text("motor", [Some(motor)].into_iter()),
                number("r_ohm", [value].into_iter()),
                count("count", [Some(2)].into_iter()),
            ];
            DataFrame::new(1, columns).unwrap()
        };
        let batches = [batch("a,b", Some(0.1)), batch("=c", None)];
        let mut writer = TableWriter::create(&target, batches[0].schema()).unwrap();
        for batch in &batches {
            assert!(!target.exists());
            writer.append(batch).unwrap();
        }
        let written = writer.finish().unwrap();
        assert!(written.contains(&target));
        let text = std::fs::read_to_string(&target).unwrap();
        assert_eq!(text, "motor,r_ohm,count\n\"a,b\",0.1,2\n'=c,,2\n");
        let parquet = ParquetReader::new(File::open(&written[1]).unwrap())
            .finish()
            .unwrap();
        assert!(parquet.equals_missing(&batches[0].vstack(&batches[1]).unwrap()));
        assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 2);
    }
}
