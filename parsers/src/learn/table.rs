//! Lines cut into cells: every way in which the lines of one kind can be cut alike.

use super::lines::Kind;
use std::ops::Range;

/// How the cells of a line are told apart.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Cut {
    Tagged {
        separator: Vec<u8>,
        repeats: bool,
        assign: Vec<u8>,
        tags: Vec<Vec<u8>>,
    },
    Delimited {
        separator: Vec<u8>,
        repeats: bool,
    },
    /// Offsets in the line.
    Columns {
        ranges: Vec<Range<usize>>,
    },
}

/// The lines of one kind as rows of cells.
#[derive(Debug, Clone)]
pub(super) struct Table<'a> {
    pub starts: Vec<u8>,
    pub ends: Vec<u8>,
    pub cut: Cut,
    pub rows: Vec<Row<'a>>,
}

#[derive(Debug, Clone)]
pub(super) struct Row<'a> {
    pub sample: usize,
    /// One for each column of the table; nothing where this line has no such cell.
    pub cells: Vec<Option<&'a [u8]>>,
}

impl Table<'_> {
    pub fn width(&self) -> usize {
        self.rows.first().map_or(0, |row| row.cells.len())
    }

    /// What a cell is called for people.
    pub fn place(&self, cell: usize) -> String {
        match &self.cut {
            Cut::Tagged { tags, .. } => format!("the tag {}", crate::notation::to_text(&tags[cell])),
            Cut::Delimited { .. } => format!("field {}", cell + 1),
            Cut::Columns { ranges } => {
                let (first, last) = (ranges[cell].start + 1, ranges[cell].end);
                if first == last { format!("column {first}") } else { format!("columns {first}-{last}") }
            }
        }
    }
}

const SEPARATORS: [u8; 9] = [b'\t', b',', b';', b'|', b'/', b'&', b'~', b':', b' '];
const ASSIGNS: [&[u8]; 3] = [b"=", b":", b""];

/// Every way to cut the lines by separators, tagged ones first.
pub(super) fn tables<'a>(kind: &Kind<'a>) -> Vec<Table<'a>> {
    let mut tables = Vec::new();
    for assign in ASSIGNS {
        for separator in SEPARATORS {
            if assign != [separator] {
                tables.extend(tagged(kind, separator, assign));
            }
        }
    }
    for separator in SEPARATORS {
        tables.extend(delimited(kind, separator));
    }
    tables
}

/// What is cut into cells of each line, with its sample.
type Bodies<'a> = Vec<(usize, &'a [u8])>;

/// What follows the kind's own start, without a separator at the beginning of every line; and
/// what was taken off.
fn bodies<'a>(kind: &Kind<'a>, separator: u8) -> (Bodies<'a>, Vec<u8>) {
    let mut starts = kind.starts.clone();
    let mut bodies: Bodies<'a> =
        kind.lines.iter().map(|line| (line.sample, &line.bytes[starts.len()..])).collect();
    if separator != b' ' && bodies.iter().all(|(_, body)| body.first() == Some(&separator)) {
        bodies.iter_mut().for_each(|(_, body)| *body = &body[1..]);
        starts.push(separator);
    } else if separator == b' ' && !starts.is_empty() && bodies.iter().all(|(_, body)| body.starts_with(b" "))
    {
        bodies.iter_mut().for_each(|(_, body)| *body = &body[1..]);
        starts.push(separator);
    }
    (bodies, starts)
}

fn cells(body: &[u8], separator: u8, repeats: bool) -> Vec<&[u8]> {
    let cells = body.split(move |byte| *byte == separator);
    cells.filter(|cell| !repeats || !cell.is_empty()).collect()
}

fn delimited<'a>(kind: &Kind<'a>, separator: u8) -> Option<Table<'a>> {
    let (bodies, starts) = bodies(kind, separator);
    let repeats = separator == b' ';
    let rows: Vec<(usize, Vec<&[u8]>)> =
        bodies.iter().map(|(sample, body)| (*sample, cells(body, separator, repeats))).collect();
    let width = rows.iter().map(|(_, cells)| cells.len()).max()?;
    let single = separator == SEPARATORS[0] && width == 1;
    if !(2..=64).contains(&width) && !single {
        return None;
    }
    let rows = rows
        .into_iter()
        .map(|(sample, cells)| {
            let mut cells: Vec<Option<&[u8]>> = cells.into_iter().map(Some).collect();
            cells.resize(width, None);
            Row { sample, cells }
        })
        .collect();
    Some(Table {
        starts,
        ends: Vec::new(),
        cut: Cut::Delimited { separator: vec![separator], repeats },
        rows,
    })
}

