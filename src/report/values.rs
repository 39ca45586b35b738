//! Numbers of one reading that are compared, each with its name and unit.

use crate::check::difference::power;
use crate::judge::verdict::Quantity;
use crate::optics::{PowerVector, Prism, float};
use crate::parsers::reading::{Eye, Lens};

/// A number of a lens.
#[derive(Debug, Clone, Copy)]
pub(super) struct Value {
    /// Its name.
    pub name: &'static str,
    /// Its unit.
    pub unit: &'static str,
    /// The number, where the reading has it.
    pub of: fn(&Lens, Eye) -> Option<f64>,
}

fn vector(lens: &Lens) -> Option<PowerVector> {
    PowerVector::of(&power(lens)?)
}

fn prism(lens: &Lens, eye: Eye) -> Option<Prism> {
    lens.prism.as_ref().map(|parts| Prism::of(eye, parts))
}

/// The most plus principal power.
pub(super) const SPHERE: Value = Value {
    name: "sphere meridian",
    unit: "D",
    of: |lens, _| power(lens).map(|power| float(power.principal_powers().0.value())),
};

/// The cylinder in minus form.
pub(super) const CYLINDER: Value = Value {
    name: "cylinder",
    unit: "D",
    of: |lens, _| power(lens).map(|power| float(power.cylinder().value())),
};

/// Mean sphere.
pub(super) const MEAN: Value =
    Value { name: "mean sphere", unit: "D", of: |lens, _| vector(lens).map(|vector| vector.m) };

/// What two sides are compared in. Sphere and cylinder as people speak of them, and the power
/// vector, whose parts do not depend on how a lens is written.
pub(super) const ALL: [Value; 8] = [
    MEAN,
    Value { name: "J0", unit: "D", of: |lens, _| vector(lens).map(|vector| vector.j0) },
    Value { name: "J45", unit: "D", of: |lens, _| vector(lens).map(|vector| vector.j45) },
    SPHERE,
    CYLINDER,
    Value {
        name: "addition",
        unit: "D",
        of: |lens, _| lens.addition.map(|addition| float(addition.value())),
    },
    Value {
        name: "prism horizontal",
        unit: "prism-D",
        of: |lens, eye| prism(lens, eye).map(|prism| float(prism.horizontal.value())),
    },
    Value {
        name: "prism vertical",
        unit: "prism-D",
        of: |lens, eye| prism(lens, eye).map(|prism| float(prism.vertical.value())),
    },
];

/// The axis, degrees, where there is a cylinder.
pub(super) fn axis(lens: &Lens) -> Option<f64> {
    power(lens)?.axis().map(|axis| float(axis.value()))
}

/// The crossed cylinders of the first less those of the second, dioptres.
pub(super) fn astigmatic(first: &Lens, second: &Lens) -> Option<crate::evidence::astigmatism::Point> {
    let apart = vector(first)? - vector(second)?;
    Some(crate::evidence::astigmatism::Point { j0: apart.j0, j45: apart.j45 })
}

/// A quantity as people write it.
pub(super) fn in_words(quantity: Quantity) -> String {
    quantity.to_string().replace('-', " ")
}

/// A unit as plots write it.
pub(super) fn plot_unit(unit: &'static str) -> &'static str {
    match unit {
        "prism-D" => "prism dioptres",
        "deg" => "degrees",
        other => other,
    }
}
