//! Data sets and stored answers from `fixtures/agreement/`.

use serde_json::Value;

fn text(file: &str) -> String {
    let path = format!("{}/fixtures/agreement/{file}", env!("CARGO_MANIFEST_DIR"));
    std::fs::read_to_string(&path).unwrap_or_else(|e| panic!("{path}: {e}"))
}

/// A CSV file's rows without its heading.
pub fn rows(file: &str) -> Vec<Vec<String>> {
    text(file).lines().skip(1).map(|l| l.split(',').map(str::to_owned).collect()).collect()
}

/// One column of a CSV file as numbers.
pub fn column(file: &str, index: usize) -> Vec<f64> {
    rows(file).iter().map(|r| r[index].parse().unwrap()).collect()
}

/// A CSV file with a name column and a value column.
pub fn named(file: &str, name: usize, value: usize) -> Vec<(String, f64)> {
    rows(file).iter().map(|r| (r[name].clone(), r[value].parse().unwrap())).collect()
}

/// The same, borrowed.
pub fn borrowed(rows: &[(String, f64)]) -> Vec<(&str, f64)> {
    rows.iter().map(|(n, v)| (n.as_str(), *v)).collect()
}

/// Part of a JSON file.
pub fn answers(file: &str, pointer: &str) -> Value {
    let all: Value = serde_json::from_str(&text(file)).unwrap();
    all.pointer(pointer).unwrap_or_else(|| panic!("{file} has no {pointer}")).clone()
}

/// A number in a JSON value.
pub fn number(value: &Value, pointer: &str) -> f64 {
    value.pointer(pointer).and_then(Value::as_f64).unwrap_or_else(|| panic!("no number at {pointer}"))
}

/// All numbers of a JSON array.
pub fn numbers(value: &Value, pointer: &str) -> Vec<f64> {
    let list =
        value.pointer(pointer).and_then(Value::as_array).unwrap_or_else(|| panic!("no list at {pointer}"));
    list.iter().map(|v| v.as_f64().unwrap()).collect()
}

/// Fails unless `got` is `want` within `relative` of it.
#[track_caller]
pub fn close(got: f64, want: f64, relative: f64) {
    assert!((got - want).abs() <= relative * want.abs().max(1e-300), "got {got}, want {want}");
}

/// Fails unless `got` rounds to `want` at its `decimals`.
#[track_caller]
pub fn printed(got: f64, want: f64, decimals: i32) {
    let unit = 10f64.powi(-decimals);
    assert!(((got / unit).round() * unit - want).abs() < 0.51 * unit, "got {got}, printed as {want}");
}

/// Fails unless `got` rounds to what a published answer in `answers.json` says.
#[track_caller]
pub fn as_published(got: f64, answer: &Value) {
    printed(got, number(answer, "/published"), number(answer, "/decimals") as i32);
}
