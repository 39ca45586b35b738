//! How a page writes numbers, days and times, and in which words.

use super::text::{ENGLISH, Text};
use jiff::Timestamp;
use jiff::tz::TimeZone;
use rust_decimal::Decimal;
use std::ops::Deref;

/// The order in which a date's parts stand, as a format of `strftime`.
type DateFormat = &'static str;

/// Each language: its tag (BCP 47), its words, its decimal mark and its dates. From memory, after
/// the common locale data. A language without words of its own yet is shown in English, with its
/// own numbers and dates.
const LANGUAGES: &[(&str, &Text, char, DateFormat)] = &[
    ("en", &ENGLISH, '.', "%Y-%m-%d"),
    ("en-GB", &ENGLISH, '.', "%d/%m/%Y"),
    ("en-US", &ENGLISH, '.', "%m/%d/%Y"),
    ("cs", &ENGLISH, ',', "%d.%m.%Y"),
    ("da", &ENGLISH, ',', "%d.%m.%Y"),
    ("de", &ENGLISH, ',', "%d.%m.%Y"),
    ("es", &ENGLISH, ',', "%d/%m/%Y"),
    ("fi", &ENGLISH, ',', "%d.%m.%Y"),
    ("fr", &ENGLISH, ',', "%d/%m/%Y"),
    ("it", &ENGLISH, ',', "%d/%m/%Y"),
    ("nl", &ENGLISH, ',', "%d-%m-%Y"),
    ("pl", &ENGLISH, ',', "%d.%m.%Y"),
    ("pt", &ENGLISH, ',', "%d/%m/%Y"),
    ("sv", &ENGLISH, ',', "%Y-%m-%d"),
];

/// A language in a time zone. Its words are its fields: see [`Text`].
#[derive(Debug, Clone)]
pub struct Language {
    text: &'static Text,
    decimal_mark: char,
    date: DateFormat,
    timezone: TimeZone,
}

impl Deref for Language {
    type Target = Text;

    fn deref(&self) -> &Text {
        self.text
    }
}

impl Language {
    /// The language of this tag; English where there is none.
    pub fn new(tag: &str, timezone: TimeZone) -> Self {
        let (_, text, decimal_mark, date) =
            LANGUAGES.iter().find(|(known, ..)| *known == tag).unwrap_or(&LANGUAGES[0]);
        Self { text, decimal_mark: *decimal_mark, date, timezone }
    }

    /// A number with as many decimals as its unit (`D`, `deg`, `prism-D`, `mm`) is read to, and a
    /// third where it has one.
    pub fn number(&self, value: Decimal, unit: &str) -> String {
        let usual = match unit {
            "D" | "prism-D" => 2,
            "mm" => 1,
            _ => 0,
        };
        let value = value.round_dp(3).normalize();
        let digits = format!("{:.*}", usual.max(value.scale()) as usize, value.abs());
        let sign = if value.is_sign_negative() && !value.is_zero() { "\u{2212}" } else { "" };
        format!("{sign}{}", self.marked(&digits))
    }

    /// The same, with a plus before what is positive.
    pub fn signed(&self, value: Decimal, unit: &str) -> String {
        let plus = if value.is_sign_positive() && !value.is_zero() { "+" } else { "" };
        format!("{plus}{}", self.number(value, unit))
    }

    /// Digits with the language's decimal mark for a point.
    fn marked(&self, digits: &str) -> String {
        digits.replace('.', &self.decimal_mark.to_string())
    }

    /// The day, in the station's zone.
    pub fn date(&self, time: Timestamp) -> String {
        self.timezone.to_datetime(time).strftime(self.date).to_string()
    }

    /// A day of the calendar.
    pub fn day(&self, day: jiff::civil::Date) -> String {
        day.strftime(self.date).to_string()
    }

    /// The time of day, in the station's zone.
    pub fn time(&self, time: Timestamp) -> String {
        self.timezone.to_datetime(time).strftime("%H:%M:%S").to_string()
    }

    /// Day and time, in the station's zone.
    pub fn date_time(&self, time: Timestamp) -> String {
        format!("{} {}", self.date(time), self.time(time))
    }

    /// Only the time where it is on the same day as `now`.
    pub fn since(&self, time: Timestamp, now: Timestamp) -> String {
        if self.date(time) == self.date(now) { self.time(time) } else { self.date_time(time) }
    }
}

/// Whether pages can be shown so.
pub fn is_known(tag: &str) -> bool {
    known().any(|known| known == tag)
}

/// The tags of all languages.
pub fn known() -> impl Iterator<Item = &'static str> {
    LANGUAGES.iter().map(|(tag, ..)| *tag)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn language(tag: &str) -> Language {
        Language::new(tag, TimeZone::fixed(jiff::tz::offset(1)))
    }

    #[test]
    fn numbers_have_the_decimals_of_their_unit_and_the_mark_of_the_language() {
        let d = |text: &str| text.parse::<Decimal>().unwrap();
        assert_eq!(language("en").signed(d("1.5"), "D"), "+1.50");
        assert_eq!(language("de").number(d("-1.250"), "D"), "\u{2212}1,25");
        assert_eq!(language("fr").number(d("0.125"), "prism-D"), "0,125");
        assert_eq!(language("en").signed(d("-0.00"), "D"), "0.00");
        assert_eq!(language("en").number(d("7"), "deg"), "7");
        assert_eq!(language("en").number(d("31"), "mm"), "31.0");
    }

    #[test]
    fn dates_stand_in_the_order_of_the_language_and_the_stations_zone() {
        let time: Timestamp = "2026-11-24T23:05:06Z".parse().unwrap();
        assert_eq!(language("en").date_time(time), "2026-11-25 00:05:06");
        assert_eq!(language("en-US").date(time), "11/25/2026");
        assert_eq!(language("de").date(time), "25.11.2026");
        assert!(is_known("sv") && !is_known("xx"));
    }
}
