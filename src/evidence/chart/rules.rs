//! Run rules as data.

use super::Side;

/// A pattern in the points, measured in sigmas from the centre.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Pattern {
    /// `count` out of the last `of` points lie beyond `sigmas` on one side, the last one among them.
    Beyond {
        /// How many.
        count: usize,
        /// Out of how many.
        of: usize,
        /// Beyond how many sigmas.
        sigmas: f64,
    },
    /// The last `run` points lie on one side of the centre.
    OneSide {
        /// How many.
        run: usize,
    },
    /// The last `run` points rise throughout, or fall throughout.
    Steady {
        /// How many.
        run: usize,
    },
    /// The last `run` points go up and down by turns.
    Alternating {
        /// How many.
        run: usize,
    },
    /// The last `run` points all lie within `sigmas`, on either side.
    Hugging {
        /// How many.
        run: usize,
        /// Within how many sigmas.
        sigmas: f64,
    },
    /// The last `run` points all lie beyond `sigmas`, on either side.
    Avoiding {
        /// How many.
        run: usize,
        /// Beyond how many sigmas.
        sigmas: f64,
    },
}

/// One rule.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RunRule {
    /// Its name.
    pub name: &'static str,
    /// Where it was published.
    pub source: &'static str,
    /// The pattern it looks for.
    pub pattern: Pattern,
}

const HANDBOOK: &str = "Western Electric, Statistical Quality Control Handbook, 1956";
const JOURNAL: &str = "Nelson LS, J Qual Technol 1984; 16: 237-239";

const fn rule(name: &'static str, source: &'static str, pattern: Pattern) -> RunRule {
    RunRule { name, source, pattern }
}

/// The four zone rules of the handbook.
pub const WESTERN_ELECTRIC: &[RunRule] = &[
    rule("one point beyond 3 sigma", HANDBOOK, Pattern::Beyond { count: 1, of: 1, sigmas: 3.0 }),
    rule("two of three beyond 2 sigma", HANDBOOK, Pattern::Beyond { count: 2, of: 3, sigmas: 2.0 }),
    rule("four of five beyond 1 sigma", HANDBOOK, Pattern::Beyond { count: 4, of: 5, sigmas: 1.0 }),
    rule("eight on one side", HANDBOOK, Pattern::OneSide { run: 8 }),
];

/// The eight tests for special causes, in the paper's order.
pub const NELSON: &[RunRule] = &[
    rule("one point beyond 3 sigma", JOURNAL, Pattern::Beyond { count: 1, of: 1, sigmas: 3.0 }),
    rule("nine on one side", JOURNAL, Pattern::OneSide { run: 9 }),
    rule("six rising or falling", JOURNAL, Pattern::Steady { run: 6 }),
    rule("fourteen up and down by turns", JOURNAL, Pattern::Alternating { run: 14 }),
    rule("two of three beyond 2 sigma", JOURNAL, Pattern::Beyond { count: 2, of: 3, sigmas: 2.0 }),
    rule("four of five beyond 1 sigma", JOURNAL, Pattern::Beyond { count: 4, of: 5, sigmas: 1.0 }),
    rule("fifteen within 1 sigma", JOURNAL, Pattern::Hugging { run: 15, sigmas: 1.0 }),
    rule("eight beyond 1 sigma, both sides", JOURNAL, Pattern::Avoiding { run: 8, sigmas: 1.0 }),
];

/// The moving range's own limit, D4 = 3.267 times the mean moving range.
pub const MOVING_RANGE: (&str, &str) =
    ("moving range beyond its limit", "NIST/SEMATECH e-Handbook 6.3.2.2 (D4 = 3.267)");

impl Pattern {
    /// The most points the pattern looks back over.
    pub fn reach(&self) -> usize {
        match *self {
            Pattern::Beyond { of, .. } => of,
            Pattern::OneSide { run }
            | Pattern::Steady { run }
            | Pattern::Alternating { run }
            | Pattern::Hugging { run, .. }
            | Pattern::Avoiding { run, .. } => run,
        }
    }

    /// Whether the latest points (last one newest, in sigmas) show the pattern: on which side, and
    /// over how many points.
    pub fn seen(&self, points: &[f64]) -> Option<(Side, usize)> {
        let last = *points.last()?;
        let side = if last > 0.0 { Side::Above } else { Side::Below };
        let sign = if last > 0.0 { 1.0 } else { -1.0 };
        let tail = |run: usize| points.len().checked_sub(run).map(|from| &points[from..]);
        match *self {
            Pattern::Beyond { count, of, sigmas } => {
                let recent = &points[points.len().saturating_sub(of)..];
                let beyond = |z: &f64| z * sign > sigmas;
                let hits = recent.iter().filter(|z| beyond(z)).count();
                let first = recent.iter().position(beyond)?;
                (beyond(&last) && hits >= count).then(|| (side, recent.len() - first))
            }
            Pattern::OneSide { run } => tail(run)?.iter().all(|z| z * sign > 0.0).then_some((side, run)),
            Pattern::Steady { run } => {
                let steps = tail(run)?;
                if steps.windows(2).all(|w| w[1] > w[0]) {
                    Some((Side::Above, run))
                } else {
                    steps.windows(2).all(|w| w[1] < w[0]).then_some((Side::Below, run))
                }
            }
            Pattern::Alternating { run } => tail(run)?
                .windows(3)
                .all(|w| (w[1] - w[0]) * (w[2] - w[1]) < 0.0)
                .then_some((Side::Both, run)),
            Pattern::Hugging { run, sigmas } => {
                tail(run)?.iter().all(|z| z.abs() < sigmas).then_some((Side::Both, run))
            }
            Pattern::Avoiding { run, sigmas } => {
                tail(run)?.iter().all(|z| z.abs() > sigmas).then_some((Side::Both, run))
            }
        }
    }
}
