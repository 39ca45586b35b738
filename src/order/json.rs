//! Orders as JSON: one order, an array of orders, or JSON Lines (one order a line).

use super::{Intake, Order, OrderedLens};
use crate::parsers::reading::{Base, JobNumber, PrismPart};
use crate::parsers::units::PrismDioptre;
use serde::de::DeserializeOwned;
use serde_json::value::RawValue;
use serde_json::{Map, Value};

/// Reads orders from JSON. Keys that are not about the lenses are dropped and named; a wrong
/// type refuses its order with line and path, and the others are kept.
pub fn read_json(text: &str) -> Intake {
    let text = text.trim_start_matches('\u{feff}');
    let mut intake = Intake::default();
    let lines = || text.lines().map(str::trim).filter(|line| !line.is_empty());
    if text.trim_start().starts_with('[') {
        match serde_json::from_str::<Vec<&RawValue>>(text) {
            Ok(orders) => {
                for order in orders {
                    take(&mut intake, line_of(text, order.get()), order.get());
                }
            }
            Err(error) => refuse(&mut intake, 0, &error),
        }
    } else if lines().count() > 1 && lines().all(|line| line.starts_with('{') && line.ends_with('}')) {
        for line in lines() {
            take(&mut intake, line_of(text, line), line);
        }
    } else {
        let begins = text.len() - text.trim_start().len();
        take(&mut intake, line_of(text, &text[begins..]), &text[begins..]);
    }
    intake
}

/// The line on which a part of `text` begins, counted from 1.
fn line_of(text: &str, part: &str) -> usize {
    let at = part.as_ptr() as usize - text.as_ptr() as usize;
    text[..at].matches('\n').count() + 1
}

fn refuse(intake: &mut Intake, before: usize, error: &serde_json::Error) {
    let message = error.to_string();
    let message = message.rfind(" at line ").map_or(message.as_str(), |at| &message[..at]);
    intake.refuse(
        before + error.line().max(1),
        "",
        format!("not JSON (column {}): {message}", error.column()),
    );
}

fn take(intake: &mut Intake, line: usize, text: &str) {
    match serde_json::from_str(text) {
        Ok(Value::Object(map)) => {
            let mut record = Record { intake, line, good: true };
            if let Some(order) = record.order(map) {
                intake.accept(line, order, str::to_owned);
            }
        }
        Ok(_) => intake.refuse(line, "", "not an order; an object with job, lens and mounted is expected"),
        Err(error) => refuse(intake, line - 1, &error),
    }
}

/// One order being read; what is wrong with it is collected, not only the first thing.
struct Record<'a> {
    intake: &'a mut Intake,
    line: usize,
    good: bool,
}

impl Record<'_> {
    fn order(&mut self, mut map: Map<String, Value>) -> Option<Order> {
        // A job number written as a JSON number is one all the same.
        let job = match map.remove("job") {
            Some(Value::Number(number)) => Some(Value::String(number.to_string())),
            other => other,
        };
        let job: Option<JobNumber> = self.needed("job", job, "a job number in quotes");
        let lens =
            self.needed("lens", map.remove("lens"), "\"single-vision\", \"multifocal\" or \"progressive\"");
        let mounted = self.needed("mounted", map.remove("mounted"), "true or false");
        let right = self.lens("right", map.remove("right"));
        let left = self.lens("left", map.remove("left"));
        self.drop_rest("", map);
        if !self.good {
            return None;
        }
        Some(Order { job: job?, lens: lens?, mounted: mounted?, right, left })
    }

    fn lens(&mut self, eye: &str, value: Option<Value>) -> Option<OrderedLens> {
        let mut map = match value? {
            Value::Object(map) => map,
            Value::Null => return None,
            _ => {
                self.wrong(eye, "an object with sphere, cylinder and so on is expected".to_owned());
                return None;
            }
        };
        let mut number = |key: &str| (format!("{eye}.{key}"), map.remove(key));
        let [sphere, cylinder, addition, second_addition] =
            ["sphere", "cylinder", "addition", "second_addition"].map(&mut number);
        let axis = number("axis");
        let [pd, near_pd, segment_height, reference_height] =
            ["pd", "near_pd", "segment_height", "reference_height"].map(&mut number);
        let (_, prism) = number("prism");
        let lens = OrderedLens {
            sphere: self.number(sphere),
            cylinder: self.number(cylinder),
            axis: self.number(axis),
            addition: self.number(addition),
            second_addition: self.number(second_addition),
            prism: self.prism(eye, prism),
            pd: self.number(pd),
            near_pd: self.number(near_pd),
            segment_height: self.number(segment_height),
            reference_height: self.number(reference_height),
        };
        self.drop_rest(eye, map);
        Some(lens)
    }

    fn prism(&mut self, eye: &str, value: Option<Value>) -> Option<Vec<PrismPart>> {
        let parts = match value? {
            Value::Array(parts) => parts,
            Value::Null => return None,
            _ => {
                self.wrong(&format!("{eye}.prism"), "a list of parts is expected".to_owned());
                return None;
            }
        };
        let mut prism = Vec::with_capacity(parts.len());
        for (index, part) in parts.into_iter().enumerate() {
            let path = format!("{eye}.prism[{index}]");
            let Value::Object(mut map) = part else {
                self.wrong(&path, "an object with amount and base is expected".to_owned());
                continue;
            };
            let amount: Option<PrismDioptre> =
                self.needed(&format!("{path}.amount"), map.remove("amount"), "a number such as 0.50");
            let base: Option<Base> = self.needed(
                &format!("{path}.base"),
                map.remove("base"),
                "\"in\", \"out\", \"up\", \"down\" or degrees from 0 to 360",
            );
            self.drop_rest(&format!("{eye}.prism"), map);
            prism.extend(amount.zip(base).map(|(amount, base)| PrismPart { amount, base }));
        }
        Some(prism)
    }

    fn number<T: DeserializeOwned>(&mut self, (path, value): (String, Option<Value>)) -> Option<T> {
        match value? {
            Value::Null => None,
            value => self.typed(&path, value, "a number such as -1.25"),
        }
    }

    fn needed<T: DeserializeOwned>(&mut self, path: &str, value: Option<Value>, expected: &str) -> Option<T> {
        match value {
            None | Some(Value::Null) => {
                self.wrong(path, format!("missing; {expected} is expected"));
                None
            }
            Some(value) => self.typed(path, value, expected),
        }
    }

    fn typed<T: DeserializeOwned>(&mut self, path: &str, value: Value, expected: &str) -> Option<T> {
        let written = value.to_string();
        match serde_json::from_value(value) {
            Ok(typed) => Some(typed),
            Err(_) => {
                self.wrong(path, format!("{written} does not fit; {expected} is expected"));
                None
            }
        }
    }

    fn wrong(&mut self, path: &str, message: String) {
        self.good = false;
        self.intake.refuse(self.line, path, message);
    }

    fn drop_rest(&mut self, path: &str, map: Map<String, Value>) {
        for key in map.keys() {
            let name = if path.is_empty() { key.clone() } else { format!("{path}.{key}") };
            self.intake.drop_name(&name);
        }
    }
}
