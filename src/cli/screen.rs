//! Standard output as people follow it: lines, and below them one line that is written anew.

use super::lines::MARGIN;
use anstream::ColorChoice;
use anstream::adapter::strip_str;
use rustix::event::{PollFd, PollFlags, Timespec, poll};
use rustix::termios::tcgetwinsize;
use std::io::{IsTerminal, Result, Stdout, Write};

/// How wide a terminal is that does not say.
const USUAL_WIDTH: usize = 80;
/// To the begin of the line, and everything from there on away. The cursor waits at the begin of
/// the bottom line, so that this also holds after the terminal has wrapped it to another width.
const AWAY: &str = "\r\x1b[J";
/// A bottom line never takes a second row: no wrapping while it is written.
const NO_WRAP: &str = "\x1b[?7l";
const WRAP: &str = "\x1b[?7h";

pub(super) struct Screen {
    out: Stdout,
    is_terminal: bool,
    has_colour: bool,
    /// Whether the cursor can be moved.
    is_clever: bool,
    /// The bottom line, and the width that it was written for.
    bottom: Option<(String, usize)>,
}

impl Screen {
    pub(super) fn new() -> Self {
        let out = std::io::stdout();
        let is_terminal = out.is_terminal();
        let has_colour = anstream::AutoStream::choice(&out) != ColorChoice::Never;
        let is_clever = is_terminal && std::env::var_os("TERM").is_some_and(|term| term != "dumb");
        Self { out, is_terminal, has_colour, is_clever, bottom: None }
    }

    pub(super) fn is_terminal(&self) -> bool {
        self.is_terminal
    }

    /// How many characters a row has; nothing where there is no terminal.
    pub(super) fn width(&self) -> Option<usize> {
        let width = || match tcgetwinsize(&self.out) {
            Ok(size) if size.ws_col > 0 => usize::from(size.ws_col),
            _ => USUAL_WIDTH,
        };
        self.is_terminal.then(width)
    }

    /// Whether nobody reads any more: the other end of a pipe is closed.
    pub(super) fn is_gone(&self) -> bool {
        let mut fds = [PollFd::new(&self.out, PollFlags::empty())];
        let now = Timespec { tv_sec: 0, tv_nsec: 0 };
        poll(&mut fds, Some(&now)).is_ok_and(|ready| ready > 0)
            && fds[0].revents().intersects(PollFlags::ERR | PollFlags::HUP | PollFlags::NVAL)
    }

    /// Writes lines, and the bottom line below them where it has changed and there can be one.
    ///
    /// # Errors
    /// When it cannot be written.
    pub(super) fn show(&mut self, lines: &[String], bottom: &str) -> Result<()> {
        let width = self.width();
        let bottom = width.filter(|_| self.is_clever).map(|width| (cut(bottom, width), width));
        if lines.is_empty() && bottom == self.bottom {
            return Ok(());
        }
        let mut text = String::new();
        if self.bottom.is_some() {
            text.push_str(AWAY);
        }
        for line in lines.iter().flat_map(|lines| lines.lines()) {
            let line = match width {
                Some(width) => {
                    let options = textwrap::Options::new(width.max(MARGIN.len() * 2));
                    textwrap::fill(line, options.subsequent_indent(MARGIN))
                }
                None => line.to_owned(),
            };
            text.push_str(&line);
            text.push('\n');
        }
        if !self.has_colour {
            // The bottom line and its place are not a matter of colour.
            let kept = if self.bottom.is_some() { AWAY } else { "" };
            text = format!("{kept}{}", strip_str(&text[kept.len()..]));
        }
        if let Some((bottom, _)) = &bottom {
            text.push_str(NO_WRAP);
            text.push_str(bottom);
            text.push_str(WRAP);
            text.push('\r');
        }
        self.bottom = bottom;
        self.out.write_all(text.as_bytes())?;
        self.out.flush()
    }

    /// Takes the bottom line away.
    ///
    /// # Errors
    /// When it cannot be written.
    pub(super) fn end(&mut self) -> Result<()> {
        if self.bottom.take().is_some() {
            self.out.write_all(AWAY.as_bytes())?;
        }
        self.out.flush()
    }
}

/// A text that fits into a row.
fn cut(text: &str, width: usize) -> String {
    if text.chars().count() <= width {
        return text.to_owned();
    }
    let kept: String = text.chars().take(width.saturating_sub(1)).collect();
    format!("{}\u{2026}", kept.trim_end())
}

#[cfg(test)]
mod tests {
    use super::cut;

    #[test]
    fn a_bottom_line_is_cut_to_its_row() {
        assert_eq!(cut("job 4471 | last entry 3 s ago", 29), "job 4471 | last entry 3 s ago");
        assert_eq!(cut("job 4471 | last entry 3 s ago", 12), "job 4471 |\u{2026}");
        assert_eq!(cut("job", 0), "\u{2026}");
    }
}
