//! Every row of the optical reference tables. Sources: see fixtures/reference/README.md and
//! the tables' own `source` columns.

use fociline::optics::{PowerMatrix, PowerVector, Prism, SpheroCylinder};
use fociline::parsers::reading::{Base, Eye, PrismPart};
use std::collections::HashMap;

type Row = HashMap<String, String>;

fn rows(text: &str) -> Vec<Row> {
    csv::Reader::from_reader(text.as_bytes()).deserialize().map(Result::unwrap).collect()
}

fn number(row: &Row, column: &str) -> f64 {
    row[column].parse().unwrap_or_else(|_| panic!("row {}: {column} is {:?}", row["id"], row[column]))
}

fn lens(row: &Row, sphere: &str, cylinder: &str, axis: &str) -> SpheroCylinder {
    let axis = Some(&row[axis]).filter(|text| !text.is_empty()).map(|text| text.parse().unwrap());
    SpheroCylinder::new(row[sphere].parse().unwrap(), row[cylinder].parse().unwrap(), axis)
}

fn near(row: &Row, what: &str, got: f64, expected: f64, within: f64) {
    assert!((got - expected).abs() <= within, "row {}: {what} is {got}, expected {expected}", row["id"]);
}

fn same_axis(row: &Row, got: Option<f64>, column: &str) {
    match (got, row[column].as_str()) {
        (None, "") => {}
        (Some(axis), text) if !text.is_empty() => {
            assert!(axis > 0.0 && axis <= 180.0 + 1e-9, "row {}: axis {axis}", row["id"]);
            let apart = (axis - number(row, column) + 90.0).rem_euclid(180.0) - 90.0;
            near(row, column, apart, 0.0, 6e-5);
        }
        (got, text) => panic!("row {}: axis is {got:?}, expected {text:?}", row["id"]),
    }
}

/// Thibos, Wheeler, Horner 1997; values by the power matrix (Long 1976).
#[test]
fn power_vectors() {
    let rows = rows(include_str!("../fixtures/reference/power_vectors.csv"));
    assert_eq!(rows.len(), 60);
    for row in &rows {
        let lens = lens(row, "sphere", "cylinder", "axis");
        let vector = PowerVector::of(&lens).unwrap();
        near(row, "M", vector.m, number(row, "M"), 6e-7);
        near(row, "J0", vector.j0, number(row, "J0"), 6e-7);
        near(row, "J45", vector.j45, number(row, "J45"), 6e-7);
        near(row, "blur", vector.length(), number(row, "blur_B"), 6e-7);

        let minus = lens.minus_form();
        let plus = if minus.cylinder().is_zero() { minus } else { minus.transposed() };
        for (form, name) in [(minus, "minus"), (plus, "plus")] {
            let column = |part| format!("{name}_{part}");
            assert_eq!(form.sphere(), row[&column("sphere")].parse().unwrap(), "row {}", row["id"]);
            assert_eq!(form.cylinder(), row[&column("cylinder")].parse().unwrap(), "row {}", row["id"]);
            let axis = Some(&row[&column("axis")]).filter(|t| !t.is_empty()).map(|t| t.parse().unwrap());
            assert_eq!(form.axis(), axis, "row {}", row["id"]);
        }
    }
}

/// Rows 1 to 6 have a published answer: worked examples named in the table's `source`.
#[test]
fn obliquely_crossed_cylinders() {
    let rows = rows(include_str!("../fixtures/reference/obliquely_crossed.csv"));
    assert_eq!(rows.len(), 22);
    for row in &rows {
        let (one, two) = (lens(row, "s1", "c1", "a1"), lens(row, "s2", "c2", "a2"));
        let (v1, v2) = (PowerVector::of(&one).unwrap(), PowerVector::of(&two).unwrap());
        let (m1, m2) = (PowerMatrix::of(&one).unwrap(), PowerMatrix::of(&two).unwrap());
        let (vector, matrix) = match row["op"].as_str() {
            "sum" => (v1 + v2, m1 + m2),
            "difference" => (v1 - v2, m1 - m2),
            other => panic!("row {}: op {other}", row["id"]),
        };
        near(row, "M", vector.m, number(row, "M"), 6e-7);
        near(row, "J0", vector.j0, number(row, "J0"), 6e-7);
        near(row, "J45", vector.j45, number(row, "J45"), 6e-7);
        near(row, "blur", vector.length(), number(row, "blur_B"), 6e-7);
        if row["op"] == "difference" {
            near(row, "distance", v1.distance(&v2), number(row, "blur_B"), 6e-7);
        }
        for (sphere, cylinder, axis) in [vector.minus_form(), matrix.minus_form()] {
            near(row, "sphere", sphere, number(row, "minus_sphere"), 6e-7);
            near(row, "cylinder", cylinder, number(row, "minus_cylinder"), 6e-7);
            same_axis(row, axis, "minus_axis");
        }
    }
}

