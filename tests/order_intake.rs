//! Order files: what is taken in, what is refused and why, what is dropped.

use fociline::order::{self, Intake, LensKind};
use proptest::prelude::*;

macro_rules! intake {
    ($name:literal) => {
        order::read($name, include_str!(concat!("../fixtures/orders/", $name)))
    };
}

fn jobs(intake: &Intake) -> Vec<(usize, String)> {
    intake.orders.iter().map(|(line, order)| (*line, order.job.to_string())).collect()
}

fn refusals(intake: &Intake) -> Vec<String> {
    intake.refused.iter().map(ToString::to_string).collect()
}

/// The one order of a text, in its JSON form.
fn only(intake: &Intake) -> String {
    assert_eq!(refusals(intake), Vec::<String>::new());
    assert_eq!(intake.orders.len(), 1);
    serde_json::to_string(&intake.orders[0].1).unwrap()
}

#[test]
fn one_order_as_json_keeps_its_digits() {
    let intake = intake!("one.json");
    assert_eq!(
        only(&intake),
        r#"{"job":"4471","lens":"progressive","mounted":true,"right":{"sphere":-1.25,"cylinder":-0.50,"axis":90,"addition":2.00,"second_addition":1.00,"prism":[{"amount":0.50,"base":"in"},{"amount":0.25,"base":90}],"pd":31.5,"near_pd":29.5,"segment_height":18.0,"reference_height":22.0},"left":{"sphere":-1.50,"prism":[]}}"#
    );
    assert!(intake.dropped.is_empty());
}

#[test]
fn of_several_orders_the_good_ones_are_kept() {
    let intake = intake!("several.json");
    assert_eq!(jobs(&intake), [(2, "4501".to_owned()), (9, "4505".to_owned())]);
    assert_eq!(
        refusals(&intake),
        [
            r#"line 3, lens: "bifocal" does not fit; "single-vision", "multifocal" or "progressive" is expected"#,
            r#"line 4, right.sphere: "strong" does not fit; a number such as -1.25 is expected"#,
            r#"line 4, right.prism[0].base: "nasal" does not fit; "in", "out", "up", "down" or degrees from 0 to 360 is expected"#,
            "line 8, left.sphere: -300 is out of range; -40 to 40 D is expected",
            "line 8, left.axis: missing beside a cylinder of -0.50 D; 0 to 180 is expected",
        ]
    );
}

