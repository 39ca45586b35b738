//! What the layout language can say, one short layout for each feature that the built-in
//! layouts' recorded frames do not already show.

use fociline_parsers::layout::Layout;

/// The reading as compact JSON, or the reject as people see it.
fn read(layout: &str, frame: &[u8]) -> String {
    let text = format!("name = \"x\"\ntitle = \"x\"\n{layout}");
    let layout = Layout::from_toml(&text, "x.toml").unwrap_or_else(|error| panic!("{error}"));
    match layout.read(frame) {
        Ok(reading) => serde_json::to_string(&reading).unwrap(),
        Err(reject) => reject.to_string(),
    }
}

#[track_caller]
fn check(layout: &str, frame: &[u8], expected: &str) {
    assert_eq!(read(layout, frame), expected);
}

const MARKED: &str = r#"
    [frame]
    end = "<ETX>"
    [lines]
    end = "any newline"
    order = "any"
    [[line]]
    name = "mark"
    times = "any"
    starts = "="
    form = "delimited"
    separator = ","
    [[line.field]]
    is = "eye"
    values = { r = "right", l = "left" }
    [[line.field]]
    is = "vertex"
    values = { f = "front", b = "back" }
    optional = true
    [[line]]
    times = "any"
    starts = "s"
    form = "delimited"
    separator = ","
    [[line.field]]
    is = "sphere"
    [[line]]
    times = "any"
    starts = "c"
    eye = "left"
    form = "delimited"
    separator = ","
    [[line.field]]
    is = "cylinder"
"#;

#[test]
fn a_line_without_a_lens_announces_the_eye_of_those_behind_it() {
    let frame = b"=r,f\rs1.00\r\n=l\ns2.00\x03";
    let expected = r#"{"right":{"sphere":1.00,"vertex":"front"},"left":{"sphere":2.00,"vertex":"front"}}"#;
    let twice = "layout x, field sphere, byte 7: expected sphere only once, found 2.00<ETX>";
    check(MARKED, frame, expected);
    check(MARKED, b"=r\ns1\ns2.00\x03", twice);
    check(MARKED, b"s1.00\x03", r#"{"unspecified":{"sphere":1.00}}"#);
}

#[test]
fn the_eye_of_a_line_with_a_lens_is_not_carried_on() {
    check(MARKED, b"c-1.00\ns1.00\x03", r#"{"left":{"cylinder":-1.00},"unspecified":{"sphere":1.00}}"#);
}

#[test]
fn lines_told_apart_by_their_position() {
    let layout = r#"
        [frame]
        end = "<EOT>"
        [lines]
        end = "<LF>"
        [[line]]
        eye = "right"
        form = "delimited"
        separator = " "
        [[line.field]]
        is = "sphere"
        [[line]]
        eye = "left"
        mode = "near"
        form = "delimited"
        separator = " "
        [[line.field]]
        is = "sphere"
    "#;
    check(layout, b"1\n2\x04", r#"{"right":{"sphere":1},"left":{"sphere":2,"mode":"near"}}"#);
    check(layout, b"1\x04", "layout x, byte 1: expected line 2, found <EOT>");
    check(
        layout,
        b"1\n2\n3\x04",
        "layout x, byte 4: expected the end of the line after line 2, found 3<EOT>",
    );
}

#[test]
fn an_eye_mark_behind_the_values_still_names_their_eye() {
    let layout = r#"
        [frame]
        end = "<LF>"
        [[line]]
        form = "delimited"
        separator = ","
        ends = ";"
        [[line.field]]
        is = "prism"
        bases = { BI = "in", BO = "out", B = "up", BD = "down" }
        base_at = "before"
        [[line.field]]
        is = "near_pd"
        unit = "0.1 mm"
        point = "none"
        [[line.field]]
        is = "eye"
        values = { OD = "right", OS = "left" }
        missing = ["--"]
    "#;
    check(
        layout,
        b"BO 1.50,305,OS;\n",
        r#"{"left":{"prism":[{"amount":1.50,"base":"out"}],"near_pd":30.5}}"#,
    );
    check(
        layout,
        b"B1.50,305,--;\n",
        r#"{"unspecified":{"prism":[{"amount":1.50,"base":"up"}],"near_pd":30.5}}"#,
    );
    check(layout, b"B1.50,305,OS\n", "layout x, byte 12: expected \";\", found <LF>");
}

#[test]
fn unknown_tags_can_be_ignored() {
    let layout = r#"
        [frame]
        end = "<LF>"
        [always]
        eye = "left"
        mode = "distance"
        [[line]]
        form = "tagged"
        separator = ", "
        assign = ": "
        unknown = "ignore"
        [[line.field]]
        tag = "power"
        is = "sphere"
        [[line.field]]
        tag = "line"
        is = "reference_line"
        values = { yellow = "d", green = "e" }
        optional = true
        [[line.field]]
        tag = "by"
        is = "operator"
        optional = true
        [[line.field]]
        tag = "note"
        is = "keep"
        name = "remark"
        optional = true
    "#;
    check(
        layout,
        b"by: K7, lamp: \xff, power: -1.25, line: green, note: as new\n",
        r#"{"left":{"sphere":-1.25,"mode":"distance"},"operator":"K7","reference_line":"e","kept":{"remark":"as new"}}"#,
    );
    check(layout, b"lamp: 1\n", "layout x, field sphere, byte 7: expected the field sphere, found <LF>");
}

#[test]
fn an_axis_of_zero_and_a_prism_without_amount() {
    let layout = r#"
        [frame]
        end = "<LF>"
        [numbers]
        missing = ["", "?"]
        [[line]]
        form = "delimited"
        separator = "/"
        [[line.field]]
        is = "axis"
        [[line.field]]
        is = "prism"
        [[line.field]]
        is = "prism_base"
    "#;
    check(layout, b"0//90\n", r#"{"unspecified":{"axis":0}}"#);
    check(layout, b"?/0.0/\n", r#"{"unspecified":{"prism":[]}}"#);
    check(layout, b"?/?/?\n", "{}");
    check(
        layout,
        b"?/1.0/?\n",
        "layout x, field prism_base, byte 2: expected a base for this amount of prism in the same frame, \
         found 1.0/?<LF>",
    );
}
