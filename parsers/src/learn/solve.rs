//! Puts what was shown into the cells of a table.

use super::columns;
use super::field::{Codes, Is, Way, eye_word, marks, ways};
use super::lines::Kind;
use super::number::{core, trimmed};
use super::shown::{Key, Shown, Thing, Told};
use super::table::{Cut, Table, columns as columns_table, tables};
use crate::reading::Eye;

/// One cell with what it is.
#[derive(Debug, Clone)]
pub(super) struct Field {
    pub cell: usize,
    pub eye: Option<Eye>,
    pub is: Is,
}

/// One instrument writes one quantity in one way: what one eye's or one line's fields have shown
/// of codes and blanks holds for those of the other.
pub(super) fn pool(lines: &mut [Solved<'_>]) {
    let known: Vec<Is> = lines.iter().flat_map(|line| &line.fields).map(|field| field.is.clone()).collect();
    for field in lines.iter_mut().flat_map(|line| &mut line.fields) {
        known.iter().for_each(|other| field.is.learn_from(other));
    }
}

/// Something that can stand in either of two places.
#[derive(Debug, Clone)]
pub(super) struct TwoPlaces {
    pub key: Key,
    pub here: String,
    pub there: String,
    /// What would then stand here.
    pub swapped: Option<Key>,
}

/// A table whose cells are known.
#[derive(Debug, Clone)]
pub(super) struct Solved<'a> {
    pub table: Table<'a>,
    pub times: (usize, usize),
    /// Whose lens every line of this kind is about.
    pub line_eye: Option<Eye>,
    /// One for each cell.
    pub fields: Vec<Field>,
    pub two_places: Vec<TwoPlaces>,
    /// How many shown values it explains.
    pub score: usize,
    /// Blanks between fields, or columns: nothing decided it.
    pub blanks_or_columns: bool,
}

/// For whom the lines of a table are.
#[derive(Debug, Clone)]
enum Whose {
    Marked {
        cell: usize,
        codes: Codes<Eye>,
        missing: Vec<Vec<u8>>,
    },
    /// Each field is of its own eye.
    Own,
    Line(Option<Eye>),
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Target {
    eye: Option<Eye>,
    thing: Thing,
}

/// Every way to read the lines of `kind`, those that explain most first. `among` is the number
/// of kinds.
pub(super) fn solutions<'a>(kind: &Kind<'a>, shown: &[Shown], among: usize) -> Vec<Solved<'a>> {
    let mut cuts = tables(kind);
    let columns = columns::ranges(kind, shown).and_then(|ranges| columns_table(kind, ranges));
    let padded = padding_varies(kind);
    if let Some(columns) = columns {
        let blanks =
            |table: &Table<'_>| matches!(&table.cut, Cut::Delimited { separator, .. } if separator == b" ");
        let at = if padded { cuts.iter().position(blanks).unwrap_or(cuts.len()) } else { cuts.len() };
        cuts.insert(at, columns);
    }
    let mut found: Vec<Solved<'a>> = Vec::new();
    for table in cuts {
        for whose in whose(&table, kind, shown, among) {
            found.push(solve(table.clone(), kind, shown, whose));
        }
    }
    found.sort_by_key(|solved| std::cmp::Reverse(solved.score));
    if let Some(best) = found.first().map(|solved| solved.score) {
        let full = |columns: bool| {
            move |solved: &Solved<'_>| {
                solved.score == best
                    && match &solved.table.cut {
                        Cut::Columns { .. } => columns,
                        Cut::Delimited { separator, .. } => !columns && separator == b" ",
                        Cut::Tagged { .. } => false,
                    }
            }
        };
        let open = !padded && found.iter().any(full(true)) && found.iter().any(full(false));
        let zero_padded = kind.lines.iter().all(|line| !line.bytes.windows(2).any(|pair| pair == b"  "));
        found.iter_mut().for_each(|solved| solved.blanks_or_columns = open && !zero_padded);
    }
    found
}

/// Lines of one length whose blanks differ: they are padded to columns.
fn padding_varies(kind: &Kind<'_>) -> bool {
    let Some(first) = kind.lines.first() else { return false };
    let words = |line: &[u8]| -> Vec<usize> {
        line.split(|byte| *byte == b' ').filter(|word| !word.is_empty()).map(<[u8]>::len).collect()
    };
    let same_length = kind.lines.iter().all(|line| line.bytes.len() == first.bytes.len());
    same_length && kind.lines.iter().any(|line| words(line.bytes) != words(first.bytes))
}

