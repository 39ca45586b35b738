//! Finds the columns of lines that have no separators: from what must stand in them.

use super::lines::Kind;
use super::number::{Text, core, fit, trimmed};
use super::shown::{Key, Shown, Thing, Told, angle};
use crate::layout::Quantity;
use crate::reading::Eye;
use std::ops::Range;

/// No number is wider than this.
const WIDEST: usize = 12;
const EYES: [Option<Option<Eye>>; 4] = [None, Some(Some(Eye::Right)), Some(Some(Eye::Left)), Some(None)];

/// The columns in which something stands, cut where numbers and texts that were shown begin and
/// end; nothing where the lines are of too different lengths to have columns.
pub(super) fn ranges(kind: &Kind<'_>, shown: &[Shown]) -> Option<Vec<Range<usize>>> {
    let from = kind.starts.len();
    let length = kind.lines.iter().map(|line| line.bytes.len()).max()?;
    // One line can be cut anywhere.
    if kind.lines.len() < 2 || length > 200 || kind.lines.iter().any(|line| line.bytes.len() < from) {
        return None;
    }
    let byte = |line: usize, at: usize| kind.lines[line].bytes.get(at).copied();
    let lines = 0..kind.lines.len();
    let blank = |at: usize| lines.clone().all(|line| matches!(byte(line, at), None | Some(b' ')));

    let mut zones: Vec<Range<usize>> = Vec::new();
    for range in texts(kind, shown, from, length).into_iter().chain(numbers(kind, shown, from, length)) {
        let range = tight(range, &blank);
        if !range.is_empty() && zones.iter().all(|zone| zone.end <= range.start || range.end <= zone.start) {
            zones.push(range);
        }
    }
    // What is left is cut where the class of characters changes in every line.
    let class = |byte: Option<u8>| match byte {
        None | Some(b' ') => 0,
        Some(byte) if byte.is_ascii_alphabetic() => 1,
        Some(byte) if byte.is_ascii_digit() => 2,
        Some(_) => 3,
    };
    let mut open: Option<usize> = None;
    let mut rest = Vec::new();
    for at in from..=length {
        let free = at < length && !blank(at) && !zones.iter().any(|zone| zone.contains(&at));
        let boundary =
            open.is_some() && lines.clone().all(|line| class(byte(line, at - 1)) != class(byte(line, at)));
        if let Some(first) = open.filter(|_| !free || boundary) {
            rest.push(first..at);
            open = None;
        }
        if free && open.is_none() {
            open = Some(at);
        }
    }
    zones.extend(rest);
    zones.sort_by_key(|zone| zone.start);
    // Two lines can be cut in the middle of a number by chance.
    let digit = |line: usize, at: usize| byte(line, at).is_some_and(|byte| byte.is_ascii_digit());
    let splits = |at: usize| at > from && lines.clone().all(|line| digit(line, at - 1) && digit(line, at));
    if kind.lines.len() < 3 && zones.iter().any(|zone| splits(zone.start) || splits(zone.end)) {
        return None;
    }
    widen(kind, &mut zones, from, &blank);
    Some(zones)
}

/// Without columns at its ends that are blank in every line.
fn tight(range: Range<usize>, blank: &impl Fn(usize) -> bool) -> Range<usize> {
    let mut range = range;
    while !range.is_empty() && blank(range.start) {
        range.start += 1;
    }
    while !range.is_empty() && blank(range.end - 1) {
        range.end -= 1;
    }
    range
}

/// Right-aligned numbers may grow to the left, left-aligned texts to the right.
fn widen(kind: &Kind<'_>, zones: &mut [Range<usize>], from: usize, blank: &impl Fn(usize) -> bool) {
    for index in 0..zones.len() {
        let zone = zones[index].clone();
        let cells: Vec<&[u8]> = kind.lines.iter().filter_map(|line| line.bytes.get(zone.clone())).collect();
        let numeric = cells.iter().any(|cell| core(cell).is_some_and(|core| core.before.is_empty()));
        let starts_vary = cells.iter().any(|cell| cell.first() == Some(&b' '));
        let ends_vary = cells.iter().any(|cell| cell.last() == Some(&b' '));
        if numeric && starts_vary && !ends_vary {
            let least = index.checked_sub(1).map_or(from, |before| zones[before].end);
            let mut start = zone.start;
            while start > least && blank(start - 1) {
                start -= 1;
            }
            zones[index].start = start;
        } else if ends_vary
            && !starts_vary
            && let Some(next) = zones.get(index + 1)
        {
            let most = next.start;
            let mut end = zone.end;
            while end < most && blank(end) {
                end += 1;
            }
            zones[index].end = end;
        }
    }
}

