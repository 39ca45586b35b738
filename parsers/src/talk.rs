//! What is said back to an instrument: some send only when asked, or want each frame
//! acknowledged.
//!
//! Pure: the time comes in as milliseconds of any steady clock, and what comes out are bytes to
//! send.

/// What a layout says of talking back. Nothing, unless it says so.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Talk {
    /// Sent when the port opens.
    pub on_open: Vec<u8>,
    /// How the instrument is asked for measurements, where it has to be.
    pub ask: Option<Ask>,
    /// Sent once a frame that was read is on record.
    pub acknowledge: Vec<u8>,
    /// Sent when a frame could not be read: the instrument is to send it again.
    pub refuse: Vec<u8>,
    /// How many frames in a row are refused. The next one is acknowledged although it was not
    /// read, so that the instrument can go on; the record has it as it came.
    pub retries: u32,
    /// The level of the DTR line, where it matters.
    pub dtr: Option<bool>,
    /// The level of the RTS line, where it matters.
    pub rts: Option<bool>,
}

/// How an instrument is asked for measurements.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Ask {
    /// What is sent.
    pub bytes: Vec<u8>,
    /// Milliseconds between two askings.
    pub every: u64,
    /// Whether it is asked as soon as the port is open and each frame is dealt with; else only
    /// when the time has come.
    pub when_ready: bool,
    /// After how many askings without any byte in return it counts as not answering.
    pub tries: u32,
}

impl Talk {
    /// Unless the layout says otherwise, so many frames in a row are refused.
    pub const RETRIES: u32 = 3;
    /// Unless the layout says otherwise, so many askings go unanswered before it is said.
    pub const TRIES: u32 = 5;
}

/// Whether an instrument that is asked answers.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Answering {
    /// It has not answered for [`Ask::tries`] askings.
    Silent,
    /// It was silent, and answers again.
    Again,
}

/// One conversation: from the opening of a port to its end.
#[derive(Debug, Clone)]
pub struct Conversation {
    talk: Talk,
    ask_at: Option<u64>,
    unanswered: u32,
    refused: u32,
}

impl Conversation {
    /// A conversation that has not begun.
    pub fn new(talk: Talk) -> Self {
        Self { talk, ask_at: None, unanswered: 0, refused: 0 }
    }

    /// The port is open at `now`: what to send.
    pub fn opened(&mut self, now: u64) -> Vec<u8> {
        (self.unanswered, self.refused) = (0, 0);
        let mut bytes = self.talk.on_open.clone();
        if let Some(ask) = &self.talk.ask {
            self.ask_at = Some(if ask.when_ready { now } else { now + ask.every });
        }
        bytes.extend(self.due(now));
        bytes
    }

    /// Bytes came in.
    pub fn heard(&mut self) -> Option<Answering> {
        let was_silent = self.is_silent();
        self.unanswered = 0;
        was_silent.then_some(Answering::Again)
    }

    /// Frames are on record, each read or not: what to send.
    pub fn recorded(&mut self, read: impl IntoIterator<Item = bool>, now: u64) -> Vec<u8> {
        let mut bytes = Vec::new();
        let mut any = false;
        for read in read {
            any = true;
            let refuse = !read && !self.talk.refuse.is_empty() && self.refused < self.talk.retries;
            self.refused = if refuse { self.refused + 1 } else { 0 };
            bytes.extend_from_slice(if refuse { &self.talk.refuse } else { &self.talk.acknowledge });
        }
        // While the instrument sends a refused frame again it is not asked for the next.
        if let Some(ask) = self.talk.ask.as_ref().filter(|ask| any && ask.when_ready) {
            self.ask_at = Some(if self.refused > 0 { now + ask.every } else { now });
            bytes.extend(self.due(now));
        }
        bytes
    }

    /// When [`Self::due`] has something to send.
    pub fn ask_at(&self) -> Option<u64> {
        self.ask_at
    }

    /// What is to be sent at `now`, if its time has come.
    pub fn due(&mut self, now: u64) -> Vec<u8> {
        let (Some(ask), Some(at)) = (&self.talk.ask, self.ask_at) else { return Vec::new() };
        if now < at {
            return Vec::new();
        }
        self.ask_at = Some(now + ask.every);
        self.unanswered = self.unanswered.saturating_add(1);
        ask.bytes.clone()
    }

    /// Says once that the instrument does not answer, at the asking that makes it so.
    pub fn fell_silent(&self) -> Option<Answering> {
        let tries = self.talk.ask.as_ref()?.tries;
        (self.unanswered == tries + 1).then_some(Answering::Silent)
    }

    fn is_silent(&self) -> bool {
        self.talk.ask.as_ref().is_some_and(|ask| self.unanswered > ask.tries)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn talk() -> Talk {
        Talk {
            on_open: b"HELLO\r".to_vec(),
            ask: Some(Ask { bytes: b"\x05".to_vec(), every: 1000, when_ready: true, tries: 2 }),
            acknowledge: b"\x06".to_vec(),
            refuse: b"\x15".to_vec(),
            retries: 2,
            ..Talk::default()
        }
    }

    #[test]
    fn it_greets_asks_and_asks_again_until_there_is_an_answer() {
        let mut talk = Conversation::new(talk());
        assert_eq!(talk.opened(0), b"HELLO\r\x05");
        assert_eq!(talk.due(999), b"");
        assert_eq!((talk.due(1000), talk.fell_silent()), (b"\x05".to_vec(), None));
        assert_eq!((talk.due(2000), talk.fell_silent()), (b"\x05".to_vec(), Some(Answering::Silent)));
        talk.due(3000);
        assert_eq!(talk.fell_silent(), None, "said once");
        assert_eq!(talk.heard(), Some(Answering::Again));
        assert_eq!(talk.heard(), None);
    }

    #[test]
    fn a_frame_on_record_is_acknowledged_and_the_next_asked_for() {
        let mut talk = Conversation::new(talk());
        talk.opened(0);
        assert_eq!(talk.recorded([true], 10), b"\x06\x05");
        assert_eq!(talk.ask_at(), Some(1010));
    }

    #[test]
    fn a_frame_is_refused_only_so_often() {
        let mut talk = Conversation::new(talk());
        talk.opened(0);
        assert_eq!(talk.recorded([false], 1), b"\x15");
        assert_eq!(talk.recorded([false], 2), b"\x15");
        assert_eq!(talk.recorded([false], 3), b"\x06\x05", "the instrument is let go on");
        assert_eq!(talk.recorded([false], 4), b"\x15");
        assert_eq!(talk.recorded([true], 5), b"\x06\x05");
    }

    #[test]
    fn a_timer_asks_whatever_happens() {
        let mut timer = talk();
        timer.ask = timer.ask.map(|ask| Ask { when_ready: false, ..ask });
        let mut talk = Conversation::new(timer);
        assert_eq!(talk.opened(0), b"HELLO\r");
        assert_eq!(talk.recorded([true], 10), b"\x06");
        assert_eq!(talk.due(1000), b"\x05");
    }

    #[test]
    fn nothing_is_sent_to_an_instrument_that_only_talks() {
        let mut talk = Conversation::new(Talk::default());
        assert_eq!(talk.opened(0), b"");
        assert_eq!(talk.recorded([true, false], 10), b"");
        assert_eq!((talk.ask_at(), talk.due(1_000_000)), (None, Vec::new()));
    }
}