fn whose(table: &Table<'_>, kind: &Kind<'_>, shown: &[Shown], among: usize) -> Vec<Whose> {
    let told = |eye: Option<Eye>| shown.iter().any(|shown| shown.eyes().contains(&eye));
    let here = |eye: Option<Eye>| kind.lines.iter().any(|line| shown[line.sample].eyes().contains(&eye));
    let both = told(Some(Eye::Right)) && told(Some(Eye::Left));
    let mut all: Vec<Whose> = marks(table, both)
        .into_iter()
        .map(|(cell, codes, missing)| Whose::Marked { cell, codes, missing })
        .collect();
    for eye in Eye::BOTH {
        let starts: Vec<u8> = kind.starts.iter().copied().take_while(u8::is_ascii_alphabetic).collect();
        if here(Some(eye)) && (among > 1 && both || eye_word(&starts) == Some(eye)) {
            all.push(Whose::Line(Some(eye)));
        }
    }
    if shown.iter().any(|shown| shown.eyes().len() > 1) {
        all.push(Whose::Own);
    }
    all.push(Whose::Line(None));
    all
}

fn solve<'a>(table: Table<'a>, kind: &Kind<'a>, shown: &[Shown], whose: Whose) -> Solved<'a> {
    let row_eye = |row: usize| match &whose {
        Whose::Marked { cell, codes, .. } => {
            let text = table.rows[row].cells[*cell].map(trimmed);
            codes.iter().find(|(code, _)| Some(code.as_slice()) == text).map(|(_, eye)| *eye)
        }
        Whose::Own => None,
        Whose::Line(eye) => *eye,
    };
    let eyes: Vec<Option<Eye>> = (0..table.rows.len()).map(row_eye).collect();
    let told = |row: usize, target: Target| -> (Option<Eye>, Option<&Told>) {
        let eye = if target.thing.of_a_lens() { target.eye.or(eyes[row]) } else { None };
        (eye, shown[table.rows[row].sample].get(Key { eye, thing: target.thing }))
    };
    let mut targets = Vec::new();
    for thing in Thing::all() {
        let own = matches!(whose, Whose::Own) && thing.of_a_lens();
        let eyes = if own { vec![Some(Eye::Right), Some(Eye::Left)] } else { vec![None] };
        targets.extend(eyes.into_iter().map(|eye| Target { eye, thing }));
    }
    let mut free = vec![true; table.width()];
    if let Whose::Marked { cell, .. } = &whose {
        free[*cell] = false;
    }
    let mut choices: Vec<(Target, usize, Vec<Way>)> = Vec::new();
    for target in targets {
        let column: Vec<(Option<Eye>, Option<&Told>)> =
            (0..table.rows.len()).map(|row| told(row, target)).collect();
        let evidence =
            column.iter().filter(|(_, told)| told.is_some_and(|told| *told != Told::Absent)).count();
        if evidence == 0 {
            continue;
        }
        let ways = ways(target.thing, &table, &column, &free);
        if !ways.is_empty() {
            choices.push((target, evidence, ways));
        }
    }
    choices.sort_by_key(|(_, _, ways)| ways.len());
    let chosen = assign(&choices, &mut free.clone(), None);
    let lens =
        choices.iter().zip(&chosen).any(|((target, ..), way)| way.is_some() && target.thing.of_a_lens());
    // A mark of whose lens it is needs a lens.
    let idle_mark = matches!(whose, Whose::Marked { .. }) && !lens;
    let score = if idle_mark { 0 } else { score(&choices, &chosen) };
    let two_places = two_places(&table, &choices, &chosen, &free, score, &eyes);

    let mut fields: Vec<Field> = Vec::new();
    for ((target, _, ways), way) in choices.iter().zip(&chosen) {
        let Some(way) = way else { continue };
        fields.extend(ways[*way].iter().map(|(cell, is)| Field {
            cell: *cell,
            eye: target.eye,
            is: is.clone(),
        }));
    }
    let line_eye = match whose {
        Whose::Marked { cell, codes, missing } => {
            fields.push(Field { cell, eye: None, is: Is::Eye { codes, missing } });
            None
        }
        Whose::Own => None,
        Whose::Line(eye) => eye.filter(|_| lens),
    };
    for cell in 0..table.width() {
        if !fields.iter().any(|field| field.cell == cell) {
            fields.push(Field { cell, eye: None, is: unknown(&table, cell) });
        }
    }
    fields.sort_by_key(|field| field.cell);
    Solved { table, times: kind.times, line_eye, fields, two_places, score, blanks_or_columns: false }
}

