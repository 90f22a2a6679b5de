//! `rundown lot` on folders of drawn motors: failures kept apart, work not done twice, the same bits however it is shared out.

#[cfg(target_os = "linux")]
mod signals;

use std::collections::BTreeMap;
use std::path::Path;
use std::process::Command;
use testbench::{Layout, draw, presets, write_folder};

fn program() -> Command {
    Command::new(env!("CARGO_BIN_EXE_rundown"))
}

/// `count` motors with small captures, each in a folder of its own.
fn shelf(root: &Path, count: usize) {
    for (k, scenario) in presets::shelf(count).iter().enumerate() {
        let drawn = draw(scenario, 100 + k as u64).expect("a bench");
        let folder = root.join(format!("m{k:02}"));
        write_folder(&drawn, &folder, &[Layout::HeaderWithUnits]).expect("a folder");
    }
}

fn lot(manifest: &Path, output: &Path, more: &[&str]) -> (String, i32) {
    let ran = program()
        .arg("lot")
        .arg(manifest)
        .arg("-o")
        .arg(output)
        .args(more)
        .output()
        .expect("the program runs");
    let text = String::from_utf8_lossy(&ran.stdout).into_owned();
    let errors = String::from_utf8_lossy(&ran.stderr).into_owned();
    let words: Vec<&str> = text
        .split_whitespace()
        .chain(errors.split_whitespace())
        .collect();
    (words.join(" "), ran.status.code().unwrap_or(-1))
}

/// Every file below a folder of results with its bytes.
fn files(root: &Path) -> BTreeMap<String, Vec<u8>> {
    let mut out = BTreeMap::new();
    let mut stack = vec![root.to_owned()];
    while let Some(folder) = stack.pop() {
        for item in std::fs::read_dir(folder).expect("a folder") {
            let path = item.expect("an item").path();
            if path.is_dir() {
                stack.push(path);
            } else {
                let name = path
                    .strip_prefix(root)
                    .expect("below")
                    .display()
                    .to_string();
                out.insert(name, std::fs::read(&path).expect("a file"));
            }
        }
    }
    out
}

#[test]
fn a_shelf_is_fitted_resumed_and_shared_out_with_the_same_bits() {
    let folder = tempfile::tempdir().expect("a folder");
    let shelf_at = folder.path().join("shelf");
    shelf(&shelf_at, 6);
    // One motor whose capture is missing, one whose sheet is no TOML.
    std::fs::remove_file(shelf_at.join("m02/brake.csv")).expect("there");
    std::fs::create_dir_all(shelf_at.join("m99")).expect("a folder");
    std::fs::write(shelf_at.join("m99/bench.toml"), "motor = [").expect("written");

    let one = folder.path().join("one");
    let (text, status) = lot(&shelf_at, &one, &["-j", "1"]);
    assert_eq!(status, 1, "{text}");
    assert!(
        text.starts_with("7 motors: 5 OK, 0 in conflict, 2 failed "),
        "{text}"
    );
    assert!(
        text.contains("m02/bench.toml): failed: ") && text.contains("brake.csv"),
        "{text}"
    );
    assert!(
        text.contains("m99/bench.toml): failed: ") && text.contains("not TOML"),
        "{text}"
    );
    assert!(text.contains("R at 25 °C 5 "), "{text}");
    let table = std::fs::read_to_string(one.join("motors.csv")).expect("a table");
    assert_eq!(table.lines().count(), 8);
    assert!(table.starts_with("row,motor,source,order,outcome,reason,terminal_resistance_ohm,"));
    assert!(
        table.contains("stirrer 3,m03/bench.toml,3.0,OK,,"),
        "{table}"
    );
    let summary: serde_json::Value =
        serde_json::from_slice(&std::fs::read(one.join("lot.json")).expect("a summary"))
            .expect("JSON");
    assert_eq!(summary["format"], "rundown-lot/1");
    assert_eq!(summary["counts"]["stand"], 5);
    assert!(
        summary["parameters"][0]["spread"]["deviation"]
            .as_f64()
            .expect("a number")
            < 0.1
    );

    // Nothing changed: nothing is done again, and the results keep their bits.
    let before = files(&one);
    let (text, _) = lot(&shelf_at, &one, &[]);
    assert!(
        text.contains("7 were done before and are unchanged"),
        "{text}"
    );
    let motors = |files: &BTreeMap<String, Vec<u8>>| -> BTreeMap<String, Vec<u8>> {
        let kept = files.iter().filter(|f| f.0.starts_with("motors"));
        kept.map(|(name, bytes)| (name.clone(), bytes.clone()))
            .collect()
    };
    assert_eq!(motors(&before), motors(&files(&one)));

    // Two parts on two threads, then joined in one folder: the same bits as on one thread.
    let two = folder.path().join("two");
    for part in ["2/2", "1/2"] {
        let (text, _) = lot(&shelf_at, &two, &["--part", part, "-j", "2"]);
        assert!(text.contains("motors: "), "{text}");
    }
    let (text, _) = lot(&shelf_at, &two, &[]);
    assert!(text.contains("7 were done before"), "{text}");
    // Summaries, too: nothing in them tells how the work was shared out.
    assert_eq!(before, files(&one));
    assert_eq!(before, files(&two));

    // A byte of one capture, and that motor alone is done again.
    let path = shelf_at.join("m04/start.csv");
    let mut bytes = std::fs::read(&path).expect("a capture");
    bytes.push(b'\n');
    std::fs::write(&path, bytes).expect("written");
    let (text, _) = lot(&shelf_at, &one, &[]);
    assert!(text.contains("6 were done before"), "{text}");
    // A motor file that was touched is made again.
    let touched = motors(&files(&one))
        .into_keys()
        .find(|name| name.ends_with(".json") && !name.ends_with(".record.json"))
        .expect("a motor file");
    std::fs::write(one.join(touched), "{}").expect("written");
    let (text, _) = lot(&shelf_at, &one, &[]);
    assert!(text.contains("6 were done before"), "{text}");
}

