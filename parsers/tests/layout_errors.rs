//! What a technician is told about a layout that cannot work.

use fociline_parsers::layout::Layout;

const BASE: &str = r#"name  = "bench"
title = "A layout to break"
[frame]
end = "<CR>"
[lines]
end = "<LF>"
[[line]]
starts    = "R"
form      = "delimited"
separator = ","
[[line.field]]
is  = "sphere"
[[line.field]]
is  = "cylinder"
[[line]]
starts    = "L"
form      = "tagged"
separator = ";"
assign    = "="
[[line.field]]
tag = "S"
is  = "sphere"
[[line.field]]
tag = "C"
is  = "cylinder"
"#;

/// The message that `BASE` gets once `from` is replaced by `to`.
fn refused(from: &str, to: &str) -> String {
    assert!(BASE.contains(from), "{from:?} is not in the layout");
    match Layout::from_toml(&BASE.replacen(from, to, 1), "bench.toml") {
        Ok(_) => panic!("{to:?} was not refused"),
        Err(error) => error.to_string(),
    }
}

#[track_caller]
fn check(from: &str, to: &str, message: &str) {
    assert_eq!(refused(from, to), format!("bench.toml, line {message}"));
}

#[test]
fn the_layout_itself_is_right() {
    Layout::from_toml(BASE, "bench.toml").unwrap();
}

#[test]
fn misspelt_names_get_a_suggestion() {
    let message = refused("\"sphere\"", "\"spher\"");
    assert!(message.starts_with("bench.toml, line 12: \"spher\" is not a quantity"), "{message}");
    assert!(message.ends_with("did you mean \"sphere\"?"), "{message}");
    let message = refused("is  = \"cylinder\"", "is  = \"cylinder\"\nconventon = \"minus\"");
    assert!(
        message.starts_with("bench.toml, line 15: \"conventon\" is not a key of this field"),
        "{message}"
    );
    assert!(message.ends_with("did you mean \"convention\"?"), "{message}");
    check(
        "\"delimited\"",
        "\"delimted\"",
        "9: \"delimted\" is not a value of form; expected one of \"tagged\", \"delimited\", \"columns\"; \
         did you mean \"delimited\"?",
    );
    check(
        "[lines]",
        "[liens]",
        "5: \"liens\" is not a key of the layout; expected one of \"name\", \"title\", \"frame\", \"checksum\", \
         \"always\", \"numbers\", \"lines\", \"talk\", \"line\"; did you mean \"lines\"?",
    );
    check(
        "is  = \"sphere\"",
        "is  = \"sphere\"\nunit = \"0.01 d\"",
        "13: \"0.01 d\" is not a unit here; expected \"D\", with a power of ten in front of it if need be, \
         as in \"0.01 D\"",
    );
}

#[test]
fn what_is_missing_is_said() {
    check("title =", "titel =", "1: the layout has no title; expected title = \"...\"");
    check(
        "end = \"<CR>\"",
        "",
        "3: [frame] does not say what ends a frame; expected end = \"<CR><LF>\", end = \"any newline\", \
         length = 40, or idle_ms = 80, or so",
    );
    check("tag = \"S\"", "", "20: this field has no tag; expected tag = \"...\"");
    check(
        "\"<CR>\"",
        "\"<CRR>\"",
        "4: end has \"<CRR>\" at its character 0; expected printable ASCII, a control name such as <CR>, \
         or two hex digits such as <3C>",
    );
    check(
        "is  = \"sphere\"",
        "is  = \"eye\"",
        "11: this field has no values; expected values = { R = \"right\", L = \"left\" }, or so",
    );
    check(
        "is  = \"sphere\"",
        "is  = \"prism\"",
        "11: prism has no base; expected bases = { I = \"in\", ... }, or a field prism_base",
    );
    check("is  = \"sphere\"", "is  = \"prism_base\"", "11: prism_base has no amount; expected a field prism");
    assert!(refused("[[line]]", "[[line").contains("line 7: "));
    assert!(Layout::from_toml("", "empty.toml").is_err());
}

