//! PDF tickets, read again by programs of others: poppler for words, sizes and pictures, zbar for
//! the barcode.

use super::cases::{Case, all, named};
use fociline::ticket::font::{self, Font};
use fociline::ticket::page::{Page, Style};
use fociline::ticket::{Size, TicketError, pdf};
use std::path::{Path, PathBuf};
use std::process::Command;
use tempfile::TempDir;

struct Printed {
    folder: TempDir,
}

fn ran(program: &str, args: &[&str]) -> String {
    let output = Command::new(program).args(args).output();
    let output = output.unwrap_or_else(|why| panic!("{program}: {why}: contrib/check installs it"));
    assert!(output.status.success(), "{program} {args:?}: {}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8(output.stdout).expect("text")
}

impl Printed {
    fn of(case: &Case, size: &str) -> Self {
        Self::from(&case.ticket().pdf(size.parse().expect("a size")).expect("it fits"))
    }

    fn from(bytes: &[u8]) -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        std::fs::write(folder.path().join("ticket.pdf"), bytes).expect("written");
        Self { folder }
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    fn file(&self) -> String {
        self.path("ticket.pdf").to_str().expect("text").to_owned()
    }

    /// Its words, in lines as they stand.
    fn words(&self) -> String {
        ran("pdftotext", &["-layout", "-enc", "UTF-8", &self.file(), "-"])
    }

    /// Width and height in points.
    fn size(&self) -> (f32, f32) {
        let info = ran("pdfinfo", &[&self.file()]);
        assert!(info.contains("Pages:           1"), "{info}");
        let size = info.lines().find_map(|line| line.strip_prefix("Page size:")).expect("a size");
        let number = |word: Option<&str>| word.and_then(|word| word.parse().ok()).expect("a number");
        let mut words = size.split_whitespace();
        let width = number(words.next());
        (width, number(words.nth(1)))
    }

    fn picture(&self) -> PathBuf {
        let root = self.path("ticket");
        ran("pdftoppm", &["-r", "300", "-png", "-singlefile", &self.file(), root.to_str().expect("text")]);
        self.path("ticket.png")
    }

    fn scanned(&self) -> Vec<String> {
        let picture = self.picture();
        let output = Command::new("zbarimg")
            .args(["--quiet", "--raw", "-Sdisable", "-Scode128.enable"])
            .arg(picture)
            .output()
            .expect("zbarimg is there: contrib/check installs it");
        String::from_utf8(output.stdout).expect("text").lines().map(str::to_owned).collect()
    }
}

fn mm(points: f32) -> f32 {
    points * 25.4 / 72.0
}

#[test]
fn the_job_number_is_scanned_again_from_the_picture() {
    for (name, size) in [
        ("pass", "80"),
        ("pass", "62x29"),
        ("fail-many", "80"),
        ("fail-many", "62"),
        ("fail-many", "58"),
        ("single-eye", "62x29"),
        ("single-eye", "40x60"),
        ("long-number", "210"),
    ] {
        let case = named(name);
        assert_eq!(Printed::of(&case, size).scanned(), [case.ticket().job.as_str()], "{name} on {size}");
    }
}

#[test]
fn a_number_without_a_barcode_is_said_to_have_none() {
    for (name, said) in [("long-number", "too long for this width"), ("other-letters", "has not all of its")]
    {
        let printed = Printed::of(&named(name), "80");
        assert!(printed.scanned().is_empty());
        let words = printed.words();
        assert!(words.contains("no barcode: ") && words.contains(said), "{words}");
    }
}

#[test]
fn the_page_is_as_large_as_it_was_asked_for() {
    for size in ["62x29", "62x100", "100x150", "210x297"] {
        let (width, height) = Printed::of(&named("pass"), size).size();
        let wanted: Size = size.parse().expect("a size");
        assert!((mm(width) - wanted.width_mm as f32).abs() < 0.01, "{size}: {width}");
        assert!((mm(height) - wanted.height_mm.expect("a height") as f32).abs() < 0.01, "{size}: {height}");
    }
    // Without a height it is as high as it has to be, in whole millimetres.
    let [short, long] = ["pass", "fail-many"].map(|name| Printed::of(&named(name), "80").size());
    assert!((mm(short.0) - 80.0).abs() < 0.01 && short.1 + 100.0 < long.1, "{short:?} {long:?}");
    assert!((mm(short.1) - mm(short.1).round()).abs() < 0.01, "{short:?}");
}

#[test]
fn every_word_of_a_ticket_is_on_the_paper() {
    for case in all() {
        let ticket = case.ticket();
        let words = Printed::of(&case, "80").words();
        let flat: String = words.split_whitespace().collect();
        let has = |text: &str| {
            // The glyph Delta is read as an increment (Adobe Glyph List).
            let known = |char: char| match font::code(char) {
                Some(_) if char == '\u{394}' => '\u{2206}',
                Some(_) => char,
                None => '?',
            };
            let text: String = text.split_whitespace().collect::<String>().chars().map(known).collect();
            assert!(
                flat.to_lowercase().contains(&text.to_lowercase()),
                "{}: {text:?} in\n{words}",
                case.name
            );
        };
        has(&ticket.station);
        has(ticket.job.as_str());
        has(ticket.word);
        has(fociline::ticket::content::CAUTION);
        ticket.overridden.iter().flatten().chain(&ticket.held).for_each(|text| has(text));
        for finding in &ticket.findings {
            has(&format!("{}: {}", finding.what, finding.how));
            finding.by().iter().for_each(|by| has(by));
        }
        for row in ticket.tables.iter().flat_map(|table| &table.rows) {
            has(&format!("{}{}{}", row.name, row.ordered, row.measured));
        }
        ticket.facts().iter().for_each(|(name, value)| has(&format!("{name}{value}")));
        let unknown = words.contains("? stands for");
        assert_eq!(unknown, case.name == "other-letters", "{words}");
    }
}

/// Poppler has the widths of the fonts from the AFM files that Adobe published.
#[test]
fn every_character_is_as_wide_as_poppler_has_it() {
    let drawn: Vec<char> = ('!'..='\u{3000}').filter(|char| font::code(*char).is_some()).collect();
    for font in [Font::Regular, Font::Bold] {
        let (size, end) = (10.0, 100.0);
        let mut page = Page::new(120.0, 5.0, 5.0);
        for char in &drawn {
            page.put_right(end, page.y, Style::new(font, size), &char.to_string());
            page.space(20.0);
        }
        let printed = Printed::from(&pdf::file(&named("pass").ticket(), &page, page.height()));
        let boxes = ran("pdftotext", &["-bbox", &printed.file(), "-"]);
        let words: Vec<&str> = boxes.lines().filter(|line| line.contains("<word")).collect();
        // A no-break space makes no word.
        assert_eq!(words.len(), drawn.len() - 1, "{font:?}");
        for word in words {
            let end_of = word.split("xMax=\"").nth(1).and_then(|rest| rest.split('"').next());
            let end_of: f32 = end_of.and_then(|end| end.parse().ok()).expect("a number");
            assert!((end_of - end).abs() < 0.01, "{font:?}: {word}");
        }
    }
}

#[test]
fn columns_of_numbers_end_under_each_other() {
    // Poppler places the words by its own widths of the fonts, not by those of this program.
    let printed = Printed::of(&named("fail-many"), "80");
    let boxes = ran("pdftotext", &["-bbox", &printed.file(), "-"]);
    let ends = |word: &str| -> Vec<f32> {
        let of_word = boxes.lines().filter(|line| line.contains(&format!(">{word}<")));
        let end = |line: &str| line.split("xMax=\"").nth(1)?.split('"').next()?.parse().ok();
        of_word.filter_map(end).collect()
    };
    let margin = 76.0 / 25.4 * 72.0;
    for word in ["measured", "+2.62", "33.0", "23.5", "\u{2212}2.87"] {
        let ends = ends(word);
        assert!(
            ends.iter().any(|end| (end - margin).abs() < 0.1),
            "{word} ends at {ends:?}, not at {margin}"
        );
    }
}

#[test]
fn what_does_not_fit_says_which_height_would_do() {
    let ticket = named("fail-many").ticket();
    let Err(TicketError::TooSmall { needs, .. }) = ticket.pdf("62x29".parse().expect("a size")) else {
        panic!("two lenses with ten findings do not fit on a label");
    };
    let fits = |height| ticket.pdf(Size { width_mm: 62, height_mm: Some(height) });
    assert!(fits(needs).is_ok());
    let refused = fits(needs - 1).expect_err("a millimetre less does not do").to_string();
    assert!(refused.contains(&format!("62x{} mm", needs - 1)), "{refused}");
    assert!(refused.contains(&format!("a height of {needs} mm")), "{refused}");
}

#[test]
fn every_ticket_is_drawn_within_its_paper() {
    for case in all() {
        for size in ["80", "58", "40"] {
            let printed = Printed::of(&case, size);
            let (width, height) = printed.size();
            let boxes = ran("pdftotext", &["-bbox", &printed.file(), "-"]);
            let edge = |line: &str, name: &str| -> Option<f32> {
                line.split(&format!("{name}=\"")).nth(1)?.split('"').next()?.parse().ok()
            };
            for word in boxes.lines().filter(|line| line.contains("<word")) {
                let inside = edge(word, "xMin") > Some(0.0)
                    && edge(word, "xMax") < Some(width)
                    && edge(word, "yMin") > Some(0.0)
                    && edge(word, "yMax") < Some(height);
                assert!(inside, "{} on {size}: {word}", case.name);
            }
        }
    }
}

/// For people who look at them: `FOCILINE_PICTURES=FOLDER cargo test --test ticket pictures`.
#[test]
fn pictures_are_drawn_of_all() {
    let kept = std::env::var_os("FOCILINE_PICTURES").map(PathBuf::from);
    for case in all() {
        for size in ["80", "62x29", "40", "62x60"] {
            let Ok(bytes) = case.ticket().pdf(size.parse().expect("a size")) else { continue };
            let printed = Printed::from(&bytes);
            let picture = printed.picture();
            assert!(std::fs::metadata(&picture).expect("drawn").len() > 1000);
            if let Some(folder) = kept.as_deref() {
                keep(folder, &format!("{}-{size}.png", case.name), &picture);
            }
        }
    }
}

fn keep(folder: &Path, name: &str, picture: &Path) {
    std::fs::copy(picture, folder.join(name)).expect("copied");
}
