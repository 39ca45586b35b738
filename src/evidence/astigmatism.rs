//! Differences of two cylinders as points in the double-angle plane (J0, J45), in dioptres.
//!
//! Thibos LN, Wheeler W, Horner D. Optom Vis Sci 1997; 74: 367-375.

use super::sample::{finite, scale};
use super::{Unfit, quantile};
use serde::Serialize;

/// One difference, measured minus reference.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Point {
    /// Difference in J0, dioptres.
    pub j0: f64,
    /// Difference in J45, dioptres.
    pub j45: f64,
}

/// An ellipse about a centre. Half axes in dioptres; `turn` in degrees from the J0 direction to
/// the longer one, anti-clockwise.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Ellipse {
    /// Longer half axis.
    pub major: f64,
    /// Shorter half axis.
    pub minor: f64,
    /// Direction of the longer one, above -90 to 90.
    pub turn: f64,
}

/// Where the differences lie.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Cloud {
    /// How many.
    pub n: usize,
    /// Their mean.
    pub centroid: Point,
    /// Confidence region of the mean (Hotelling's T squared).
    pub centroid_region: Ellipse,
    /// Region that holds that share of single differences (chi-square, 2 degrees of freedom).
    pub spread_region: Ellipse,
    /// The confidence region leaves the origin out: there is a bias.
    pub biased: bool,
}

/// Works out centroid and ellipses at `confidence`.
///
/// # Errors
/// Fewer than three differences, a value that is not usable, differences on a point or a line.
pub fn cloud(points: &[Point], confidence: f64) -> Result<Cloud, Unfit> {
    Unfit::unless_share(confidence, "confidence")?;
    finite(points.iter().flat_map(|p| [p.j0, p.j45]), "astigmatic differences")?;
    Unfit::unless_enough(points.len(), 3, "astigmatic differences")?;
    let n = points.len() as f64;
    let centroid = Point {
        j0: points.iter().map(|p| p.j0).sum::<f64>() / n,
        j45: points.iter().map(|p| p.j45).sum::<f64>() / n,
    };
    let sum = |f: fn(f64, f64) -> f64| {
        points.iter().map(|p| f(p.j0 - centroid.j0, p.j45 - centroid.j45)).sum::<f64>() / (n - 1.0)
    };
    let (xx, xy, yy) = (sum(|x, _| x * x), sum(|x, y| x * y), sum(|_, y| y * y));
    let (middle, half) = ((xx + yy) / 2.0, ((xx - yy) / 2.0).hypot(xy));
    let (large, small) = (middle + half, middle - half);
    let rounding = (64.0 * f64::EPSILON * scale(points.iter().flat_map(|p| [p.j0, p.j45]))).powi(2);
    if small <= rounding.max(1e-14 * large) {
        return Err(Unfit::Constant { what: "the astigmatic differences in one direction of the plane" });
    }
    let turn = (2.0 * xy).atan2(xx - yy).to_degrees() / 2.0;
    let ellipse =
        |factor: f64| Ellipse { major: (factor * large).sqrt(), minor: (factor * small).sqrt(), turn };
    let critical = 2.0 * (n - 1.0) / (n - 2.0) * quantile::f(confidence, 2.0, n - 2.0);
    let det = xx * yy - xy * xy;
    let (x, y) = (centroid.j0, centroid.j45);
    let t2 = n * (yy * x * x - 2.0 * xy * x * y + xx * y * y) / det;
    Ok(Cloud {
        n: points.len(),
        centroid,
        centroid_region: ellipse(critical / n),
        spread_region: ellipse(quantile::chi_square(confidence, 2.0)),
        biased: t2 > critical,
    })
}
