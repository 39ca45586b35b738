//! The rules for the edges, one test each.

use ItemOutcome::{Borderline, Fail, NotJudged, NotMeasured, Pass};
use fociline::judge::verdict::{Item, ItemOutcome, Outcome, Verdict};
use fociline::judge::{RuleSet, files::judge_texts};

const ANSI: &str = "ansi-z80.1-2015";
const ISO: &str = "iso-21987-2017";
const NJ: &str = "njac-13-35-5.2";

/// Judges by a built-in rule set. `kind` is the order's lens, and "uncut" after it.
fn judged(rules: &str, kind: &str, ordered: &str, measured: &str) -> Verdict {
    judged_by(&RuleSet::built_in(rules).unwrap(), kind, ordered, measured)
}

fn judged_by(rules: &RuleSet, kind: &str, ordered: &str, measured: &str) -> Verdict {
    let (lens, mounted) = match kind.split_once(' ') {
        Some((lens, "uncut")) => (lens, false),
        _ => (kind, true),
    };
    let order = format!(r#"{{"job":"4471","lens":"{lens}","mounted":{mounted},{ordered}}}"#);
    judge_texts(&order, &format!("{{{measured}}}"), rules).unwrap()
}

fn find<'a>(verdict: &'a Verdict, what: &str) -> &'a Item {
    let (eye, quantity) = what.split_once(' ').unwrap();
    verdict
        .items
        .iter()
        .find(|item| item.eye.to_string() == eye && item.quantity.to_string() == quantity)
        .unwrap_or_else(|| panic!("no {what} in {verdict:#?}"))
}

fn has(verdict: &Verdict, what: &str) -> bool {
    let (eye, quantity) = what.split_once(' ').unwrap();
    verdict.items.iter().any(|item| item.eye.to_string() == eye && item.quantity.to_string() == quantity)
}

fn notes(item: &Item) -> String {
    item.notes.join("; ")
}

fn number(text: &str) -> Option<rust_decimal::Decimal> {
    Some(text.parse().unwrap())
}

const SV: &str = "single-vision";

#[test]
fn cut_eighths_choose_the_band_and_are_noted_but_deviations_are_as_written() {
    let verdict = judged(
        ISO,
        SV,
        r#""right":{"sphere":0.00,"cylinder":-0.12,"axis":90}"#,
        r#""right":{"sphere":0.00,"cylinder":-0.12,"axis":106}"#,
    );
    let axis = find(&verdict, "right axis");
    assert_eq!((axis.outcome, axis.limit), (Pass, number("16")));
    assert!(notes(axis).contains("-0.12 is taken as -0.125"), "{axis:?}");

    // 3.37 stands for 3.375, which is the end of the band for vertical imbalance.
    let verdict = judged(
        ANSI,
        SV,
        r#""right":{"sphere":3.37},"left":{"sphere":3.38}"#,
        r#""right":{"sphere":3.50,"prism":[]},"left":{"sphere":3.38,"prism":[]}"#,
    );
    assert_eq!(find(&verdict, "right sphere-meridian").deviation, number("0.13"));
    assert_eq!(find(&verdict, "right sphere-meridian").outcome, Pass);
    assert_eq!(find(&verdict, "pair prism-imbalance-vertical").unit, "mm", "3.38 is beyond 3.375");
    let verdict = judged(
        ANSI,
        SV,
        r#""right":{"sphere":3.37},"left":{"sphere":3.37}"#,
        r#""right":{"sphere":3.37,"prism":[]},"left":{"sphere":3.37,"prism":[]}"#,
    );
    assert_eq!(find(&verdict, "pair prism-imbalance-vertical").unit, "prism-D");
}

#[test]
fn a_measured_value_is_never_taken_as_an_eighth() {
    let verdict = judged(
        ANSI,
        SV,
        r#""right":{"sphere":1.00,"cylinder":0.00}"#,
        r#""right":{"sphere":1.00,"cylinder":-0.12}"#,
    );
    let cylinder = find(&verdict, "right cylinder");
    assert_eq!((cylinder.measured, cylinder.outcome), (number("-0.12"), Pass));
    assert!(cylinder.notes.is_empty());
}