#[test]
fn one_sheet_serves_many_motors_named_in_a_table() {
    let folder = tempfile::tempdir().expect("a folder");
    shelf(folder.path(), 3);
    let sheet = std::fs::read_to_string(folder.path().join("m00/bench.toml")).expect("a sheet");
    std::fs::write(folder.path().join("station.toml"), sheet).expect("written");
    let table = "motor,order,sheet,folder\nSN7,3.5,station.toml,m01\nSN8,1,station.toml,m02\n";
    let manifest = folder.path().join("lot.csv");
    std::fs::write(&manifest, table).expect("written");
    let output = folder.path().join("results");
    let (text, status) = lot(&manifest, &output, &[]);
    assert_eq!(status, 0, "{text}");
    let table = std::fs::read_to_string(output.join("motors.csv")).expect("a table");
    assert!(
        table.contains("\n0,SN7,station.toml in m01,3.5,OK,"),
        "{table}"
    );
    assert!(
        table.contains("\n1,SN8,station.toml in m02,1.0,OK,"),
        "{table}"
    );
    // The motor files are as `fit` writes them.
    let motor = files(&output)
        .into_keys()
        .find(|name| name.contains("SN7") && !name.ends_with(".record.json"))
        .expect("a motor file");
    let file = rundown::motor_file::read(&output.join(motor)).expect("a motor file");
    assert_eq!(file.motor_name(), "SN7");
}

#[test]
fn what_is_no_lot_is_told_before_any_work() {
    let folder = tempfile::tempdir().expect("a folder");
    let output = folder.path().join("out");
    let empty = folder.path().join("empty");
    std::fs::create_dir(&empty).expect("a folder");
    let (text, status) = lot(&empty, &output, &[]);
    assert_eq!(status, 2);
    assert!(text.contains("no bench sheet in it"), "{text}");
    let (text, status) = lot(&folder.path().join("nowhere"), &output, &[]);
    assert_eq!(status, 2);
    assert!(text.contains("the manifest cannot be read"), "{text}");
    let table = folder.path().join("lot.csv");
    std::fs::write(&table, "sheet,order\na.toml,1\nb.toml,x\n").expect("written");
    let (text, _) = lot(&table, &output, &[]);
    assert!(
        text.contains("lot.csv:3: column `order` holds \"x\""),
        "{text}"
    );
    assert!(!output.exists());
    std::fs::create_dir(&output).expect("a folder");
    std::fs::write(output.join("thesis.txt"), "mine").expect("written");
    std::fs::write(&table, "sheet\na.toml\n").expect("written");
    let (text, _) = lot(&table, &output, &[]);
    assert!(text.contains("is no folder of a lot"), "{text}");
    let (text, _) = lot(&table, &output, &["--part", "3/2"]);
    assert!(text.contains("there is no part 3 of 2"), "{text}");
}