/// What a cell is of which nothing was shown: words that never change must stand there, so that
/// a frame of another kind is refused and not misread.
fn unknown(table: &Table<'_>, cell: usize) -> Is {
    let mut texts = table.rows.iter().map(|row| row.cells[cell]);
    match texts.next() {
        Some(Some(first))
            if !trimmed(first).is_empty()
                && core(first).is_none()
                && !first.iter().any(u8::is_ascii_digit)
                && table.rows.len() > 1
                && texts.all(|text| text == Some(first)) =>
        {
            Is::Literal(first.to_vec())
        }
        _ => Is::Keep,
    }
}

type Choices = [(Target, usize, Vec<Way>)];

fn score(choices: &Choices, chosen: &[Option<usize>]) -> usize {
    choices.iter().zip(chosen).filter(|(_, way)| way.is_some()).map(|((_, evidence, _), _)| *evidence).sum()
}

/// The ways of all targets that explain most together; `forced` is one that must be taken.
fn assign(choices: &Choices, free: &mut [bool], forced: Option<(usize, usize)>) -> Vec<Option<usize>> {
    struct Search<'c> {
        choices: &'c Choices,
        forced: Option<(usize, usize)>,
        best: (usize, Vec<Option<usize>>),
        chosen: Vec<Option<usize>>,
        steps: usize,
    }
    impl Search<'_> {
        fn go(&mut self, at: usize, score: usize, free: &mut [bool]) {
            self.steps += 1;
            let rest: usize = self.choices[at..].iter().map(|(_, evidence, _)| evidence).sum();
            if self.steps > 20_000
                || score + rest < self.best.0
                || score + rest == self.best.0 && at > 0 && self.best.0 > 0
            {
                return;
            }
            let Some((_, evidence, ways)) = self.choices.get(at) else {
                self.best = (score, self.chosen.clone());
                return;
            };
            for (index, way) in ways.iter().enumerate() {
                if self.forced.is_some_and(|(target, forced)| target == at && forced != index) {
                    continue;
                }
                if way.iter().all(|(cell, _)| free[*cell]) {
                    way.iter().for_each(|(cell, _)| free[*cell] = false);
                    self.chosen.push(Some(index));
                    self.go(at + 1, score + evidence, free);
                    self.chosen.pop();
                    way.iter().for_each(|(cell, _)| free[*cell] = true);
                }
            }
            if self.forced.is_none_or(|(target, _)| target != at) {
                self.chosen.push(None);
                self.go(at + 1, score, free);
                self.chosen.pop();
            }
        }
    }
    let nothing = vec![None; choices.len()];
    let mut search = Search { choices, forced, best: (0, nothing), chosen: Vec::new(), steps: 0 };
    search.go(0, 0, free);
    search.best.1
}

/// What could stand elsewhere while everything is still explained.
fn two_places(
    table: &Table<'_>,
    choices: &Choices,
    chosen: &[Option<usize>],
    free: &[bool],
    best: usize,
    eyes: &[Option<Eye>],
) -> Vec<TwoPlaces> {
    let name = |target: &Target| {
        let of_rows =
            eyes.first().copied().flatten().filter(|eye| eyes.iter().all(|other| other == &Some(*eye)));
        Key { eye: target.eye.or(of_rows.filter(|_| target.thing.of_a_lens())), thing: target.thing }
    };
    let mut found: Vec<TwoPlaces> = Vec::new();
    for (at, ((target, _, ways), way)) in choices.iter().zip(chosen).enumerate() {
        let Some(way) = way else { continue };
        let here = ways[*way][0].0;
        for (other, alternative) in ways.iter().enumerate() {
            let there = alternative[0].0;
            if other == *way || there == here {
                continue;
            }
            let instead = assign(choices, &mut free.to_vec(), Some((at, other)));
            if score(choices, &instead) < best {
                continue;
            }
            let swapped = choices
                .iter()
                .zip(&instead)
                .find_map(|((target, _, ways), way)| (ways[(*way)?][0].0 == here).then(|| name(target)));
            found.push(TwoPlaces {
                key: name(target),
                here: table.place(here),
                there: table.place(there),
                swapped,
            });
            break;
        }
    }
    found
}
