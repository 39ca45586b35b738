//! What samples leave open is said, with the lens that decides; contradictions name the samples.

use fociline_parsers::learn::{HeldOut, NotLearnt, Proposal, Sample, Shown, hold_one_out, learn};
use proptest::prelude::*;

fn sample(name: &str, bytes: &str, told: &[(&str, &str)]) -> Sample {
    let mut shown = Shown::default();
    told.iter().for_each(|(what, value)| shown.tell(what, value).unwrap());
    Sample { name: name.to_owned(), bytes: bytes.as_bytes().to_vec(), shown }
}

fn power(name: &str, bytes: &str, eye: &str, sphere: &str, cylinder: &str, axis: &str) -> Sample {
    let told = [("sphere", sphere), ("cylinder", cylinder), ("axis", axis)];
    let told: Vec<(String, &str)> =
        told.iter().map(|(what, value)| (format!("{eye}_{what}"), *value)).collect();
    let told: Vec<(&str, &str)> = told.iter().map(|(what, value)| (what.as_str(), *value)).collect();
    sample(name, bytes, &told)
}

#[track_caller]
fn learnt(samples: &[Sample]) -> Proposal {
    learn(samples, "open").unwrap_or_else(|why| panic!("{why}"))
}

#[track_caller]
fn asks(proposal: &Proposal, open: &str, measure: &str, undecided: bool) {
    let found = proposal.questions.iter().any(|question| {
        question.undecided == undecided && question.open.contains(open) && question.measure.contains(measure)
    });
    assert!(found, "{open:?} / {measure:?} is not among {:#?}", proposal.questions);
}

#[test]
fn equal_values_can_stand_in_either_place() {
    let samples = [
        power("a", "R,1.00,-2.00,1\r", "right", "1.00", "-2.00", "1"),
        sample("b", "L,2.25,2.25,5\r", &[("left_sphere", "2.25"), ("left_axis", "5")]),
    ];
    // Nothing is open about these: the cylinder's sign tells.
    assert!(learnt(&samples).questions.iter().all(|question| !question.open.contains("may stand at")));

    let twins = [
        sample("a", "R,-1.25,2.00,2.00\r", &[("right_sphere", "-1.25"), ("right_addition", "2.00")]),
        sample("b", "L,+1.75,1.50,1.50\r", &[("left_sphere", "1.75"), ("left_addition", "1.50")]),
    ];
    asks(&learnt(&twins), "addition may stand at field 3 or at field 4", "another addition", true);

    let swapped = [
        sample(
            "a",
            "R,-1.25,2.00,2.00\r",
            &[("right_sphere", "-1.25"), ("right_addition", "2.00"), ("right_second_addition", "2.00")],
        ),
        sample(
            "b",
            "L,+1.75,1.50,1.50\r",
            &[("left_sphere", "1.75"), ("left_addition", "1.50"), ("left_second_addition", "1.50")],
        ),
    ];
    asks(&learnt(&swapped), "may stand at field", "on which", true);
}

#[test]
fn a_sign_that_never_came_is_asked_for() {
    let plus = [
        power("a", "R,1.25,-0.50,91\r", "right", "1.25", "-0.50", "91"),
        power("b", "L,2.75,-1.25,15\r", "left", "2.75", "-1.25", "15"),
    ];
    asks(&learnt(&plus), "minus", "measure one lens with a minus sphere", true);

    let minus = [
        power("a", "R,-1.25,-0.50,91\r", "right", "-1.25", "-0.50", "91"),
        power("b", "L,-2.75,-1.25,15\r", "left", "-2.75", "-1.25", "15"),
    ];
    let proposal = learnt(&minus);
    asks(&proposal, "no plus sphere", "measure one lens with a plus sphere", false);
    asks(&proposal, "no lens without cylinder", "measure one lens without cylinder", false);
    assert!(proposal.text().contains("Not seen yet: no plus sphere"), "{}", proposal.text());
}

#[test]
fn a_magnitude_taken_as_minus_is_said() {
    let samples = [
        power("a", "R,-1.25,0.50,91\r", "right", "-1.25", "-0.50", "91"),
        power("b", "L,+2.75,1.25,15\r", "left", "2.75", "-1.25", "15"),
    ];
    let proposal = learnt(&samples);
    asks(&proposal, "without a sign and is taken as minus", "plus cylinder", true);
    let reading = proposal.layout.read(b"R,+0.75,2.25,8\r").unwrap();
    assert_eq!(reading.right.unwrap().cylinder.unwrap().to_string(), "-2.25");
}

#[test]
fn an_eye_or_a_base_that_no_sample_has_is_asked_for_and_refused() {
    let samples = [
        sample("a", "R 0.50I -1.25\r", &[("right_prism_horizontal", "0.50 in"), ("right_sphere", "-1.25")]),
        sample("b", "R 0.75I +2.00\r", &[("right_prism_horizontal", "0.75 in"), ("right_sphere", "2.00")]),
    ];
    let proposal = learnt(&samples);
    asks(&proposal, "no left lens", "measure one left lens", false);
    asks(&proposal, "base out", "base out", false);
    assert!(proposal.layout.read(b"L 0.50I -1.25\r").is_err());
    assert!(proposal.layout.read(b"R 0.50O -1.25\r").is_err());
}

#[test]
fn zeros_do_not_say_how_many_decimals_there_are() {
    let samples = [
        sample("a", "R,-125,000\r", &[("right_sphere", "-1.25"), ("right_addition", "0")]),
        sample("b", "L,+275,000\r", &[("left_sphere", "2.75"), ("left_addition", "0")]),
    ];
    asks(&learnt(&samples), "how many decimals", "is not zero", true);
}

