//! Invented lenses, what a display would show of them, and the check that all formats share.

use fociline_parsers::learn::{HeldOut, Proposal, Sample, Shown, hold_one_out, learn, read};
use proptest::prelude::*;

/// One lens in whole units of its last digit.
#[derive(Debug, Clone, Copy)]
pub struct Lens {
    pub right: bool,
    pub sphere: i32,
    /// None for a lens without cylinder, which shows neither cylinder nor axis.
    pub cylinder: Option<(i32, u32)>,
    pub addition: Option<u32>,
    /// In positive, out negative.
    pub horizontal: i32,
    /// Up positive, down negative.
    pub vertical: i32,
    /// Tenths of a millimetre.
    pub pd: u32,
    /// Tenths of a percent.
    pub transmittance: u32,
    pub near: bool,
    pub job: u32,
}

/// A pair: the first one is the right lens.
pub type Pair = [Lens; 2];

pub fn lens() -> impl Strategy<Value = Lens> {
    let power = (
        any::<bool>(),
        -79..=79_i32,
        prop::option::weighted(0.8, (-24..=-1_i32, 1..=180_u32)),
        prop::option::weighted(0.7, 3..=14_u32),
    );
    (power, -190..=190_i32, -190..=190_i32, 250..=350_u32, 700..=990_u32, any::<bool>(), 1000..9999_u32)
        .prop_map(
            |((right, sphere, cylinder, addition), horizontal, vertical, pd, transmittance, near, job)| {
                Lens {
                    right,
                    sphere: sphere * 25,
                    cylinder: cylinder.map(|(cylinder, axis)| (cylinder * 25, axis)),
                    addition: addition.map(|addition| addition * 25),
                    horizontal,
                    vertical,
                    pd,
                    transmittance,
                    near,
                    job,
                }
            },
        )
}

pub fn pair() -> impl Strategy<Value = Pair> {
    (lens(), lens())
        .prop_map(|(one, other)| [Lens { right: true, ..one }, Lens { right: false, job: one.job, ..other }])
}

/// Four lenses that show every sign, side, base and blank: what a technician is told to measure.
pub fn telling() -> Vec<Lens> {
    let lens = Lens {
        right: true,
        sphere: -125,
        cylinder: Some((-50, 91)),
        addition: Some(200),
        horizontal: 43,
        vertical: -27,
        pd: 315,
        transmittance: 915,
        near: false,
        job: 4471,
    };
    vec![
        lens,
        Lens {
            right: false,
            sphere: 1075,
            cylinder: Some((-175, 8)),
            addition: Some(275),
            horizontal: -112,
            vertical: 58,
            pd: 302,
            transmittance: 878,
            near: true,
            job: 582,
        },
        Lens {
            right: false,
            sphere: 325,
            cylinder: None,
            addition: None,
            horizontal: 0,
            pd: 297,
            transmittance: 803,
            job: 31,
            ..lens
        },
        Lens {
            sphere: -650,
            cylinder: Some((-225, 174)),
            addition: Some(125),
            horizontal: -9,
            vertical: 131,
            pd: 338,
            transmittance: 726,
            job: 60214,
            ..lens
        },
    ]
}

pub fn telling_pairs() -> Vec<Pair> {
    let [a, b, c, d] = telling()[..] else { unreachable!() };
    let pair = |one: Lens, other: Lens| {
        [Lens { right: true, ..one }, Lens { right: false, job: one.job, near: one.near, ..other }]
    };
    vec![pair(a, b), pair(b, d), pair(c, a), pair(d, c)]
}

pub fn side(lens: &Lens) -> char {
    if lens.right { 'R' } else { 'L' }
}

/// A number of hundredths with its sign where it is negative.
pub fn hundredths(value: i32) -> String {
    let sign = if value < 0 { "-" } else { "" };
    format!("{sign}{}.{:02}", value.abs() / 100, value.abs() % 100)
}