#[test]
fn a_parquet_manifest_and_table_say_the_same_as_csv() {
    use polars::prelude::{Column, DataFrame, DataType, ParquetReader, ParquetWriter, SerReader};
    use std::fs::File;

    let folder = tempfile::tempdir().expect("a folder");
    shelf(folder.path(), 2);
    let sheet = std::fs::read_to_string(folder.path().join("m00/bench.toml")).expect("a sheet");
    std::fs::write(folder.path().join("station.toml"), sheet).expect("written");
    let (as_csv, as_parquet) = (
        folder.path().join("lot.csv"),
        folder.path().join("lot.parquet"),
    );
    // The second motor has no captures: its numbers are unknown in both tables.
    let table = "motor,order,sheet,folder\nSN7,3.5,station.toml,m01\nSN8,1,station.toml,m77\n";
    std::fs::write(&as_csv, table).expect("written");
    let columns = vec![
        Column::new("motor".into(), ["SN7", "SN8"]),
        Column::new("order".into(), [3.5, 1.0]),
        Column::new("sheet".into(), ["station.toml", "station.toml"]),
        Column::new("folder".into(), ["m01", "m77"]),
    ];
    let mut manifest = DataFrame::new(2, columns).expect("a table");
    let file = File::create(&as_parquet).expect("a file");
    ParquetWriter::new(file)
        .finish(&mut manifest)
        .expect("written");

    let (by_csv, by_parquet) = (folder.path().join("one"), folder.path().join("two"));
    for (manifest, output) in [(&as_csv, &by_csv), (&as_parquet, &by_parquet)] {
        let (text, status) = lot(manifest, output, &[]);
        assert_eq!(status, 1, "{text}");
        assert!(
            text.contains("2 motors: 1 OK, 0 in conflict, 1 failed"),
            "{text}"
        );
    }
    let rows = std::fs::read_to_string(by_csv.join("motors.csv")).expect("a table");
    let same = std::fs::read_to_string(by_parquet.join("motors.csv")).expect("a table");
    assert_eq!(rows, same);

    // Every cell of the Parquet table, numbers to the last bit.
    let file = File::open(by_parquet.join("motors.parquet")).expect("a table");
    let parquet = ParquetReader::new(file).finish().expect("a Parquet table");
    let mut reader = csv::Reader::from_reader(rows.as_bytes());
    let names: Vec<String> = parquet
        .get_column_names()
        .into_iter()
        .map(|name| name.to_string())
        .collect();
    let head = reader.headers().expect("a head line").clone();
    assert_eq!(names, head.iter().collect::<Vec<_>>());
    let rows: Vec<csv::StringRecord> = reader.records().map(|r| r.expect("a row")).collect();
    assert_eq!((rows.len(), parquet.height()), (2, 2));
    let mut numbers = 0;
    for (at, column) in parquet.columns().iter().enumerate() {
        let texts = column.cast(&DataType::String).expect("text");
        let texts = texts.str().expect("text");
        for (row, cells) in rows.iter().enumerate() {
            let (csv, parquet) = (&cells[at], texts.get(row).unwrap_or_default());
            match (csv.parse::<f64>(), parquet.parse::<f64>()) {
                (Ok(csv), Ok(parquet)) => {
                    assert_eq!(csv.to_bits(), parquet.to_bits(), "{}", head[at].to_owned());
                    numbers += 1;
                }
                _ => assert_eq!(csv, parquet, "{}", head[at].to_owned()),
            }
        }
    }
    assert!(numbers > 40, "{numbers}");
}

#[cfg(target_os = "linux")]
#[test]
fn an_interrupt_keeps_the_motors_that_are_done_and_sums_them_up() {
    let folder = tempfile::tempdir().expect("a folder");
    let shelf_at = folder.path().join("shelf");
    shelf(&shelf_at, 12);
    let output = folder.path().join("results");
    let running = program()
        .arg("lot")
        .arg(&shelf_at)
        .arg("-o")
        .arg(&output)
        .args(["-j", "1"])
        .stdout(std::process::Stdio::piped())
        .stderr(std::process::Stdio::piped())
        .spawn()
        .expect("the program runs");
    let records = || {
        let all = files(&output).into_keys();
        all.filter(|name| name.ends_with(".record.json")).count()
    };
    while !output.join("motors").is_dir() || records() < 2 {
        std::thread::sleep(std::time::Duration::from_millis(2));
    }
    signals::interrupt(&running);
    let ran = running.wait_with_output().expect("the program ends");
    let errors = String::from_utf8_lossy(&ran.stderr);
    assert_eq!(ran.status.code(), Some(1), "{errors}");

    let done = records();
    assert!((2..12).contains(&done), "{done}");
    let told = format!("interrupted: {} of 12 motors have no result", 12 - done);
    assert!(errors.contains(&told), "{errors}");
    let text = String::from_utf8_lossy(&ran.stdout);
    assert!(text.starts_with(&format!("{done} motors: ")), "{text}");
    let table = std::fs::read_to_string(output.join("motors.csv")).expect("a table");
    assert_eq!(table.lines().count(), 1 + done);
    let left = files(&output).into_keys();
    let left: Vec<String> = left.filter(|name| name.ends_with(".tmp")).collect();
    assert!(left.is_empty(), "{left:?}");

    let (text, _) = lot(&shelf_at, &output, &[]);
    assert!(text.starts_with("12 motors: "), "{text}");
    assert!(text.contains(&format!("{done} were done before")), "{text}");
}
