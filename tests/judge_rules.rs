//! Rule sets as text: the built-in ones, a lab's own, and what is refused.

use fociline::judge::RuleSet;

#[test]
fn every_built_in_rule_set_is_read_and_says_where_its_figures_come_from() {
    let names: Vec<_> = RuleSet::built_in_names().collect();
    assert_eq!(names, ["ansi-z80.1-2015", "iso-21987-2017", "njac-13-35-5.2"]);
    for name in names {
        let rules = RuleSet::built_in(name).unwrap();
        assert_eq!(rules.name(), name);
        assert!(rules.tables().iter().all(|table| !table.figures.is_empty() && !table.clause.is_empty()));
        assert_eq!(RuleSet::from_toml(rules.text(), name).unwrap(), rules, "its text gives it again");
    }
    assert!(RuleSet::built_in("no-such").is_none());
}

const LAB: &str = r#"name = "tarnvale-tight"
base = "ansi-z80.1-2015"
title = "Tarnvale Lens Works, tighter cylinder (an invented lab)"
required = ["prism"]

[power]
scheme = "highest-meridian"

[uncertainty]
cylinder = 0.03
axis = 1

[[table]]
judges = ["cylinder"]
lens = ["single-vision"]
clause = "lab cylinder"
figures = "the lab's own"
bands = [
  { cylinder = { from = 0.00, to = 4.00 }, limit = 0.10 },
  { cylinder = { above = 4.00 }, percent = 2.5 },
]
"#;

#[test]
fn a_lab_starts_from_a_built_in_one_and_replaces_tables() {
    let rules = RuleSet::from_toml(LAB, "tarnvale.toml").unwrap();
    assert_eq!((rules.name(), rules.edition()), ("tarnvale-tight", "2015"));
    assert!(rules.decision().contains("JCGM 106") && rules.decision().contains("cylinder 0.03"));
    assert!(!rules.notes().iter().any(|note| note.contains("looser")), "{:?}", rules.notes());
    assert!(rules.notes().iter().any(|note| note.contains("differs from its base")), "{:?}", rules.notes());
    assert_eq!(RuleSet::from_toml(rules.text(), "again").unwrap(), rules, "its text carries its base");
}

#[test]
fn what_is_looser_than_the_base_is_said() {
    let note = |from: &str, to: &str| {
        let text = LAB.replace(from, to);
        assert_ne!(text, LAB);
        let rules = RuleSet::from_toml(&text, "t").unwrap();
        rules.notes().iter().find(|note| note.contains("looser")).cloned()
    };
    assert_eq!(note("limit = 0.10", "limit = 0.13"), None);
    let loose = note("limit = 0.10", "limit = 0.14").unwrap();
    assert_eq!(
        loose,
        "looser than its base ansi-z80.1-2015: for example at power 0, cylinder 0 (lab cylinder)"
    );
    // 3.5 percent of 4.3 is 0.1505, and the base has 0.15 up to 4.50.
    assert!(note("percent = 2.5", "percent = 3.5").unwrap().contains("cylinder 4.5"));
    // Never more than 4 percent above 4.50, never more than 0.15 up to it.
    assert_eq!(note("percent = 2.5", "percent = 3.3"), None);
    let range = "above = 4.00 }, percent = 2.5";
    assert!(note(range, "above = 4.00 }, percent = 4.1").unwrap().contains("cylinder"));
    let bands = &LAB[LAB.find("bands").unwrap()..];
    assert!(note(bands, "not_judged = \"never\"\n").unwrap().contains("not judged for single-vision lenses"));
}

#[test]
fn a_place_looser_than_the_base_is_said() {
    let note = |band: &str| {
        let text = format!(
            "name = \"t\"\nbase = \"ansi-z80.1-2015\"\n[[table]]\njudges = [\"prism-imbalance-horizontal\"]\nlens = [\"progressive\"]\nclause = \"c\"\nfigures = \"f\"\nbands = [{{ power = {{ from = 0, to = 3.375 }}, limit = 0.67 }}, {band}]\n"
        );
        RuleSet::from_toml(&text, "t").unwrap().notes().iter().any(|note| note.contains("than its base"))
    };
    assert!(!note("{ power = { above = 3.375 }, limit_mm = 1.0, each = true }"));
    assert!(note("{ power = { above = 3.375 }, limit_mm = 1.1, each = true }"));
    assert!(note("{ power = { above = 3.375 }, limit_mm = 1.0 }"), "the pair together instead of each lens");
    assert!(note("{ power = { above = 3.375 }, limit = 0.67 }"), "another kind of test");
}

#[test]
fn the_example_of_a_labs_own_rule_set_is_read() {
    let rules = RuleSet::from_toml(include_str!("../contrib/rules/tarnvale.toml"), "tarnvale.toml").unwrap();
    let looser: Vec<_> = rules.notes().iter().filter(|note| note.contains("looser")).collect();
    assert_eq!(
        looser,
        ["looser than its base ansi-z80.1-2015: not judged for multifocal lenses (near distance)"]
    );
}

