//! Why there is no number.

/// Data that cannot carry the figure that was asked for. Nothing is ever estimated around it.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum Unfit {
    /// Fewer values than the figure needs to exist at all.
    #[error("not enough: have {have}, need {need} ({what})")]
    TooFew {
        /// How many there are.
        have: usize,
        /// The least number with which the figure is defined.
        need: usize,
        /// What is being counted.
        what: &'static str,
    },
    /// All values are the same, so there is no spread to speak of.
    #[error("constant data: {what} do not differ at all; look for a stuck value or a copied column")]
    Constant {
        /// Which values.
        what: &'static str,
    },
    /// A crossed study lacks one person's readings of one lens.
    #[error("missing cell: {person} has no reading of {part}; measure it, or leave one of the two out")]
    MissingCell {
        /// The lens without a reading.
        part: String,
        /// The person or instrument who did not read it.
        person: String,
    },
    /// A crossed study has more readings in one cell than in another.
    #[error("unequal repeats: {person} read {part} {have} times, the others {need} times each")]
    UnequalRepeats {
        /// The lens.
        part: String,
        /// The person or instrument.
        person: String,
        /// Readings in this cell.
        have: usize,
        /// Readings in the first cell.
        need: usize,
    },
    /// A lens that only one of the two sides measured.
    #[error("mixed lenses: {lens} was read by {read_by} only; compare the same lenses on both sides")]
    OneSided {
        /// The lens.
        lens: String,
        /// The side that did read it: "the first" or "the second".
        read_by: &'static str,
    },
    /// A value that is not a number, or larger than any measurement (a trillion).
    #[error("{what}: value {} is not a number, or far too large for one", .index + 1)]
    NotUsable {
        /// Which values.
        what: &'static str,
        /// Its place, counted from 0.
        index: usize,
    },
    /// A setting outside the range in which the formula means anything.
    #[error("{what} is {value}; expected {expected}")]
    Setting {
        /// Which setting.
        what: &'static str,
        /// What it was.
        value: f64,
        /// What it may be.
        expected: &'static str,
    },
    /// Directions that cancel each other out, such as axis errors of 0 and 90 degrees.
    #[error("no mean direction: the {n} axes cancel each other out")]
    NoDirection {
        /// How many.
        n: usize,
    },
}

impl Unfit {
    /// `Ok` where there are at least `need`.
    pub(crate) fn unless_enough(have: usize, need: usize, what: &'static str) -> Result<(), Unfit> {
        if have < need { Err(Unfit::TooFew { have, need, what }) } else { Ok(()) }
    }

    /// `Ok` where `value` is a finite number above 0.
    pub(crate) fn unless_positive(value: f64, what: &'static str) -> Result<(), Unfit> {
        if value.is_finite() && value > 0.0 {
            Ok(())
        } else {
            Err(Unfit::Setting { what, value, expected: "a number above 0" })
        }
    }

    /// `Ok` where `value` lies strictly between 0 and 1.
    pub(crate) fn unless_share(value: f64, what: &'static str) -> Result<(), Unfit> {
        if value > 0.0 && value < 1.0 {
            Ok(())
        } else {
            Err(Unfit::Setting { what, value, expected: "a share between 0 and 1, such as 0.95" })
        }
    }
}