fn eye(row: &Row) -> Eye {
    match row["eye"].as_str() {
        "R" => Eye::Right,
        "L" => Eye::Left,
        other => panic!("eye {other}"),
    }
}

fn part(amount: &str, base: &str) -> PrismPart {
    let base = match base {
        "in" => Base::In,
        "out" => Base::Out,
        "up" => Base::Up,
        "down" => Base::Down,
        degrees => Base::Towards(degrees.parse().unwrap()),
    };
    PrismPart { amount: amount.parse().unwrap(), base }
}

/// Signed component as the table writes it: a magnitude and a direction, none for zero.
fn component(row: &Row, size: &str, direction: &str) -> f64 {
    let sign = match row[direction].as_str() {
        "in" | "up" => 1.0,
        "out" | "down" => -1.0,
        "" => 0.0,
        other => panic!("direction {other}"),
    };
    sign * number(row, size)
}

/// ISO 8429 base notation; course pages and worked examples named in the table's `source`.
#[test]
fn prism() {
    let rows = rows(include_str!("../fixtures/reference/prism.csv"));
    assert_eq!(rows.len(), 45);
    for row in &rows {
        let eye = eye(row);
        let expected = (component(row, "out_h", "out_h_dir"), component(row, "out_v", "out_v_dir"));
        if row["kind"] == "prentice" {
            let matrix = PowerMatrix::of(&lens(row, "sphere", "cylinder", "axis")).unwrap();
            let (inward, upward) =
                matrix.prentice(eye, number(row, "point_in_mm"), number(row, "point_up_mm"));
            near(row, "horizontal", inward, expected.0, 6e-7);
            near(row, "vertical", upward, expected.1, 6e-7);
            continue;
        }
        let parts: Vec<PrismPart> = match row["kind"].as_str() {
            "rect_to_polar" => [("in1_h", "in1_h_dir"), ("in1_v", "in1_v_dir")]
                .into_iter()
                .filter(|(_, direction)| !row[*direction].is_empty())
                .map(|(size, direction)| part(&row[size], &row[direction]))
                .collect(),
            "polar_to_rect" => vec![part(&row["in1_mag"], &row["in1_base_deg"])],
            "sum" => {
                vec![part(&row["in1_mag"], &row["in1_base_deg"]), part(&row["in2_mag"], &row["in2_base_deg"])]
            }
            other => panic!("kind {other}"),
        };
        let prism = Prism::of(eye, &parts);
        let as_float = |p: fociline::parsers::units::PrismDioptre| p.to_string().parse::<f64>().unwrap();
        // Components of an oblique base are rounded to four places each.
        let within = 0.5001e-4 * parts.len() as f64;
        near(row, "horizontal", as_float(prism.horizontal), expected.0, within);
        near(row, "vertical", as_float(prism.vertical), expected.1, within);
        let (amount, base) = prism.to_polar(eye);
        near(row, "amount", amount, number(row, "out_mag"), 2.0 * within);
        match base {
            None => assert_eq!(row["out_base_deg"], "", "row {}", row["id"]),
            Some(base) => {
                let apart = (base - number(row, "out_base_deg") + 180.0).rem_euclid(360.0) - 180.0;
                near(row, "base", apart.to_radians() * amount, 0.0, 2.0 * within);
            }
        }
    }
}
