//! Framing: no byte lost, and the same frames however the stream is split.

use fociline_parsers::frame::{End, Ended, Frame, FrameSpec, Framer};
use proptest::prelude::*;

fn cut(spec: &FrameSpec, pieces: &[&[u8]]) -> Vec<Frame> {
    let mut framer = Framer::new(spec.clone());
    let mut frames = Vec::new();
    for piece in pieces {
        framer.push(piece, |frame| frames.push(frame));
    }
    frames.extend(framer.finish());
    assert!(framer.pending().is_empty());
    frames
}

fn shown(frames: &[Frame]) -> Vec<(String, Ended)> {
    frames.iter().map(|frame| (fociline_parsers::notation::to_text(&frame.bytes), frame.ended)).collect()
}

fn check(spec: &FrameSpec, stream: &[u8], expected: &[(&str, Ended)]) {
    let expected: Vec<_> = expected.iter().map(|(text, ended)| ((*text).to_owned(), *ended)).collect();
    assert_eq!(shown(&cut(spec, &[stream])), expected, "in one piece");
    let single: Vec<&[u8]> = stream.chunks(1).collect();
    assert_eq!(shown(&cut(spec, &single)), expected, "byte by byte");
}

fn ends(list: &[&[u8]]) -> End {
    End::Bytes(list.iter().map(|end| end.to_vec()).collect())
}

fn stx_etx() -> FrameSpec {
    FrameSpec { start: Some(b"\x02".to_vec()), ..FrameSpec::ended_by(ends(&[b"\x03"])) }
}

use Ended::{Complete, Oversize, Stray, Unfinished};

#[test]
fn any_newline_keeps_cr_lf_together_and_blank_lines_apart() {
    let spec = FrameSpec::ended_by(End::any_newline());
    let stream = b"a\r\nb\rc\n\n\r\r\nd";
    let expected = [
        ("a<CR><LF>", Complete),
        ("b<CR>", Complete),
        ("c<LF>", Complete),
        ("<LF>", Complete),
        ("<CR>", Complete),
        ("<CR><LF>", Complete),
        ("d", Unfinished),
    ];
    check(&spec, stream, &expected);
}

#[test]
fn silence_decides_an_open_cr_and_its_late_lf_is_stray() {
    let spec = FrameSpec::ended_by(End::any_newline());
    assert_eq!(spec.silence(), Some(FrameSpec::SETTLE));
    let mut framer = Framer::new(spec);
    let mut frames = Vec::new();
    framer.push(b"a\r", |frame| frames.push(frame));
    assert_eq!(frames, [], "the LF may still come");
    frames.extend(framer.idle());
    framer.push(b"\nb", |frame| frames.push(frame));
    assert_eq!(framer.idle(), None, "b has no end, and silence ends no frame here");
    frames.extend(framer.finish());
    let expected = [("a<CR>", Complete), ("<LF>", Stray), ("b", Unfinished)];
    assert_eq!(shown(&frames), expected.map(|(text, ended)| (text.to_owned(), ended)));
}

#[test]
fn start_and_end_with_noise_between_and_a_frame_that_lost_its_end() {
    let expected = [
        ("noise", Stray),
        ("<STX>a<ETX>", Complete),
        ("<CR>", Stray),
        ("<STX>lost", Unfinished),
        ("<STX>b<ETX>", Complete),
        ("tail", Stray),
    ];
    check(&stx_etx(), b"noise\x02a\x03\r\x02lost\x02b\x03tail", &expected);
}

#[test]
fn a_trailer_belongs_to_its_frame_whatever_its_bytes() {
    let spec = FrameSpec { trailer: 2, ..stx_etx() };
    check(
        &spec,
        b"\x02a\x03\x03\x02\x02b\x03\r\n",
        &[("<STX>a<ETX><ETX><STX>", Complete), ("<STX>b<ETX><CR><LF>", Complete)],
    );
}

#[test]
fn what_grows_too_long_is_marked_to_its_end_and_no_further() {
    let spec = FrameSpec { max: 4, ..FrameSpec::ended_by(ends(&[b"\n"])) };
    check(
        &spec,
        b"abcdefghij\nk\n",
        &[("abcd", Oversize), ("efgh", Oversize), ("ij<LF>", Oversize), ("k<LF>", Complete)],
    );
    check(&spec, b"abc\ndef\n", &[("abc<LF>", Complete), ("def<LF>", Complete)]);
    let spec = FrameSpec { max: 4, ..stx_etx() };
    check(&spec, b"\x02abc\x02d\x03", &[("<STX>abc", Oversize), ("<STX>d<ETX>", Complete)]);
}