#[test]
fn what_falls_into_a_gap_is_not_judged_and_the_verdict_is_incomplete() {
    let lens = r#""right":{"sphere":6.10,"cylinder":0.00}"#;
    let verdict = judged(NJ, SV, lens, lens);
    let sphere = find(&verdict, "right sphere-meridian");
    assert_eq!((sphere.outcome, sphere.limit), (NotJudged, None));
    assert!(notes(sphere).contains("not covered by this rule set"));
    assert_eq!(verdict.outcome, Outcome::Incomplete);

    let lens = r#""right":{"sphere":1.00,"cylinder":-0.45,"axis":20}"#;
    let verdict = judged(NJ, SV, lens, lens);
    assert_eq!(find(&verdict, "right axis").outcome, NotJudged);
    assert_eq!(verdict.outcome, Outcome::Incomplete);

    let failing = judged(
        NJ,
        SV,
        r#""right":{"sphere":6.10,"cylinder":0.00}"#,
        r#""right":{"sphere":6.10,"cylinder":-0.50,"axis":1}"#,
    );
    assert_eq!(failing.outcome, Outcome::Fail, "a fail goes before a gap");
}

#[test]
fn percent_limits_are_taken_of_the_order_and_not_rounded() {
    let with = |measured: &str| {
        let measured = format!(r#""right":{{"sphere":{measured},"cylinder":0.00}}"#);
        let verdict = judged(ANSI, SV, r#""right":{"sphere":-7.33,"cylinder":0.00}"#, &measured);
        let item = find(&verdict, "right sphere-meridian");
        (item.limit, item.outcome)
    };
    assert_eq!(with("-7.4766"), (number("0.1466"), Pass));
    assert_eq!(with("-7.4767"), (number("0.1466"), Fail));
    assert_eq!(with("-7.1834"), (number("0.1466"), Pass));
}

#[test]
fn an_axis_deviates_on_a_half_circle() {
    let deviation = |ordered: u32, measured: u32| {
        let verdict = judged(
            ANSI,
            SV,
            &format!(r#""right":{{"sphere":1.00,"cylinder":-1.00,"axis":{ordered}}}"#),
            &format!(r#""right":{{"sphere":1.00,"cylinder":-1.00,"axis":{measured}}}"#),
        );
        find(&verdict, "right axis").deviation
    };
    assert_eq!(deviation(178, 2), number("4"));
    assert_eq!(deviation(2, 178), number("-4"));
    assert_eq!(deviation(0, 180), number("0"));
    assert_eq!(deviation(180, 3), number("3"));
}

#[test]
fn no_or_too_small_a_cylinder_leaves_the_axis_unjudged_and_the_verdict_whole() {
    for (rules, ordered) in [
        (ANSI, r#""right":{"sphere":1.00,"cylinder":0.00}"#),
        (ISO, r#""right":{"sphere":1.00,"cylinder":-0.10,"axis":30}"#),
    ] {
        let verdict = judged(rules, SV, ordered, r#""right":{"sphere":1.00,"cylinder":-0.09,"axis":120}"#);
        assert_eq!(find(&verdict, "right axis").outcome, NotJudged);
        assert_eq!(find(&verdict, "right cylinder").outcome, Pass);
        assert_eq!(verdict.outcome, Outcome::Pass);
    }
    let verdict = judged(
        ANSI,
        SV,
        r#""right":{"sphere":1.00}"#,
        r#""right":{"sphere":1.00,"cylinder":-0.14,"axis":120}"#,
    );
    assert_eq!(find(&verdict, "right cylinder").outcome, Fail, "a sphere was ordered");
}

#[test]
fn an_unwanted_tenth_of_cylinder_passes_by_one_standard_and_fails_by_another() {
    let (ordered, measured) = (
        r#""right":{"sphere":-1.75,"cylinder":0.00}"#,
        r#""right":{"sphere":-1.70,"cylinder":-0.10,"axis":20}"#,
    );
    assert_eq!(judged(ANSI, SV, ordered, measured).outcome, Outcome::Pass);
    let verdict = judged(ISO, SV, ordered, measured);
    assert_eq!(find(&verdict, "right cylinder").limit, number("0.09"));
    assert_eq!(verdict.outcome, Outcome::Fail);
}

#[test]
fn a_cylinder_without_a_measured_axis_is_incomplete() {
    let verdict = judged(
        ANSI,
        SV,
        r#""right":{"sphere":1.00,"cylinder":-1.00,"axis":30}"#,
        r#""right":{"sphere":1.00,"cylinder":-1.00}"#,
    );
    assert_eq!(find(&verdict, "right axis").outcome, NotMeasured);
    assert_eq!(find(&verdict, "right cylinder").outcome, Pass);
    assert_eq!(verdict.outcome, Outcome::Incomplete);
}

#[test]
fn a_sphere_is_no_principal_power_while_its_cylinder_is_to_come() {
    let verdict = judged(
        ANSI,
        SV,
        r#""right":{"sphere":1.00,"cylinder":-1.00,"axis":30}"#,
        r#""right":{"sphere":0.00}"#,
    );
    assert_eq!(find(&verdict, "right sphere-meridian").outcome, NotMeasured);
    assert_eq!(verdict.outcome, Outcome::Incomplete);
}

#[test]
fn the_power_scheme_is_part_of_the_rule_set_and_is_named() {
    // The published example in which the two readings of the standard differ.
    let (ordered, measured) = (
        r#""right":{"sphere":-6.00,"cylinder":-2.00,"axis":20}"#,
        r#""right":{"sphere":-6.15,"cylinder":-2.00,"axis":20}"#,
    );
    let guide = judged(ANSI, SV, ordered, measured);
    assert_eq!(find(&guide, "right sphere-meridian").limit, number("0.13"));
    assert_eq!(guide.outcome, Outcome::Fail);
    assert!(guide.notes[0].contains("of the sphere meridian"), "{:?}", guide.notes);
    assert!(!has(&guide, "right second-meridian"));

    let older = RuleSet::from_toml(
        "name = \"older\"\nbase = \"ansi-z80.1-2015\"\n[power]\nscheme = \"highest-meridian\"\n",
        "older.toml",
    )
    .unwrap();
    let older = judged_by(&older, SV, ordered, measured);
    assert_eq!(find(&older, "right second-meridian").limit, number("0.16"));
    assert_eq!(older.outcome, Outcome::Pass);
    assert!(older.notes[0].contains("of the meridian of highest absolute power"), "{:?}", older.notes);
    assert!(!has(&older, "right sphere-meridian"));
}

#[test]
fn both_additions_are_judged_by_the_band_of_the_order() {
    let verdict = judged(
        ANSI,
        "multifocal",
        r#""right":{"sphere":1.00,"addition":4.25,"second_addition":2.00}"#,
        r#""right":{"sphere":1.00,"addition":4.07,"second_addition":1.87}"#,
    );
    let (near, second) = (find(&verdict, "right addition"), find(&verdict, "right second-addition"));
    assert_eq!((near.limit, near.outcome), (number("0.18"), Pass));
    assert_eq!((second.limit, second.outcome), (number("0.12"), Fail));
}

#[test]
fn one_lens_may_pass_by_prism_or_by_the_place_of_its_reference_point() {
    let with = |measured: &str| {
        judged(
            ANSI,
            "single-vision uncut",
            r#""right":{"sphere":-4.00,"cylinder":0.00,"reference_height":20}"#,
            measured,
        )
    };
    let by_prentice =
        with(r#""right":{"sphere":-4.00,"cylinder":0.00,"prism":[{"amount":0.40,"base":"up"}]}"#);
    let item = find(&by_prentice, "right prism-vertical");
    assert_eq!((item.outcome, item.limit), (Pass, number("0.40")));
    assert!(notes(item).contains("Prentice"), "{item:?}");
    assert_eq!(by_prentice.outcome, Outcome::Pass);

    let beyond = with(r#""right":{"sphere":-4.00,"cylinder":0.00,"prism":[{"amount":0.41,"base":"up"}]}"#);
    assert_eq!(find(&beyond, "right prism-vertical").outcome, Fail);

    let by_place = with(
        r#""right":{"sphere":-4.00,"cylinder":0.00,"prism":[{"amount":0.41,"base":"up"}],"reference_height":21.0}"#,
    );
    let item = find(&by_place, "right prism-vertical");
    assert_eq!((item.outcome, item.unit.as_ref(), item.deviation), (Pass, "mm", number("1.0")));
}

#[test]
fn equal_prism_thinning_in_both_lenses_cancels() {
    let verdict = judged(
        ANSI,
        "progressive",
        r#""right":{"sphere":1.00},"left":{"sphere":1.50}"#,
        r#""right":{"sphere":1.00,"prism":[{"amount":1.50,"base":"down"}]},"left":{"sphere":1.50,"prism":[{"amount":1.50,"base":"down"}]}"#,
    );
    let item = find(&verdict, "pair prism-imbalance-vertical");
    assert_eq!((item.deviation, item.outcome), (number("0"), Pass));
    assert!(!has(&verdict, "right prism-vertical"), "of a pair the imbalance is judged");
}

#[test]
fn horizontal_prism_of_a_pair_adds_up_and_vertical_prism_differs() {
    let verdict = judged(
        ANSI,
        SV,
        r#""right":{"sphere":1.00,"prism":[{"amount":1.00,"base":"in"}]},"left":{"sphere":1.00}"#,
        r#""right":{"sphere":1.00,"prism":[{"amount":1.00,"base":"in"},{"amount":0.25,"base":"up"}]},"left":{"sphere":1.00,"prism":[{"amount":0.50,"base":180},{"amount":0.25,"base":"down"}]}"#,
    );
    let horizontal = find(&verdict, "pair prism-imbalance-horizontal");
    assert_eq!(horizontal.ordered, number("1.00"));
    assert_eq!(horizontal.measured, number("1.50"));
    assert_eq!((horizontal.deviation, horizontal.outcome), (number("0.50"), Pass));
    let vertical = find(&verdict, "pair prism-imbalance-vertical");
    assert_eq!((vertical.deviation, vertical.outcome), (number("0.50"), Fail));
}

#[test]
fn above_the_threshold_measured_places_go_before_prism() {
    let ordered = r#""right":{"sphere":-5.00,"pd":31,"reference_height":20},"left":{"sphere":-1.00,"pd":32,"reference_height":20}"#;
    let without = judged(
        ANSI,
        SV,
        ordered,
        r#""right":{"sphere":-5.00,"prism":[{"amount":0.60,"base":"up"}]},"left":{"sphere":-1.00,"prism":[]}"#,
    );
    let item = find(&without, "pair prism-imbalance-vertical");
    assert_eq!((item.deviation, item.limit, item.outcome), (number("1.2"), number("1.0"), Fail));
    assert!(notes(item).contains("turned into millimetres by Prentice's rule at 5.00 D"), "{item:?}");

    let with = judged(
        ANSI,
        SV,
        ordered,
        r#""right":{"sphere":-5.00,"pd":32,"reference_height":20.5,"prism":[{"amount":0.60,"base":"up"}]},"left":{"sphere":-1.00,"pd":33.5,"reference_height":19.5,"prism":[]}"#,
    );
    let vertical = find(&with, "pair prism-imbalance-vertical");
    assert_eq!((vertical.deviation, vertical.outcome), (number("1.0"), Pass));
    assert!(notes(vertical).contains("by the measured reference-height"), "{vertical:?}");
    let horizontal = find(&with, "pair prism-imbalance-horizontal");
    assert_eq!((horizontal.ordered, horizontal.measured), (number("63"), number("65.5")));
    assert_eq!((horizontal.limit, horizontal.outcome), (number("2.5"), Pass));
    assert_eq!(find(&with, "right pd").outcome, NotJudged, "judged as the pair's imbalance");
    assert_eq!(with.outcome, Outcome::Pass);
}

#[test]
fn the_threshold_power_is_that_of_the_meridian_concerned() {
    // Power 5.00 horizontally and 3.00 vertically, then the other way round.
    for (axis, horizontal, vertical) in [(90, "mm", "prism-D"), (180, "mm", "mm")] {
        let lens = format!(r#"{{"sphere":-3.00,"cylinder":-2.00,"axis":{axis},"prism":[]}}"#);
        let both = format!(r#""right":{lens},"left":{lens}"#);
        let verdict = judged(ANSI, SV, &both, &both);
        assert_eq!(find(&verdict, "pair prism-imbalance-horizontal").unit, horizontal);
        assert_eq!(find(&verdict, "pair prism-imbalance-vertical").unit, vertical);
    }
}

#[test]
fn a_disputed_threshold_is_said_on_the_item_that_depends_on_it() {
    let note = |sphere: &str| {
        let lens = format!(r#"{{"sphere":{sphere},"prism":[]}}"#);
        let both = format!(r#""right":{lens},"left":{lens}"#);
        let verdict = judged(ANSI, "progressive", &both, &both);
        notes(find(&verdict, "pair prism-imbalance-horizontal"))
    };
    assert!(note("-3.50").contains("disputed threshold") && note("-3.75").contains("3.75 D"));
    assert!(!note("-3.37").contains("disputed") && !note("-4.00").contains("disputed"));
}

#[test]
fn figures_from_memory_say_so_on_the_item() {
    let lens = r#""right":{"sphere":-4.00,"prism":[]},"left":{"sphere":-4.00,"prism":[]}"#;
    let verdict = judged(ISO, SV, lens, lens);
    assert!(notes(find(&verdict, "pair prism-imbalance-vertical")).contains("from memory"));
    assert!(verdict.notes.iter().any(|note| note.contains("from memory")));
}

#[test]
fn a_pair_may_pass_by_each_lens_or_in_total() {
    let with = |right: &str, left: &str| {
        judged(
            NJ,
            SV,
            r#""right":{"sphere":-1.00},"left":{"sphere":-1.00}"#,
            &format!(
                r#""right":{{"sphere":-1.00,"prism":[{{"amount":{right},"base":"up"}}]}},"left":{{"sphere":-1.00,"prism":[{{"amount":{left},"base":"down"}}]}}"#
            ),
        )
        .outcome
    };
    assert_eq!(with("0.25", "0.25"), Outcome::Pass, "each lens, and in total");
    assert_eq!(with("0.45", "0.05"), Outcome::Pass, "in total");
    assert_eq!(with("0.45", "0.06"), Outcome::Fail, "neither");
}

#[test]
fn what_was_ordered_and_not_measured_is_missed() {
    let verdict = judged(
        ANSI,
        "multifocal",
        r#""right":{"sphere":1.00,"addition":2.00,"segment_height":18,"prism":[{"amount":0.5,"base":"in"}]}"#,
        r#""right":{"sphere":1.00}"#,
    );
    for what in ["right addition", "right segment-height", "right prism-horizontal"] {
        assert_eq!(find(&verdict, what).outcome, NotMeasured, "{what}");
    }
    assert_eq!(verdict.outcome, Outcome::Incomplete);
}

#[test]
fn an_eye_without_a_reading_is_missed_whole() {
    let verdict = judged(
        ANSI,
        SV,
        r#""right":{"sphere":1.00},"left":{"sphere":-1.00,"cylinder":-0.50,"axis":10,"addition":1.00}"#,
        r#""right":{"sphere":1.00}"#,
    );
    for what in ["left sphere-meridian", "left cylinder", "left axis", "left addition"] {
        assert_eq!(find(&verdict, what).outcome, NotMeasured, "{what}");
    }
    assert_eq!(verdict.outcome, Outcome::Incomplete);
    assert_eq!(find(&verdict, "right sphere-meridian").outcome, Pass);
}

#[test]
fn what_was_measured_and_not_ordered_is_recorded_without_effect() {
    let verdict = judged(
        ANSI,
        SV,
        r#""right":{"sphere":1.00}"#,
        r#""right":{"sphere":1.00,"addition":2.00,"pd":31},"left":{"sphere":9.00,"prism":[{"amount":5,"base":"up"}]}"#,
    );
    for what in ["right addition", "right pd", "left sphere-meridian", "left prism-vertical"] {
        assert_eq!(find(&verdict, what).outcome, NotJudged, "{what}");
    }
    assert_eq!(verdict.outcome, Outcome::Pass);
}

#[test]
fn a_measured_prism_is_judged_even_where_none_was_ordered() {
    let verdict = judged(
        ANSI,
        "single-vision uncut",
        r#""right":{"sphere":1.00}"#,
        r#""right":{"sphere":1.00,"prism":[{"amount":0.34,"base":"out"}]}"#,
    );
    let item = find(&verdict, "right prism-horizontal");
    assert_eq!((item.ordered, item.deviation, item.outcome), (number("0"), number("-0.34"), Fail));
}

#[test]
fn prism_neither_ordered_nor_measured_is_missed_only_where_required() {
    let both = r#""right":{"sphere":1.00},"left":{"sphere":1.00}"#;
    let verdict = judged(ANSI, SV, both, both);
    assert_eq!(find(&verdict, "pair prism-imbalance-vertical").outcome, NotMeasured);
    assert_eq!(verdict.outcome, Outcome::Pass);

    let strict = RuleSet::from_toml(
        "name = \"strict\"\nbase = \"ansi-z80.1-2015\"\nrequired = [\"prism\", \"pd\"]\n",
        "strict.toml",
    )
    .unwrap();
    let verdict = judged_by(&strict, SV, both, both);
    assert_eq!(verdict.outcome, Outcome::Incomplete);
    assert_eq!(find(&verdict, "left pd").outcome, NotMeasured);
    let measured = r#""right":{"sphere":1.00,"prism":[],"pd":31},"left":{"sphere":1.00,"prism":[],"pd":31}"#;
    assert_eq!(judged_by(&strict, SV, both, measured).outcome, Outcome::Pass);
}

#[test]
fn prism_of_one_lens_of_a_pair_alone_is_incomplete() {
    let verdict = judged(
        ANSI,
        SV,
        r#""right":{"sphere":1.00},"left":{"sphere":1.00}"#,
        r#""right":{"sphere":1.00,"prism":[{"amount":3,"base":"up"}]},"left":{"sphere":1.00}"#,
    );
    assert_eq!(find(&verdict, "pair prism-imbalance-vertical").outcome, NotMeasured);
    assert_eq!(verdict.outcome, Outcome::Incomplete);
}

#[test]
fn an_order_for_one_eye_has_no_pair_items() {
    let lens = r#""left":{"sphere":1.00,"pd":31,"prism":[{"amount":1.00,"base":"in"}]}"#;
    let verdict = judged(ANSI, SV, lens, lens);
    assert!(verdict.items.iter().all(|item| item.eye.to_string() != "pair"));
    assert_eq!(find(&verdict, "left prism-horizontal").outcome, Pass, "judged as a single lens");
    assert_eq!(verdict.outcome, Outcome::Pass);
}

#[test]
fn places_are_not_missed_on_an_uncut_lens() {
    let verdict = judged(
        ANSI,
        "progressive uncut",
        r#""right":{"sphere":1.00,"pd":31,"reference_height":22}"#,
        r#""right":{"sphere":1.00}"#,
    );
    assert_eq!(find(&verdict, "right pd").outcome, NotJudged);
    assert_eq!(verdict.outcome, Outcome::Pass);
}

#[test]
fn segment_heights_are_judged_for_each_lens_and_for_the_pair() {
    let verdict = judged(
        ANSI,
        "multifocal",
        r#""right":{"sphere":1.00,"segment_height":18},"left":{"sphere":1.00,"segment_height":19}"#,
        r#""right":{"sphere":1.00,"segment_height":18.6},"left":{"sphere":1.00,"segment_height":18.5}"#,
    );
    assert_eq!(find(&verdict, "right segment-height").outcome, Pass);
    assert_eq!(find(&verdict, "left segment-height").outcome, Pass);
    let pair = find(&verdict, "pair segment-height");
    assert_eq!((pair.ordered, pair.measured), (number("-1"), number("0.1")));
    assert_eq!((pair.deviation, pair.outcome), (number("1.1"), Fail));
}

#[test]
fn declared_uncertainty_guards_both_sides_of_a_limit() {
    let rules = RuleSet::from_toml(
        "name = \"guarded\"\nbase = \"ansi-z80.1-2015\"\n[uncertainty]\nsphere-meridian = 0.03\n",
        "guarded.toml",
    )
    .unwrap();
    let with = |measured: &str, axis: u32| {
        judged_by(
            &rules,
            SV,
            r#""right":{"sphere":1.00,"cylinder":-1.00,"axis":90}"#,
            &format!(r#""right":{{"sphere":{measured},"cylinder":-1.00,"axis":{axis}}}"#),
        )
    };
    let item = |measured| find(&with(measured, 90), "right sphere-meridian").outcome;
    assert_eq!(item("1.10"), Pass);
    assert_eq!(item("1.101"), Borderline);
    assert_eq!(item("1.16"), Borderline);
    assert_eq!(item("1.161"), Fail);
    assert_eq!(item("0.84"), Borderline);
    assert_eq!(with("1.13", 90).outcome, Outcome::Borderline);
    assert_eq!(with("1.13", 95).outcome, Outcome::Fail, "a fail goes before borderline");
    assert!(with("1.13", 90).decision.contains("JCGM 106"));
    assert!(judged(ANSI, SV, r#""right":{"sphere":1}"#, "").decision.contains("simple acceptance"));
}

#[test]
fn what_a_lab_loosened_is_said_on_every_verdict() {
    let text = r#"name = "loose"
base = "ansi-z80.1-2015"
[[table]]
judges = ["addition"]
clause = "lab addition"
figures = "the lab's own"
bands = [{ limit = 0.15 }]
"#;
    let rules = RuleSet::from_toml(text, "loose.toml").unwrap();
    let lens = r#""right":{"sphere":1.00}"#;
    let verdict = judged_by(&rules, SV, lens, lens);
    assert!(verdict.notes.iter().any(|note| note.contains("looser than its base")), "{:?}", verdict.notes);
}

#[test]
fn numbers_keep_their_digits() {
    let verdict = judged(
        ANSI,
        SV,
        r#""right":{"sphere":-1.75,"cylinder":0.50,"axis":180}"#,
        r#""right":{"sphere":-1.25,"cylinder":-0.50,"axis":91}"#,
    );
    let json = serde_json::to_string(&verdict.items).unwrap();
    assert!(json.contains(
        r#""quantity":"sphere-meridian","ordered":-1.25,"measured":-1.25,"deviation":0.00,"limit":0.13,"unit":"D""#
    ));
    assert!(
        json.contains(r#""quantity":"axis","ordered":90,"measured":91,"deviation":1,"limit":7,"unit":"deg""#)
    );
}

#[test]
fn a_reading_without_anything_to_judge_never_passes() {
    let verdict = judged(ANSI, SV, r#""right":{"sphere":1.00}"#, "");
    assert_eq!(verdict.outcome, Outcome::Incomplete);
    let verdict = judged(ANSI, SV, r#""right":{"sphere":1.00}"#, r#""unspecified":{"sphere":1.00}"#);
    assert_eq!(verdict.outcome, Outcome::Incomplete);
    assert!(verdict.notes.iter().any(|note| note.contains("without an eye")));
}

#[test]
fn an_impossible_number_is_not_judged_and_harms_nothing() {
    let huge = "79228162514264337593543950335";
    let verdict = judged(
        ANSI,
        SV,
        r#""right":{"sphere":1.00,"cylinder":-1.00,"axis":3}"#,
        &format!(r#""right":{{"sphere":{huge},"cylinder":{huge},"axis":{huge}}}"#),
    );
    assert_eq!(verdict.outcome, Outcome::Incomplete);
    assert!(verdict.notes.iter().any(|note| note.contains("impossible number")), "{:?}", verdict.notes);
}

#[test]
fn unusable_texts_are_one_line_that_says_what_and_where() {
    let rules = RuleSet::built_in(ANSI).unwrap();
    let order = r#"{"job":"4471","lens":"single-vision","mounted":true,"right":{"sphere":1.00}}"#;
    let error = |order: &str, reading: &str| judge_texts(order, reading, &rules).unwrap_err().to_string();
    assert!(error(order, "{\n\"right\":{\"spere\":1}}").starts_with("reading, line 2, column"));
    assert!(error(order, "{\"right\":{\"spere\":1}}").contains("unknown field `spere`"));
    assert_eq!(error(order, r#"{"job":"4472"}"#), "the reading is of job 4472, the order of job 4471");
    assert!(error("[]", "{}").contains("0 orders in the text; one is expected"));
    assert!(error("{", "{}").starts_with("order: line 1: not JSON"));
}
