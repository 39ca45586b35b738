//! A day's frames as a chart: a bar for each hour, what could not be read on top.

use crate::station::board::Hour;
use jiff::Span;
use jiff::civil::DateTime;

/// How many hours are drawn.
pub(super) const HOURS: i64 = 24;
/// How wide an hour is in the drawing.
pub(super) const WIDTH: i64 = 12;
/// How high the highest bar is.
pub(super) const HEIGHT: u64 = 60;

/// One hour's bar.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Column {
    /// The hour of the day at which it begins.
    pub hour: i8,
    /// Where it stands.
    pub x: i64,
    /// Where the part that was read begins, and its height.
    pub read: (u64, u64),
    /// Where the part that was not read begins, and its height.
    pub unread: (u64, u64),
    /// How many frames came in.
    pub frames: u32,
    /// How many of them could not be read.
    pub rejects: u32,
}

/// The last hours up to `now`, the earliest first; and the highest count.
pub(super) fn columns<'h>(
    hours: impl Iterator<Item = &'h Hour> + Clone,
    now: DateTime,
) -> (Vec<Column>, u32) {
    let this = now.date().at(now.hour(), 0, 0, 0);
    let begins = |ago: i64| this.saturating_sub(Span::new().hours(ago));
    let counts: Vec<(DateTime, u32, u32)> = (0..HOURS)
        .rev()
        .map(begins)
        .map(|begins| {
            let hour = hours.clone().find(|hour| hour.begins == begins);
            (begins, hour.map_or(0, |hour| hour.frames), hour.map_or(0, |hour| hour.rejects))
        })
        .collect();
    let most = counts.iter().map(|(_, frames, _)| *frames).max().unwrap_or(0);
    // What is there is seen, however little it is beside the most.
    let height = |count: u32| match count {
        0 => 0,
        count => (u64::from(count) * HEIGHT / u64::from(most.max(1))).max(2),
    };
    let columns = counts.iter().zip(0..).map(|((begins, frames, rejects), at)| {
        let (read, unread) = (height(frames - rejects.min(frames)), height(*rejects));
        let (read, unread) = (read.min(HEIGHT - unread.min(HEIGHT)), unread.min(HEIGHT));
        Column {
            hour: begins.hour(),
            x: at * WIDTH,
            read: (HEIGHT - read, read),
            unread: (HEIGHT - read - unread, unread),
            frames: *frames,
            rejects: *rejects,
        }
    });
    (columns.collect(), most)
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::civil::date;

    #[test]
    fn a_day_has_a_column_for_each_hour_and_shows_what_is_there() {
        let at = |hour| date(2026, 11, 25).at(hour, 0, 0, 0);
        let hours = [
            Hour { begins: at(7), frames: 300, rejects: 0 },
            Hour { begins: at(8), frames: 100, rejects: 1 },
            Hour { begins: date(2026, 11, 23).at(8, 0, 0, 0), frames: 900, rejects: 900 },
        ];
        let (columns, most) = columns(hours.iter(), at(8));
        assert_eq!((columns.len(), most), (24, 300));
        let [seven, eight] = [22, 23].map(|at| &columns[at]);
        assert_eq!((seven.hour, seven.read, seven.unread), (7, (0, 60), (0, 0)));
        assert_eq!((eight.read, eight.unread, eight.rejects), ((41, 19), (39, 2), 1));
        assert!(columns[..22].iter().all(|column| column.frames == 0));
    }
}