#[test]
fn each_mistake_is_one_message_with_its_line() {
    for (from, to, line, expected) in [
        ("limit = 0.10", "limits = 0.10", 19, "unknown field `limits`"),
        ("title =", "titel =", 3, "unknown field `titel`"),
        ("required = [\"prism\"]", "required = [\"prsim\"]", 4, "unknown variant `prsim`"),
        ("above = 4.00", "from = 4.00", 20, "overlaps the band of line 19"),
        ("from = 0.00, to = 4.00", "from = 5.00, to = 4.00", 19, "ends are inverted"),
        ("from = 0.00, to = 4.00", "above = 4.00, to = 4.00", 19, "ends are inverted"),
        ("from = 0.00, to = 4.00", "from = 0.00, above = 4.00", 19, "only one of from and above"),
        ("from = 0.00, to = 4.00 ", "", 19, "a range without ends"),
        ("limit = 0.10", "note = \"x\"", 19, "a band without a limit"),
        ("limit = 0.10", "limit = -0.10", 19, "-0.10 is not a magnitude"),
        ("limit = 0.10", "limit = \"much\"", 19, "is not a magnitude"),
        ("limit = 0.10", "percent = 100000.0", 19, "is not a magnitude"),
        ("limit = 0.10", "limit = nan", 19, "nan is not a magnitude"),
        ("limit = 0.10", "limit = 0.10, limit_mm = 1", 19, "are for prism only"),
        ("cylinder = { above", "prism = { above", 20, "cannot depend on prism"),
        ("base = \"ansi-z80.1-2015\"", "base = \"ansi\"", 2, "one of ansi-z80.1-2015, iso-21987-2017"),
        ("axis = 1", "axes = 1", 11, "axes is not a quantity"),
        ("scheme = \"highest-meridian\"", "scheme = \"highest\"", 7, "unknown variant `highest`"),
        ("name = \"tarnvale-tight\"", "name = \"njac-13-35-5.2\"", 1, "a name of the lab's own"),
        ("[power]", "[power", 6, ""),
    ] {
        let text = LAB.replacen(from, to, 1);
        assert_ne!(text, LAB, "{from}");
        let error = RuleSet::from_toml(&text, "tarnvale.toml").expect_err(to);
        assert_eq!(error.line, line, "{to}: {error}");
        assert!(error.message.contains(expected), "{to}: {error}");
        assert!(!error.to_string().contains('\n'), "one line: {error}");
        assert!(error.to_string().starts_with(&format!("tarnvale.toml:{line}: ")), "{error}");
    }
}

#[test]
fn two_tables_for_the_same_lenses_are_refused_and_gaps_are_allowed() {
    let table = &LAB[LAB.find("[[table]]").unwrap()..];
    let error = RuleSet::from_toml(&format!("{LAB}{table}"), "t").unwrap_err();
    assert!(error.message.contains("line 13") && error.line == 22, "{error}");
    RuleSet::from_toml(&format!("{LAB}{}", table.replace("single-vision", "progressive")), "t").unwrap();
    RuleSet::from_toml(&LAB.replace("above = 4.00", "above = 6.00"), "t").unwrap();
}

#[test]
fn a_place_is_tested_instead_of_prism_imbalance_only_above_a_power() {
    let with = |band: &str| {
        let table = format!(
            "{LAB}[[table]]\njudges = [\"prism-imbalance-vertical\"]\nclause = \"c\"\nfigures = \"f\"\nbands = [{band}]\n"
        );
        RuleSet::from_toml(&table, "t").map_err(|error| error.message)
    };
    assert!(with("{ power = { above = 3.00 }, limit_mm = 1.0, each = true }").is_ok());
    for (band, expected) in [
        ("{ limit_mm = 1.0 }", "needs a power above 0"),
        ("{ power = { from = 0 }, limit_mm = 1.0 }", "needs a power above 0"),
        ("{ power = { above = 0 }, limit = 1, limit_mm = 1.0 }", "limit_mm stands alone"),
        ("{ limit = 1, each = true }", "each belongs to a limit_mm"),
        ("{ percent = 1 }", "percent is not for prism"),
    ] {
        assert!(with(band).unwrap_err().contains(expected), "{band}");
    }
}

#[test]
fn without_a_base_everything_has_to_be_said() {
    let bare = LAB.replace("base = \"ansi-z80.1-2015\"\n", "");
    let error = RuleSet::from_toml(&bare, "t").unwrap_err();
    assert!(error.message.contains("edition is missing"), "{error}");
    let error = RuleSet::from_toml("name = \"x\"\n", "t").unwrap_err();
    assert!(error.message.contains("scheme"), "{error}");
}