#[test]
fn what_overlaps_is_refused() {
    check(
        "starts    = \"L\"",
        "starts    = \"RL\"\ntimes = \"any\"",
        "15: line R and line RL can both match a line that starts with \"RL\"; \
         expected a start of its own for each line",
    );
    check(
        "tag = \"C\"",
        "tag = \"S\"",
        "23: the tag \"S\" of cylinder overlaps \"S\" of sphere; expected a tag of its own for each field",
    );
    check(
        "is  = \"cylinder\"",
        "is  = \"sphere\"",
        "13: sphere is read twice in line R; expected every value in one place",
    );
    let columns = "form = \"columns\"\n[[line.field]]\ncolumns = \"2-7\"\nis = \"sphere\"\n\
                   [[line.field]]\ncolumns = \"7-9\"\nis = \"axis\"\n[[line]]\nstarts = \"Q\"\nform      = \"delimited\"";
    check(
        "form      = \"delimited\"",
        columns,
        "14: the columns of axis overlap those of sphere; expected columns of its own for each field",
    );
    check(
        "is  = \"sphere\"",
        "is  = \"eye\"\nvalues = { R = \"right\" }\n[[line.field]]\nis = \"sphere\"\n[[line]]\neye = \"left\"\n\
         starts = \"Q\"\nform = \"delimited\"\nseparator = \",\"\n[[line.field]]\nis = \"eye\"\nvalues = { L = \"left\" }",
        "17: an eye beside an eye mark; expected one of the two",
    );
}

#[test]
fn what_can_match_nothing_is_refused() {
    check(
        "starts    = \"R\"",
        "starts    = \"R<LF>\"",
        "7: starts \"R<LF>\" can never match: \"<LF>\" ends the line before; \
         expected bytes without what ends a line or the frame",
    );
    check(
        "is  = \"sphere\"",
        "is  = \"sphere\"\npoint = \",\"",
        "11: sphere can never match: the separator stands in \",\"; expected values without the separator in them",
    );
    check(
        "assign    = \"=\"",
        "assign    = \";\"",
        "15: separator and assign hide each other; expected bytes that do not contain each other",
    );
    check(
        "[lines]\nend = \"<LF>\"",
        "",
        "14: a frame needs several lines, and nothing ends a line; expected [lines] with end = \"<CR><LF>\", or so",
    );
    check(
        "is  = \"sphere\"",
        "is  = \"literal\"\ntext = \"a,b\"",
        "11: literal can never match: the separator stands in \"a,b\"; expected values without the separator in them",
    );
}

/// A layout of one line of columns, in frames of 12 bytes.
fn columns(field: &str) -> String {
    let text = format!(
        "name = \"x\"\ntitle = \"x\"\n[frame]\nlength = 12\n[[line]]\nstarts = \"R\"\nform = \"columns\"\n{field}"
    );
    Layout::from_toml(&text, "x.toml").unwrap_err().to_string()
}

#[test]
fn columns_that_cannot_hold_their_values_are_refused() {
    assert_eq!(
        columns(
            "[[line.field]]\ncolumns = \"2-12\"\nis = \"sphere\"\n[[line.field]]\ncolumns = \"1\"\nis = \"axis\""
        ),
        "x.toml, line 12: \"1\" are no columns of this line; expected \"first-last\", counted from 1 at the line's \
         first byte, 2 or later"
    );
    assert_eq!(
        columns("[[line.field]]\ncolumns = \"2-5\"\nis = \"sphere\"\nwhole = 2\ndecimals = 2"),
        "x.toml, line 8: sphere can never match: its number has 5 bytes or more, its columns 4; \
         expected columns as wide as the number"
    );
    assert_eq!(
        columns("[[line.field]]\ncolumns = \"2-5\"\nis = \"literal\"\ntext = \"ab\""),
        "x.toml, line 8: the literal \"ab\" has 2 bytes, its columns 4; expected as many columns as bytes"
    );
    assert_eq!(
        columns("[[line.field]]\ncolumns = \"2-11\"\nis = \"sphere\""),
        "x.toml, line 5: line R can never match: it ends at byte 11 of frames of 12; \
         expected columns and frame length that agree"
    );
    assert_eq!(
        columns("[[line.field]]\ncolumns = \"2-13\"\nis = \"sphere\""),
        "x.toml, line 5: line R can never match: it needs frames of 13 bytes, the most is 12; \
         expected columns and frame length that agree"
    );
    let both = "[[line.field]]\ncolumns = \"2-6\"\nis = \"prism_vertical\"\npositive = \"up\"\n\
                [[line.field]]\ncolumns = \"7-12\"\nis = \"prism\"\nbases = { U = \"up\" }";
    assert_eq!(
        columns(both),
        "x.toml, line 8: prism as components beside prism as amount and base; \
         expected one of the two: they would be added up"
    );
}