#[test]
fn a_prism_with_its_base_in_and_out_is_a_slip() {
    let prism = |parts: &str| {
        order::read_json(&format!(
            r#"{{"job":"1","lens":"single-vision","mounted":false,"right":{{"prism":[{parts}]}}}}"#
        ))
    };
    let both = prism(r#"{"amount":0.5,"base":"in"},{"amount":0.5,"base":"out"}"#);
    assert_eq!(
        refusals(&both),
        ["line 1, right.prism: in and out at once; one of the two, or their difference, is expected"]
    );
    // As some programs write that there is none.
    let one = prism(r#"{"amount":0.00,"base":"in"},{"amount":0.5,"base":"out"},{"amount":1,"base":"up"}"#);
    assert_eq!(refusals(&one), [""; 0]);
}

#[test]
fn json_lines_name_the_broken_line() {
    let intake = intake!("lines.jsonl");
    assert_eq!(jobs(&intake), [(1, "4511".to_owned()), (4, "4513".to_owned())]);
    assert_eq!(refusals(&intake), ["line 3: not JSON (column 76): trailing comma"]);
}

#[test]
fn csv_takes_units_blanks_and_prism() {
    let intake = intake!("comma.csv");
    assert_eq!(refusals(&intake), Vec::<String>::new());
    assert_eq!(jobs(&intake), [(2, "4521".to_owned()), (3, "4522".to_owned())]);
    let json = |index: usize| serde_json::to_string(&intake.orders[index].1).unwrap();
    assert_eq!(
        json(0),
        r#"{"job":"4521","lens":"progressive","mounted":true,"right":{"sphere":-1.25,"cylinder":-0.50,"axis":90,"addition":2.00,"second_addition":1.00,"prism":[{"amount":0.50,"base":"in"},{"amount":0.25,"base":"up"}],"pd":31.5,"near_pd":29.5,"segment_height":18,"reference_height":22.0},"left":{"sphere":0.00,"prism":[]}}"#
    );
    assert_eq!(
        json(1),
        r#"{"job":"4522","lens":"single-vision","mounted":false,"right":{"sphere":-3.75,"cylinder":0.00,"prism":[{"amount":2.5,"base":35}]}}"#
    );
}

#[test]
fn csv_with_semicolons_takes_decimal_commas() {
    assert_eq!(
        only(&intake!("semicolon.csv")),
        r#"{"job":"4531","lens":"multifocal","mounted":false,"right":{"sphere":-1.25,"cylinder":-0.50,"axis":180},"left":{"sphere":0.75,"pd":31.5}}"#
    );
}

#[test]
fn each_bad_line_is_named_with_its_column_and_the_good_ones_are_kept() {
    let intake = intake!("bad-lines.csv");
    assert_eq!(jobs(&intake), [(2, "4541".to_owned()), (10, "4549".to_owned())]);
    assert_eq!(
        refusals(&intake),
        [
            r#"line 3, right_sphere: "1.OO" does not fit; a number in D is expected"#,
            r#"line 4, mounted: "perhaps" does not fit; yes or no is expected"#,
            r#"line 4, right_prism: "0.50 nasal" does not fit; parts such as 0.50 in + 0.25 up is expected"#,
            "line 5, lens: missing; it is needed in every line",
            "line 6, right_axis: missing beside a cylinder of -0.50 D; 0 to 180 is expected",
            "line 7, right_axis: 190 is out of range; 0 to 180 degrees is expected",
            "line 7, left_sphere: -41 is out of range; -40 to 40 D is expected",
            "line 8, right: nothing is ordered for either eye; right, left or both are expected",
            "line 9: 9 cells under 8 column names; put a cell that holds the delimiter in quotes",
        ]
    );
}

#[test]
fn what_is_about_a_person_is_dropped_and_only_its_name_is_said() {
    let csv = intake!("personal.csv");
    assert_eq!(csv.dropped, ["patient_name", "date_of_birth", "frame_colour"]);
    let json = intake!("personal.json");
    assert_eq!(json.dropped, ["right.prism.why", "right.note", "patient"]);
    for intake in [csv, json] {
        only(&intake);
        assert!(!format!("{intake:?}").contains("Invented"));
    }
}

#[test]
fn a_header_must_have_what_every_line_needs() {
    assert_eq!(
        refusals(&order::read_csv("job,lens,right_sphere,right_sphere\n1,single-vision,1.00,2.00\n")),
        [
            "line 1, right_sphere: the header has this column twice",
            "line 1, mounted: the header lacks this column; job, lens and mounted are needed",
        ]
    );
}

#[test]
fn a_file_of_another_kind_and_an_empty_one_are_refused() {
    assert_eq!(
        refusals(&order::read("orders.txt", "")),
        ["line 1: orders.txt is no order file; .json, .jsonl or .csv is expected"]
    );
    assert_eq!(order::read("a.JSON", "").refused.len(), 1);
    assert_eq!(order::read("a.csv", "").refused.len(), 3);
}

#[test]
fn the_ranges_of_a_good_order() {
    let with = |lens: &str| {
        let text = format!(r#"{{"job":"1","lens":"single-vision","mounted":true,"right":{lens}}}"#);
        order::read_json(&text).refused.first().map(|refusal| refusal.field.clone())
    };
    for good in [
        r#"{"sphere":-40,"cylinder":-20,"axis":0}"#,
        r#"{"sphere":40,"cylinder":20,"axis":180}"#,
        r#"{"sphere":0.01,"cylinder":0.00,"axis":0}"#,
        r#"{"sphere":1,"axis":0}"#,
        r#"{"addition":20,"pd":10,"near_pd":50,"segment_height":60,"reference_height":0}"#,
        r#"{"prism":[{"amount":40,"base":360}]}"#,
    ] {
        assert_eq!(with(good), None, "{good}");
    }
    for (bad, field) in [
        (r#"{"sphere":-40.01}"#, "right.sphere"),
        (r#"{"sphere":1,"cylinder":20.25,"axis":1}"#, "right.cylinder"),
        (r#"{"sphere":1,"cylinder":1,"axis":-1}"#, "right.axis"),
        (r#"{"cylinder":1,"axis":1}"#, "right.sphere"),
        (r#"{"sphere":1,"axis":90}"#, "right.cylinder"),
        (r#"{"addition":-0.25}"#, "right.addition"),
        (r#"{"second_addition":21}"#, "right.second_addition"),
        (r#"{"prism":[{"amount":-1,"base":"in"}]}"#, "right.prism"),
        (r#"{"prism":[{"amount":1,"base":361}]}"#, "right.prism"),
        (r#"{"pd":63}"#, "right.pd"),
        (r#"{"near_pd":9}"#, "right.near_pd"),
        (r#"{"segment_height":61}"#, "right.segment_height"),
        (r#"{"reference_height":-1}"#, "right.reference_height"),
        (r#"{}"#, "right.sphere"),
    ] {
        assert_eq!(with(bad).as_deref(), Some(field), "{bad}");
    }
}

#[test]
fn lens_words_are_forgiving_in_case_and_blanks_only() {
    let lens = |word: &str| {
        let text = format!("job,lens,mounted,left_sphere\n1,{word},true,1\n");
        order::read_csv(&text).orders.first().map(|(_, order)| order.lens)
    };
    assert_eq!(lens("Single_Vision"), Some(LensKind::SingleVision));
    assert_eq!(lens("MULTIFOCAL"), Some(LensKind::Multifocal));
    assert_eq!(lens("varifocal"), None);
}

proptest! {
    #[test]
    fn any_text_is_taken_without_a_panic(text in "[\\PC\n\r,;\"{}\\[\\]]{0,200}") {
        order::read_json(&text);
        order::read_csv(&text);
        order::read_csv(&format!("job,lens,mounted,right_sphere,right_prism\n{text}"));
    }
}
