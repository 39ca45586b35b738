//! Quantities, sides, numbers and units of a verdict in words.

use super::verdict::{Quantity, Side};
use rust_decimal::Decimal;

/// A quantity in words.
pub fn quantity(quantity: Quantity) -> &'static str {
    match quantity {
        Quantity::SphereMeridian => "sphere meridian",
        Quantity::SecondMeridian => "second meridian",
        Quantity::Cylinder => "cylinder",
        Quantity::Axis => "axis",
        Quantity::Addition => "addition",
        Quantity::SecondAddition => "second addition",
        Quantity::PrismHorizontal => "prism horizontal",
        Quantity::PrismVertical => "prism vertical",
        Quantity::Prism => "prism",
        Quantity::PrismImbalanceHorizontal => "prism imbalance horizontal",
        Quantity::PrismImbalanceVertical => "prism imbalance vertical",
        Quantity::Pd => "PD",
        Quantity::NearPd => "near PD",
        Quantity::SegmentHeight => "segment height",
        Quantity::ReferenceHeight => "reference height",
    }
}

/// A unit as people write it.
pub fn unit(unit: &str) -> &str {
    match unit {
        "deg" => "°",
        "prism-D" => "Δ",
        other => other,
    }
}

/// A number with as many decimals as its unit is read to, and a third where it has one.
pub fn number(value: Decimal, unit: &str) -> String {
    let usual = match unit {
        "D" | "prism-D" => 2,
        "mm" => 1,
        _ => 0,
    };
    let value = value.round_dp(3).normalize();
    format!("{value:.*}", usual.max(value.scale()) as usize)
}

/// A side in words.
pub fn side(side: Side) -> &'static str {
    match side {
        Side::Right => "right",
        Side::Left => "left",
        Side::Pair => "pair",
    }
}
