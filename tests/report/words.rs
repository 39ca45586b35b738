//! What reports leave out, and what they say where there is too little.

use super::lab::Lab;
use fociline::bench::entry::Purpose::{Practice, Production};
use fociline::bench::entry::{Entry, NoteEntry, Says, Seq};

fn pairs(lab: &mut Lab, count: usize) {
    for lens in 0..count {
        let job = format!("J{lens}");
        lab.measured("focimeter-1", &job, &format!(r#"{{"sphere":{lens}.00}}"#));
        let read = format!(r#"{{"sphere":{lens}.{}}}"#, ["00", "06", "12"][lens % 3]);
        lab.read("A. Thorne", Production, "one", &job, &read);
    }
}

fn void(lab: &mut Lab, about: Seq, job: &str) {
    lab.add(Entry::Note(NoteEntry {
        about,
        says: Says::Void,
        reason: "slipped".to_owned(),
        by: "B. Lund".to_owned(),
        job: Some(job.parse().expect("a job")),
        eye: None,
        job_before: None,
    }));
}

#[test]
fn too_little_is_said_and_no_number_given() {
    for kind in ["agreement", "gauge", "drift", "capability", "practice", "pareto"] {
        let (csv, html) = Lab::new().report(kind, &[]);
        assert!(html.contains("No entry of the ledger lies in this range"), "{kind}");
        let numbers: Vec<_> = csv.0.values().filter(|row| !row[2].is_empty()).collect();
        assert!(numbers.is_empty(), "{kind}: {numbers:?}");
    }
    let mut lab = Lab::new();
    pairs(&mut lab, 1);
    let (csv, _) = lab.report("agreement", &[]);
    assert_eq!(csv.note("mean sphere", "agreement"), "not enough: have 1, need 2 (lenses read by both)");
}

#[test]
fn practice_void_readings_and_one_sided_lenses_stay_out_of_agreement() {
    let mut lab = Lab::new();
    pairs(&mut lab, 4);
    let odd = lab.measured("focimeter-1", "J9", r#"{"sphere":20.00}"#);
    lab.read("A. Thorne", Production, "one", "J9", r#"{"sphere":1.00}"#);
    void(&mut lab, odd, "J9");
    lab.measured("focimeter-1", "J7", r#"{"sphere":7.00}"#);
    let typo = lab.read("A. Thorne", Production, "one", "J7", r#"{"sphere":70.00}"#);
    void(&mut lab, typo, "J7");
    lab.measured("focimeter-1", "J8", r#"{"sphere":8.00}"#);
    lab.read("A. Thorne", Practice, "one", "J8", r#"{"sphere":9.00}"#);
    let (csv, html) = lab.report("agreement", &[]);
    // Differences 0, -0.06, -0.12 and 0.
    assert!((csv.number("mean sphere", "bias") + 0.045).abs() < 1e-9);
    assert!(html.contains("read by focimeter-1 only, and left out: J7 right, J8 right"));
    assert!(html.contains("read by A. Thorne only, and left out: J9 right"));
    assert_eq!(csv.entries(), "1-8");
}

#[test]
fn time_and_names_choose_what_counts() {
    let mut lab = Lab::new();
    pairs(&mut lab, 4);
    lab.now = "2026-04-01T07:00:00Z".parse().expect("a time");
    pairs(&mut lab, 3);
    lab.read("B. Lund", Production, "one", "J0", r#"{"sphere":0.25}"#);
    lab.read("B. Lund", Production, "one", "J1", r#"{"sphere":1.12}"#);
    let (csv, _) =
        lab.report("agreement", &["--since", "2026-04-01", "--until", "2026-04-02", "--person", "B. Lund"]);
    assert_eq!(csv.entries(), "9, 11, 15, 16");
    // To the second within a day: entry 11 came in at 07:01, entry 16 at 07:03:30.
    let second = ["--since", "2026-04-01T07:01", "--until", "2026-04-01T07:03:31", "--person", "B. Lund"];
    assert_eq!(lab.report("agreement", &second).0.entries(), "11, 16");
    let second = ["--since", "2026-04-01T07:01", "--until", "2026-04-01T07:03:30", "--person", "B. Lund"];
    assert_eq!(lab.report("agreement", &second).0.entries(), "");
    let (csv, html) = lab.report("agreement", &["--first", "A. Thorne", "--second", "B. Lund"]);
    // A. Thorne read each of the two lenses twice, B. Lund once: the first of each are compared.
    assert_eq!(csv.entries(), "2, 4, 15, 16");
    assert!(html.contains("Agreement of A. Thorne and B. Lund"));
}

#[test]
fn the_last_day_counts_and_the_head_says_what_the_range_is() {
    let mut lab = Lab::new();
    pairs(&mut lab, 2);
    let (csv, html) = lab.report("agreement", &["--until", "2026-03-02"]);
    assert_eq!(csv.entries(), "1-4");
    // The first entry's time, and the end of the last day.
    assert!(html.contains("<dd>2026-03-02 07:00:00 UTC to 2026-03-03 00:00:00 UTC</dd>"), "{html}");
    assert!(html.contains("entries up to 4</dd><dt>made</dt>"), "{html}");
    assert_eq!(lab.report("agreement", &["--until", "2026-03-01"]).0.entries(), "");
}

#[test]
fn an_unknown_name_is_answered_with_those_that_there_are() {
    let mut lab = Lab::new();
    pairs(&mut lab, 2);
    lab.read("C. Ray", Practice, "one", "J0", r#"{"sphere":0.25}"#);
    let (_, html) = lab.report("agreement", &["--first", "a. thorne", "--second", "focimeter-1"]);
    assert!(
        html.contains("nothing in this range is by a. thorne; there is something by A. Thorne, focimeter-1<"),
        "{html}"
    );
    let (_, html) = lab.report("practice", &["--person", "A. Thorne"]);
    assert!(html.contains("nothing in this range is by A. Thorne; there is something by C. Ray<"), "{html}");
    for kind in ["capability", "drift"] {
        let (_, html) = lab.report(kind, &["--instrument", "focimeter-9"]);
        assert!(html.contains("nothing in this range is by focimeter-9"), "{kind}: {html}");
    }
    // A person and a second side are two sides.
    let (_, html) = lab.report("agreement", &["--person", "A. Thorne", "--second", "focimeter-1"]);
    assert!(
        html.contains("Agreement of A. Thorne and focimeter-1") && !html.contains("nothing in this range")
    );
}

#[test]
fn what_cannot_be_meant_is_refused() {
    let mut lab = Lab::new();
    pairs(&mut lab, 2);
    let both = lab.path("both");
    for (arguments, why) in [
        ("agreement --first X --second X", "both sides are X"),
        ("agreement --first X --second Y --person Z", "Z is a third"),
        ("drift --since 2026-03-03 --until 2026-03-02", "since 2026-03-03 00:00:00 UTC is not before until"),
        ("pareto --html BOTH --csv BOTH", "give each a file of its own"),
    ] {
        lab.refused(&arguments.replace("BOTH", &both), why);
    }
    assert!(!std::path::Path::new(&both).exists());
}

#[test]
fn an_unsound_study_names_what_is_wrong() {
    let heading = "Gauge R&R (crossed, by analysis of variance): mean sphere";
    let of_cylinder = "Gauge R&R (crossed, by analysis of variance): cylinder";
    let mut lab = Lab::new();
    for person in ["A. Thorne", "B. Lund"] {
        for lens in ["1", "2", "3"] {
            for take in ["00", "06"] {
                if (person, lens, take) != ("B. Lund", "2", "06") {
                    lab.read(person, Production, "one", lens, &format!(r#"{{"sphere":{lens}.{take}}}"#));
                }
            }
        }
    }
    let (csv, _) = lab.report("gauge", &[]);
    let why = csv.note(heading, "study");
    assert!(why.starts_with("unequal repeats: B. Lund read 2 right 1 times"), "{why}");
    let (csv, _) = lab.report("gauge", &["--lens", "1 right", "--lens", "3 right"]);
    assert!(csv.number(heading, "repeatability: SD") > 0.0);
    assert_eq!(
        csv.note(of_cylinder, "study"),
        "constant data: repeats by the same person of the same lens do not differ at all; look for a stuck value or a copied column"
    );

    let mut lab = Lab::new();
    for (person, lens) in
        [("A. Thorne", "1"), ("A. Thorne", "2"), ("B. Lund", "1"), ("C. Ray", "2"), ("C. Ray", "1")]
    {
        lab.read(person, Production, "one", lens, r#"{"sphere":1.00}"#);
    }
    let (csv, _) = lab.report("gauge", &[]);
    assert!(csv.note(heading, "study").starts_with("missing cell: B. Lund has no reading of 2 right"));
}

#[test]
fn another_lens_is_named_and_left_out() {
    let mut lab = Lab::new();
    pairs(&mut lab, 3);
    let instrument = lab.measured("focimeter-1", "J7", r#"{"sphere":-2.00}"#);
    let manual = lab.read("A. Thorne", Production, "one", "J7", r#"{"sphere":2.00}"#);
    let check = format!(
        r#"{{"job":"J7","eye":"right","by":"A. Thorne","instrument":"focimeter-1","manual":{manual},"reading":{instrument},
            "readings":[{instrument}],"difference":{{"m":4.00}},"outcome":"different-lens","suspect":"sphere-sign",
            "reasons":[],"limits":"abcd"}}"#
    );
    let check = lab.add(Entry::from_payload("cross-check", &check).expect("a cross-check"));
    assert_eq!(check, Seq(9));
    let (csv, html) = lab.report("agreement", &[]);
    assert!(
        html.contains("mixed lenses: reading 8 of J7 right is left out, plus and minus mixed up"),
        "named"
    );
    assert_eq!(csv.entries(), "1-6");
}

#[test]
fn names_that_mean_something_to_html_are_written_out() {
    let mut lab = Lab::new();
    let person = "<b>A & \"B\"</b>";
    for lens in 0..3 {
        lab.measured("focimeter-1", &format!("J{lens}"), r#"{"sphere":1.00}"#);
        lab.read(person, Production, "one", &format!("J{lens}"), &format!(r#"{{"sphere":1.0{lens}}}"#));
    }
    let (_, html) = lab.report("agreement", &[]);
    assert!(html.contains("&lt;b&gt;A &amp; ") && !html.contains("<b>A"), "escaped");
}