#[test]
fn samples_that_contradict_are_named() {
    let same_bytes = [
        power("first", "R,-1.25,-0.50,91\r", "right", "-1.25", "-0.50", "91"),
        power("second", "R,-1.25,-0.50,91\r", "right", "-1.50", "-0.50", "91"),
    ];
    let why = learn(&same_bytes, "x").unwrap_err();
    assert_eq!(
        why.to_string(),
        "first and second contradict each other: their bytes are the same, and right sphere is -1.25 for one \
         and -1.50 for the other"
    );

    let one_wrong = [
        power("a", "R,-1.25,-0.50,91\r", "right", "-1.25", "-0.50", "91"),
        power("b", "L,+2.75,-1.25,15\r", "left", "2.75", "-1.25", "15"),
        power("c", "R,-3.75,-0.75,70\r", "right", "-3.75", "-0.75", "7"),
        power("d", "L,+0.75,-2.25,20\r", "left", "0.75", "-2.25", "20"),
    ];
    match learn(&one_wrong, "x").unwrap_err() {
        NotLearnt::Odd { odd, why } => {
            assert_eq!(odd, "c");
            assert_eq!(why, "right axis was shown as 7, the bytes say 70");
        }
        other => panic!("{other}"),
    }

    // Hundredths or tenths: one of the two is wrong, and nothing says which.
    let scales = [
        sample("a", "R,+125\r", &[("right_sphere", "1.25")]),
        sample("b", "R,+275\r", &[("right_sphere", "27.5")]),
        sample("c", "R,+000\r", &[("right_sphere", "0")]),
    ];
    match learn(&scales, "x") {
        Err(NotLearnt::Contradiction { one, other, .. }) => {
            assert_eq!((one.as_str(), other.as_str()), ("a", "b"))
        }
        other => panic!("{:?}", other.map(|proposal| proposal.text().to_owned())),
    }
}

#[test]
fn nothing_is_learnt_from_too_little() {
    let one = [power("a", "R,-1.25,-0.50,91\r", "right", "-1.25", "-0.50", "91")];
    assert!(matches!(learn(&one, "x"), Err(NotLearnt::TooLittle(_))));
    let silent =
        [one[0].clone(), Sample { bytes: b"R,1\r".to_vec(), shown: Shown::default(), name: "b".to_owned() }];
    assert_eq!(learn(&silent, "x").unwrap_err().to_string(), "b: nothing is said of what the display showed");
    let absent = [
        power("a", "R,-1.25,-0.50,91\r", "right", "-1.25", "-0.50", "91"),
        power("b", "hello\r", "left", "2.75", "-1.25", "15"),
    ];
    assert!(matches!(learn(&absent, "x"), Err(NotLearnt::Unexplained { .. })));
}

#[test]
fn each_sample_is_tested_on_what_the_others_teach() {
    let samples = [
        power("a", "R,-1.25,-0.50,91\r", "right", "-1.25", "-0.50", "91"),
        power("b", "L,+2.75,-1.25,15\r", "left", "2.75", "-1.25", "15"),
        power("c", "R,-3.75,-0.75,70\r", "right", "-3.75", "-0.75", "70"),
        power("d", "L,+0.75,---,--\r", "left", "0.75", "-", "-"),
    ];
    let held = hold_one_out(&samples);
    assert_eq!(held[..3], [HeldOut::Right, HeldOut::Right, HeldOut::Right]);
    // Nobody else shows how a missing cylinder is written.
    assert!(matches!(&held[3], HeldOut::Refused(why) if why.contains("cylinder")), "{:?}", held[3]);
}

#[test]
fn what_a_display_cannot_show_is_refused() {
    let mut shown = Shown::default();
    assert!(shown.tell("right_spher", "1").unwrap_err().to_string().contains("right_sphere"));
    assert!(shown.tell("right_sphere", "abc").is_err());
    assert!(shown.tell("right_sphere", "99").is_err());
    assert!(shown.tell("right_prism_horizontal", "0.50 up").is_err());
    assert!(shown.tell("right_prism", "0.50 700").is_err());
    assert!(shown.tell("right_job", "1").is_err());
    shown.tell("right_axis", "").unwrap();
    assert!(shown.is_empty());
    shown.tell("right_sphere", "+1,25").unwrap();
    shown.tell("left_sphere", "\u{2212}1.25").unwrap();
    assert!(!shown.is_empty());
}

/// Bytes as lines have them, and any others.
fn bytes() -> impl Strategy<Value = Vec<u8>> {
    let likely = prop::sample::select(b"0123456789+-.,; |=RLSCA\r\n\t\x02\x03".to_vec());
    prop::collection::vec(prop_oneof![9 => likely, 1 => any::<u8>()], 0..40)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(150))]

    /// Whatever was captured and typed in: no panic, and what is proposed reads every sample.
    #[test]
    fn arbitrary_captures(
        captures in prop::collection::vec(bytes(), 2..4),
        numbers in prop::collection::vec((-400..400_i32, 0..180_u32), 4),
    ) {
        let samples: Vec<Sample> = captures
            .into_iter()
            .zip(numbers)
            .map(|(bytes, (sphere, axis))| {
                let mut shown = Shown::default();
                shown.tell("right_sphere", &format!("{}.{}", sphere / 10, (sphere % 10).abs())).unwrap();
                shown.tell("left_axis", &axis.to_string()).unwrap();
                shown.tell("right_prism_horizontal", "0.5 in").unwrap();
                Sample { name: "x".to_owned(), bytes, shown }
            })
            .collect();
        if let Ok(proposal) = learn(&samples, "any") {
            for sample in &samples {
                let reading = fociline_parsers::learn::read(&proposal.layout, &sample.bytes);
                prop_assert!(reading.is_ok(), "{}", proposal.text());
            }
        }
        hold_one_out(&samples);
    }
}