/// The same, with a plus too.
pub fn signed(value: i32) -> String {
    if value < 0 { hundredths(value) } else { format!("+{}", hundredths(value)) }
}

pub fn tenths(value: u32) -> String {
    format!("{}.{}", value / 10, value % 10)
}

/// What a display shows of a lens, of the names in `shows`; each with its prefix.
pub fn tell(shown: &mut Shown, lens: &Lens, prefix: &str, shows: &[&str]) {
    let or_none = |text: Option<String>| text.unwrap_or_else(|| "-".to_owned());
    let prism = |value: i32, positive: &str, negative: &str| {
        let base = if value < 0 { negative } else { positive };
        if value == 0 { "0".to_owned() } else { format!("{} {base}", hundredths(value.abs())) }
    };
    for name in shows {
        let value = match *name {
            "sphere" => hundredths(lens.sphere),
            "cylinder" => or_none(lens.cylinder.map(|(cylinder, _)| hundredths(cylinder))),
            "axis" => or_none(lens.cylinder.map(|(_, axis)| axis.to_string())),
            "addition" => or_none(lens.addition.map(|addition| hundredths(addition as i32))),
            "prism_horizontal" => prism(lens.horizontal, "in", "out"),
            "prism_vertical" => prism(lens.vertical, "up", "down"),
            "prism" => prism(lens.horizontal, "in", "out"),
            "prism_degrees" => format!("{} {}", hundredths(lens.horizontal.abs()), lens.vertical.abs()),
            "pd" => tenths(lens.pd),
            "transmittance" => tenths(lens.transmittance),
            "transmittance_whole" => (lens.transmittance / 10).to_string(),
            "mode" => if lens.near { "near" } else { "distance" }.to_owned(),
            "job" => lens.job.to_string(),
            other => panic!("{other}"),
        };
        let name = match *name {
            "prism_degrees" => "prism",
            "transmittance_whole" => "transmittance",
            name => name,
        };
        let prefix = if matches!(name, "mode" | "job") { "" } else { prefix };
        shown.tell(&format!("{prefix}{name}"), &value).unwrap();
    }
}

pub fn of_side(lens: &Lens) -> &'static str {
    if lens.right { "right_" } else { "left_" }
}

/// A sample for each measurement.
pub fn samples<M>(measured: &[M], write: impl Fn(&M) -> Vec<u8>, show: impl Fn(&M) -> Shown) -> Vec<Sample> {
    let sample = |(index, measurement): (usize, &M)| Sample {
        name: format!("capture {}", index + 1),
        bytes: write(measurement),
        shown: show(measurement),
    };
    measured.iter().enumerate().map(sample).collect()
}

/// Learns from `measured` and reads `unseen` right.
#[track_caller]
pub fn check<M>(
    measured: &[M],
    unseen: &[M],
    write: impl Fn(&M) -> Vec<u8>,
    show: impl Fn(&M) -> Shown,
) -> Proposal {
    let samples = samples(measured, &write, &show);
    let proposal = match learn(&samples, "learnt") {
        Ok(proposal) => proposal,
        Err(why) => panic!("{why}\n{samples:#?}"),
    };
    for measurement in unseen {
        let bytes = write(measurement);
        let text = || format!("{}\n{}", fociline_parsers::notation::to_text(&bytes), proposal.text());
        let reading = read(&proposal.layout, &bytes).unwrap_or_else(|why| panic!("{why}\n{}", text()));
        let wrong = show(measurement).disagreements(&reading);
        assert!(wrong.is_empty(), "{wrong:?}\n{}", text());
    }
    proposal
}

/// No held-out sample is read wrong; refused is allowed, for a sample may be the only one with
/// some mark.
#[track_caller]
pub fn none_wrong(samples: &[Sample]) {
    for (index, held) in hold_one_out(samples).into_iter().enumerate() {
        assert!(!matches!(held, HeldOut::Wrong(_)), "{}: {held}", samples[index].name);
    }
}
