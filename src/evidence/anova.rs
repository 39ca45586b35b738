//! Analysis of variance: one way, and two ways crossed with equal repeats.

use super::sample::{Sample, finite, grouped, scale};
use super::{Unfit, quantile};
use serde::Serialize;

/// One line of an ANOVA table.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Square {
    /// Sum of squares.
    pub ss: f64,
    /// Degrees of freedom.
    pub df: f64,
}

impl Square {
    /// Mean square.
    pub fn ms(&self) -> f64 {
        self.ss / self.df
    }

    /// F ratio against another line. Infinite where the other has no spread.
    pub fn f(&self, against: &Square) -> f64 {
        self.ms() / against.ms()
    }

    /// Chance of an F at least as large as that against another line.
    pub fn p(&self, against: &Square) -> f64 {
        quantile::f_tail(self.f(against), self.df, against.df)
    }

    /// Two lines taken together.
    pub fn pooled(&self, other: &Square) -> Square {
        Square { ss: self.ss + other.ss, df: self.df + other.df }
    }
}

/// One-way analysis of groups that may differ in size.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct OneWay {
    /// Each group, in the order in which the names first appear.
    pub groups: Vec<(String, Sample)>,
    /// All values.
    pub n: usize,
    /// Mean of all values.
    pub mean: f64,
    /// Between the groups.
    pub between: Square,
    /// Within the groups.
    pub within: Square,
    /// The size that unequal groups are worth: (N - sum(n_i^2) / N) / (groups - 1).
    pub size: f64,
    /// Largest magnitude among the values, to tell spread from rounding.
    pub(crate) scale: f64,
}

/// Analyses values under their group names.
///
/// # Errors
/// A value that is not usable, fewer than two groups, no group with a second value.
pub fn one_way<'a>(
    items: impl IntoIterator<Item = (&'a str, f64)>,
    groups_are: &'static str,
) -> Result<OneWay, Unfit> {
    let groups = grouped(items);
    finite(groups.iter().flat_map(|(_, v)| v.iter().copied()), "readings")?;
    Unfit::unless_enough(groups.len(), 2, groups_are)?;
    let largest = groups.iter().map(|(_, v)| v.len()).max().unwrap_or(0);
    Unfit::unless_enough(largest, 2, "readings of one and the same group")?;

    // About one reading as origin, so that a large common value costs no digits.
    let origin = groups[0].1[0];
    let samples: Vec<Sample> =
        groups.iter().map(|(_, v)| Sample::of(&v.iter().map(|x| x - origin).collect::<Vec<_>>())).collect();
    let n: usize = samples.iter().map(|s| s.n).sum();
    let total = n as f64;
    let mean = samples.iter().map(|s| s.n as f64 * s.mean).sum::<f64>() / total;
    let between = samples.iter().map(|s| s.n as f64 * (s.mean - mean).powi(2)).sum();
    let squares: f64 = samples.iter().map(|s| (s.n * s.n) as f64).sum();
    let k = samples.len() as f64;
    Ok(OneWay {
        n,
        mean: origin + mean,
        between: Square { ss: between, df: k - 1.0 },
        within: Square { ss: samples.iter().map(|s| s.squares).sum(), df: total - k },
        size: (total - squares / total) / (k - 1.0),
        scale: scale(groups.iter().flat_map(|(_, v)| v.iter().copied())),
        groups: groups
            .iter()
            .zip(samples)
            .map(|((name, _), s)| ((*name).to_owned(), Sample { mean: origin + s.mean, ..s }))
            .collect(),
    })
}

/// A crossed table: every row with every column, the same number of repeats in each cell.
#[derive(Debug, Clone, PartialEq)]
pub struct Crossed {
    /// Names of the rows (lenses).
    pub rows: Vec<String>,
    /// Names of the columns (persons or instruments).
    pub columns: Vec<String>,
    /// Values in each cell.
    pub repeats: usize,
    cells: Vec<Vec<f64>>,
}

