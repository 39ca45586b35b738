//! What has to hold for any bytes: run by the fuzz targets, and on the committed corpus by the
//! normal tests.

use fociline_parsers::frame::{End, Frame, FrameSpec, Framer};
use fociline_parsers::layout::Layout;
use fociline_parsers::notation;
use fociline_parsers::reader::Reader;

/// Two bytes choose the framing and the size of the pieces; the rest arrives. However it is cut
/// into pieces, the frames are the same, and their bytes are what arrived.
pub fn framer(data: &[u8]) {
    let [framing, piece, stream @ ..] = data else { return };
    let spec = spec(*framing);
    let whole = frames(&spec, stream, stream.len().max(1));
    let pieces = frames(&spec, stream, usize::from(*piece).max(1));
    assert_eq!(whole, pieces);
    let bytes: Vec<u8> = whole.iter().flat_map(|frame| frame.bytes.iter().copied()).collect();
    assert_eq!(bytes, stream, "no byte is lost or made up");
    assert!(whole.iter().all(|frame| frame.bytes.len() <= spec.max && !frame.bytes.is_empty()));
}

fn spec(choice: u8) -> FrameSpec {
    let start = match choice & 3 {
        0 | 1 => None,
        2 => Some(b"\x02".to_vec()),
        _ => Some(b"AB".to_vec()),
    };
    let end = match choice >> 2 & 3 {
        0 => End::any_newline(),
        1 => End::Bytes(vec![b"\x03".to_vec()]),
        2 => End::Length(7),
        _ => End::Silence,
    };
    let trailer = if choice >> 4 & 1 == 1 && !matches!(end, End::Length(_) | End::Silence) { 3 } else { 0 };
    let max = if matches!(end, End::Length(_)) { 7 } else { 24 };
    FrameSpec { start, end, trailer, max, idle: None }
}

fn frames(spec: &FrameSpec, stream: &[u8], piece: usize) -> Vec<Frame> {
    let mut framer = Framer::new(spec.clone());
    let mut frames = Vec::new();
    for piece in stream.chunks(piece) {
        framer.push(piece, |frame| frames.push(frame));
    }
    frames.extend(framer.idle());
    frames.extend(framer.finish());
    frames
}

/// Any text is either a layout or refused with a line of it; a layout reads any bytes or refuses
/// them.
pub fn layout_text(data: &[u8]) {
    let Ok(text) = std::str::from_utf8(data) else { return };
    match Layout::from_toml(text, "fuzzed") {
        Ok(layout) => {
            let reader = Reader::Layout(layout.into());
            for frame in [&b"EYE=R S=-1.25\r\n"[..], b"\x02R  -1.25\r\x03A1B2\r", b"", data] {
                accounted(&reader, frame);
            }
        }
        Err(refused) => {
            assert!(refused.line >= 1 && refused.line <= text.lines().count() + 1, "{refused}");
        }
    }
}

/// Any frame is read or refused by every reader, at a byte that is in it, and every byte of it is
/// accounted for.
pub fn readers(data: &[u8]) {
    for reader in Reader::all() {
        accounted(&reader, data);
    }
    assert_eq!(notation::from_text(&notation::to_text(data)).as_deref(), Ok(data));
}

fn accounted(reader: &Reader, frame: &[u8]) {
    let read = reader.read(frame);
    if let Err(reject) = &read {
        assert!(reject.offset <= frame.len(), "{reject}");
    }
    if let Reader::Layout(layout) = reader {
        let account = layout.account(frame);
        assert_eq!(account.result, read);
        let mut at = 0;
        for span in &account.spans {
            assert_eq!(span.range.start, at, "{:?}", account.spans);
            at = span.range.end;
        }
        assert_eq!(at, frame.len(), "{:?}", account.spans);
    }
}