#[test]
fn fixed_length_and_idle_gap() {
    check(
        &FrameSpec::ended_by(End::Length(3)),
        b"abcdefgh",
        &[("abc", Complete), ("def", Complete), ("gh", Unfinished)],
    );
    let mut framer = Framer::new(FrameSpec { idle: Some(20), ..FrameSpec::ended_by(End::Silence) });
    framer.push(b"ab", |_| panic!("only silence ends a frame"));
    framer.push(b"c", |_| panic!("only silence ends a frame"));
    assert_eq!(framer.idle(), Some(Frame { bytes: b"abc".to_vec(), ended: Complete }));
    assert_eq!(framer.idle(), None);
}

#[test]
fn silence_ends_an_unfinished_frame_where_the_layout_has_a_gap() {
    let mut framer = Framer::new(FrameSpec { idle: Some(20), ..stx_etx() });
    framer.push(b"\x02ab", |_| panic!("no end yet"));
    assert_eq!(framer.idle(), Some(Frame { bytes: b"\x02ab".to_vec(), ended: Unfinished }));
    framer.push(b"x", |_| panic!("no start yet"));
    assert_eq!(framer.idle(), Some(Frame { bytes: b"x".to_vec(), ended: Stray }));
}

#[test]
fn a_flood_without_end_is_held_to_the_cap() {
    let spec = FrameSpec { max: 100, ..FrameSpec::ended_by(ends(&[b"\r\n"])) };
    let mut framer = Framer::new(spec);
    let mut bytes = 0;
    framer.push(&vec![b'x'; 1_000_000], |frame| {
        assert_eq!((frame.bytes.len(), frame.ended), (100, Oversize));
        bytes += frame.bytes.len();
    });
    assert_eq!(bytes + framer.pending().len(), 1_000_000);
    assert!(framer.pending().len() <= 100);
}

fn specs() -> impl Strategy<Value = FrameSpec> {
    let end = prop_oneof![
        Just(End::any_newline()),
        Just(ends(&[b"\r\n"])),
        Just(ends(&[b"\x03"])),
        Just(ends(&[b"b", b"abc", b"ab\r"])),
        Just(ends(&[b"\r", b"\n", b"\r\n\r\n", b"a\n"])),
        (1_usize..6).prop_map(End::Length),
        Just(End::Silence),
    ];
    let start = prop_oneof![
        Just(None),
        Just(Some(b"\x02".to_vec())),
        Just(Some(b"a\x02".to_vec())),
        Just(Some(b"\x02a".to_vec())),
        Just(Some(b"\x02\x02b".to_vec())),
        Just(Some(b"aab".to_vec()))
    ];
    (start, end, 0_usize..3, 1_usize..12, prop_oneof![Just(None), Just(Some(20))])
        .prop_map(|(start, end, trailer, max, idle)| FrameSpec { start, end, trailer, max, idle })
}

fn streams() -> impl Strategy<Value = Vec<u8>> {
    prop::collection::vec(prop::sample::select(&b"aabbc\r\n\x02\x03\x03"[..]), 0..60)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(8000))]

    #[test]
    fn any_split_gives_the_same_frames(spec in specs(), stream in streams(), splits in prop::collection::vec(0_usize..60, 0..8)) {
        let mut at: Vec<usize> = splits.into_iter().map(|split| split.min(stream.len())).collect();
        at.sort_unstable();
        at.push(stream.len());
        let mut pieces = Vec::new();
        let mut from = 0;
        for to in at {
            pieces.push(&stream[from..to]);
            from = to;
        }
        let whole = cut(&spec, &[&stream]);
        prop_assert_eq!(&cut(&spec, &pieces), &whole);
        let bytes: Vec<u8> = whole.into_iter().flat_map(|frame| frame.bytes).collect();
        prop_assert_eq!(bytes, stream);
    }

    #[test]
    fn silences_lose_no_byte(spec in specs(), pieces in prop::collection::vec(streams(), 0..6)) {
        let mut framer = Framer::new(spec);
        let mut bytes = Vec::new();
        for piece in &pieces {
            framer.push(piece, |frame| bytes.extend(frame.bytes));
            bytes.extend(framer.idle().into_iter().flat_map(|frame| frame.bytes));
        }
        bytes.extend(framer.finish().into_iter().flat_map(|frame| frame.bytes));
        prop_assert_eq!(bytes, pieces.concat());
    }
}