fn key(eye: Option<Eye>, thing: Thing) -> Key {
    Key { eye, thing }
}

/// The values that `quantity` has in a sample, for one eye or for whichever.
fn values(shown: &Shown, quantity: Quantity, eye: Option<Option<Eye>>) -> Vec<Told> {
    let eyes = match eye {
        Some(eye) => vec![eye],
        None => vec![Some(Eye::Right), Some(Eye::Left), None],
    };
    let one = |eye: Option<Eye>| -> Option<Vec<Told>> {
        match quantity.component() {
            None => shown.get(key(eye, Thing::Number(quantity))).map(|told| vec![told.clone()]),
            Some(component) => match shown.get(key(eye, Thing::Prism(component)))? {
                Told::Prism { base, .. } if quantity == Quantity::PrismBase => {
                    base.and_then(|base| angle(eye, base)).map(|angle| vec![Told::Number(angle)])
                }
                Told::Prism { amount, .. } => Some(vec![Told::Number(*amount), Told::Number(-*amount)]),
                other => Some(vec![other.clone()]),
            },
        }
    };
    eyes.into_iter().filter_map(one).flatten().collect()
}

/// Where numbers that were shown stand: the widest places, those with most evidence first.
fn numbers(kind: &Kind<'_>, shown: &[Shown], from: usize, length: usize) -> Vec<Range<usize>> {
    let mut found: Vec<(usize, Range<usize>)> = Vec::new();
    for (_, quantity) in Quantity::ALL {
        for eye in EYES {
            let told: Vec<Vec<Told>> =
                kind.lines.iter().map(|line| values(&shown[line.sample], quantity, eye)).collect();
            let evidence =
                told.iter().filter(|told| told.iter().any(|told| matches!(told, Told::Number(_)))).count();
            if evidence == 0 {
                continue;
            }
            let fits = |range: &Range<usize>| {
                let texts: Vec<Text<'_>> = kind
                    .lines
                    .iter()
                    .zip(&told)
                    .map(|(line, told)| Text { bytes: line.bytes.get(range.clone()), told: told.clone() })
                    .collect();
                fit(quantity, &texts, false).is_some()
            };
            let mut ranges: Vec<Range<usize>> = Vec::new();
            for start in from..length {
                let widest = (start + 1..=(start + WIDEST).min(length)).rev();
                for range in widest.map(|end| start..end) {
                    let inside = ranges.iter().any(|wide| wide.start <= range.start && range.end <= wide.end);
                    if !inside && fits(&range) {
                        ranges.push(range);
                    }
                }
            }
            found.extend(ranges.into_iter().map(|range| (evidence, range)));
        }
    }
    found.sort_by_key(|(evidence, range)| std::cmp::Reverse((*evidence, range.len())));
    found.into_iter().map(|(_, range)| range).collect()
}

/// Where job numbers that were shown stand.
fn texts(kind: &Kind<'_>, shown: &[Shown], from: usize, length: usize) -> Option<Range<usize>> {
    let job = |sample: usize| match shown[sample].get(key(None, Thing::Job)) {
        Some(Told::Text(job)) => Some(job.as_bytes()),
        _ => None,
    };
    let told = kind.lines.iter().filter(|line| job(line.sample).is_some()).count();
    let stands = |range: &Range<usize>| {
        kind.lines.iter().all(|line| match (line.bytes.get(range.clone()), job(line.sample)) {
            (Some(text), Some(job)) => trimmed(text) == job,
            (text, None) => text.is_none_or(|text| !text.is_empty()),
            (None, Some(_)) => false,
        })
    };
    let all = (from..length).flat_map(|start| (start + 1..=length).map(move |end| start..end));
    all.filter(|range| told > 0 && stands(range)).max_by_key(Range::len)
}