fn tagged<'a>(kind: &Kind<'a>, separator: u8, assign: &[u8]) -> Option<Table<'a>> {
    let (mut bodies, mut starts) = bodies(kind, separator);
    let mut ends = Vec::new();
    if bodies.iter().all(|(_, body)| body.len() > 1 && body.last() == Some(&separator)) && separator != b' ' {
        bodies.iter_mut().for_each(|(_, body)| *body = &body[..body.len() - 1]);
        ends = vec![separator];
    }
    // A word in front of the first tag, the same in every line.
    if !assign.is_empty() {
        let head = |body: &'a [u8]| {
            let at = body.iter().position(|byte| *byte == separator)?;
            memchr::memmem::find(&body[..at], assign).is_none().then_some(&body[..=at])
        };
        let heads: Vec<Option<&[u8]>> = bodies.iter().map(|(_, body)| head(body)).collect();
        if let Some(Some(first)) = heads.first()
            && heads.iter().all(|head| *head == Some(*first))
        {
            starts.extend_from_slice(first);
            bodies.iter_mut().for_each(|(_, body)| *body = &body[first.len()..]);
        }
    }
    let repeats = separator == b' ';
    let rows: Vec<Vec<&[u8]>> = bodies.iter().map(|(_, body)| cells(body, separator, repeats)).collect();
    let tags = if assign.is_empty() { letter_tags(&rows)? } else { assigned_tags(&rows, assign)? };
    let row = |sample: usize, row: &[&'a [u8]]| {
        let mut cells = vec![None; tags.len()];
        for cell in row {
            let (at, length) = tags.iter().enumerate().find_map(|(at, tag)| {
                let length = tag.len() + assign.len();
                let found = if assign.is_empty() {
                    cell.starts_with(tag)
                } else {
                    split_at(cell, assign).is_some_and(|(name, _)| name == tag)
                };
                found.then_some((at, length))
            })?;
            if cells[at].replace(&cell[length..]).is_some() {
                return None;
            }
        }
        Some(Row { sample, cells })
    };
    let rows = bodies.iter().zip(&rows).map(|((sample, _), cells)| row(*sample, cells));
    let rows = rows.collect::<Option<Vec<Row<'a>>>>()?;
    let cut = Cut::Tagged { separator: vec![separator], repeats, assign: assign.to_vec(), tags };
    Some(Table { starts, ends, cut, rows })
}

fn split_at<'a>(cell: &'a [u8], assign: &[u8]) -> Option<(&'a [u8], &'a [u8])> {
    let at = memchr::memmem::find(cell, assign)?;
    Some((&cell[..at], &cell[at + assign.len()..]))
}

fn assigned_tags(rows: &[Vec<&[u8]>], assign: &[u8]) -> Option<Vec<Vec<u8>>> {
    let mut tags: Vec<Vec<u8>> = Vec::new();
    for cell in rows.iter().flatten() {
        let (tag, _) = split_at(cell, assign)?;
        if tag.is_empty() || !tag[0].is_ascii_alphabetic() || !tag.iter().all(u8::is_ascii_graphic) {
            return None;
        }
        if !tags.iter().any(|known| known == tag) {
            tags.push(tag.to_vec());
        }
    }
    let several = rows.iter().any(|row| row.len() > 1) && tags.len() <= 64;
    several.then_some(tags)
}

/// Letters directly in front of values. Letters that belong to the values (`wR`, `wL`) are told
/// from those of the tag by never standing in one line together.
fn letter_tags(rows: &[Vec<&[u8]>]) -> Option<Vec<Vec<u8>>> {
    let letters = |cell: &[u8]| cell.iter().take_while(|byte| byte.is_ascii_alphabetic()).count();
    let mut runs: Vec<&[u8]> = Vec::new();
    for cell in rows.iter().flatten() {
        let run = &cell[..letters(cell)];
        if run.is_empty() {
            return None;
        }
        if !runs.contains(&run) {
            runs.push(run);
        }
    }
    let firsts: std::collections::BTreeSet<u8> = runs.iter().map(|run| run[0]).collect();
    let mut tags: Vec<Vec<u8>> = Vec::new();
    for first in firsts {
        let group: Vec<&&[u8]> = runs.iter().filter(|run| run[0] == first).collect();
        let together = rows.iter().any(|row| row.iter().filter(|cell| cell[0] == first).count() > 1);
        if together {
            tags.extend(group.iter().map(|run| run.to_vec()));
        } else {
            tags.push(vec![first]);
        }
    }
    let hidden = tags.iter().enumerate().any(|(at, tag)| {
        tags.iter().enumerate().any(|(other, longer)| at != other && longer.starts_with(tag))
    });
    let several = rows.iter().any(|row| row.len() > 2) && tags.len() <= 64;
    (several && !hidden).then_some(tags)
}

/// A table of fixed columns; nothing where a line is cut within a column.
pub(super) fn columns<'a>(kind: &Kind<'a>, ranges: Vec<Range<usize>>) -> Option<Table<'a>> {
    let row = |line: &super::lines::Line<'a>| {
        let cells = ranges
            .iter()
            .map(|range| match line.bytes.len() {
                length if length >= range.end => Some(Some(&line.bytes[range.clone()])),
                length if length <= range.start => Some(None),
                _ => None,
            })
            .collect::<Option<Vec<Option<&[u8]>>>>()?;
        Some(Row { sample: line.sample, cells })
    };
    let rows = kind.lines.iter().map(row).collect::<Option<Vec<Row<'a>>>>()?;
    Some(Table { starts: kind.starts.clone(), ends: Vec::new(), cut: Cut::Columns { ranges }, rows })
}
