//! Documents against the published schema of the motor file, by the Python package `jsonschema`.

use serde_json::{Value, json};
use std::io::Write;
use std::path::Path;
use std::process::{Command, Stdio};

/// Of each document, what the schema finds wrong with it.
pub fn faults(documents: &[Value]) -> Vec<Vec<String>> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let schema = include_str!("../../docs/motor_file.schema.json");
    let schema: Value = serde_json::from_str(schema).expect("the schema is JSON");
    let mut checker = Command::new("python3")
        .arg(root.join("tests/schema/check.py"))
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("python3 starts");
    let question = json!({"schema": schema, "documents": documents}).to_string();
    let mut stdin = checker.stdin.take().expect("a pipe");
    stdin.write_all(question.as_bytes()).expect("written");
    drop(stdin);
    let answer = checker.wait_with_output().expect("python3 ends");
    assert!(answer.status.success(), "see scripts/install_test_tools");
    let faults: Vec<Vec<String>> = serde_json::from_slice(&answer.stdout).expect("a list");
    assert_eq!(faults.len(), documents.len());
    faults
}