impl Crossed {
    /// Lays readings (row, column, value) out as a table.
    ///
    /// # Errors
    /// A value that is not usable, fewer than two rows or columns, a missing cell, unequal repeats.
    pub fn new<'a>(items: impl IntoIterator<Item = (&'a str, &'a str, f64)>) -> Result<Crossed, Unfit> {
        let items: Vec<_> = items.into_iter().collect();
        finite(items.iter().map(|i| i.2), "readings")?;
        let rows = grouped(items.iter().map(|i| (i.0, 0.0)));
        let columns = grouped(items.iter().map(|i| (i.1, 0.0)));
        Unfit::unless_enough(rows.len(), 2, "lenses")?;
        Unfit::unless_enough(columns.len(), 2, "persons or instruments")?;

        let mut found: std::collections::HashMap<(&str, &str), Vec<f64>> = Default::default();
        for (row, column, value) in items {
            found.entry((row, column)).or_default().push(value);
        }
        let mut cells = Vec::with_capacity(rows.len() * columns.len());
        for (row, _) in &rows {
            for (column, _) in &columns {
                let cell = found.remove(&(*row, *column)).ok_or_else(|| Unfit::MissingCell {
                    part: (*row).to_owned(),
                    person: (*column).to_owned(),
                })?;
                let need = cells.first().map_or(cell.len(), Vec::len);
                if cell.len() != need {
                    return Err(Unfit::UnequalRepeats {
                        part: (*row).to_owned(),
                        person: (*column).to_owned(),
                        have: cell.len(),
                        need,
                    });
                }
                cells.push(cell);
            }
        }
        let names = |g: Vec<(&str, Vec<f64>)>| g.into_iter().map(|(n, _)| n.to_owned()).collect();
        Ok(Crossed { repeats: cells[0].len(), rows: names(rows), columns: names(columns), cells })
    }

    /// Mean of each column, in their order.
    pub fn column_means(&self) -> Vec<f64> {
        (0..self.columns.len()).map(|c| Sample::of(&self.column(c)).mean).collect()
    }

    /// Sums of squares for rows, columns, their interaction and the repeats.
    pub fn analyse(&self) -> TwoWay {
        let (r, c, k) = (self.rows.len() as f64, self.columns.len() as f64, self.repeats as f64);
        let origin = self.cells[0][0];
        let centred: Vec<Vec<f64>> =
            self.cells.iter().map(|cell| cell.iter().map(|x| x - origin).collect()).collect();
        let cell: Vec<Sample> = centred.iter().map(|v| Sample::of(v)).collect();
        let columns = self.columns.len();
        let mean = cell.iter().map(|s| s.mean).sum::<f64>() / (r * c);
        let row: Vec<f64> =
            cell.chunks(columns).map(|cells| cells.iter().map(|s| s.mean).sum::<f64>() / c).collect();
        let column: Vec<f64> = (0..columns)
            .map(|j| cell.iter().skip(j).step_by(columns).map(|s| s.mean).sum::<f64>() / r)
            .collect();
        let interaction = cell
            .iter()
            .enumerate()
            .map(|(i, s)| (s.mean - row[i / columns] - column[i % columns] + mean).powi(2))
            .sum::<f64>();
        TwoWay {
            rows: Square { ss: c * k * row.iter().map(|m| (m - mean).powi(2)).sum::<f64>(), df: r - 1.0 },
            columns: Square {
                ss: r * k * column.iter().map(|m| (m - mean).powi(2)).sum::<f64>(),
                df: c - 1.0,
            },
            interaction: Square { ss: k * interaction, df: (r - 1.0) * (c - 1.0) },
            repeats: Square { ss: cell.iter().map(|s| s.squares).sum(), df: r * c * (k - 1.0) },
        }
    }

    fn column(&self, c: usize) -> Vec<f64> {
        self.cells.iter().skip(c).step_by(self.columns.len()).flatten().copied().collect()
    }

    pub(crate) fn scale(&self) -> f64 {
        scale(self.cells.iter().flatten().copied())
    }
}

/// Two-way crossed analysis. With one value in each cell `repeats` has no degrees of freedom.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct TwoWay {
    /// Rows (lenses).
    pub rows: Square,
    /// Columns (persons or instruments).
    pub columns: Square,
    /// Rows by columns.
    pub interaction: Square,
    /// Within the cells.
    pub repeats: Square,
}
