//! One end of a line, kept: opened, read and written until it is lost, opened again.

use super::{Heard, Held, Opening, PortSettings, Wire, Work};
use crate::bench::entry::PortState;
use std::collections::VecDeque;
use std::pin::Pin;
use std::task::{Context, Poll};
use std::time::Duration;
use tokio::time::{Instant, Interval, MissedTickBehavior, Sleep, interval, sleep};

/// The pause before the first try to open a lost line again; it doubles up to [`LAST_PAUSE`].
const FIRST_PAUSE: Duration = Duration::from_millis(250);
const LAST_PAUSE: Duration = Duration::from_secs(5);
/// Within this time the runtime has heard of what the system holds.
const HEARD_OF: Duration = Duration::from_millis(20);

/// Opens a line.
pub(in crate::station) type Opener = Box<dyn FnMut(&PortSettings) -> Opening + Send>;

/// What happened at an end.
#[derive(Debug, PartialEq, Eq)]
pub(in crate::station) enum Happened {
    /// It was opened, lost, or could not be opened.
    State(PortState, Option<String>),
    /// Something came in.
    Heard(Heard),
    /// So many bytes that were to be sent were not.
    Unsent(usize),
}

/// What becomes of bytes that the other side does not take.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::station) enum Untaken {
    /// They are dropped, and said to be.
    Dropped,
    /// The connection is closed: whoever opens it again knows that something is missing.
    Closes,
}

enum Out {
    Bytes(Vec<u8>),
    Work(Work),
}

enum State {
    Opening(Opening),
    Open(Box<dyn Wire>),
    Paused(Pin<Box<Sleep>>),
}

pub(in crate::station) struct End {
    opener: Opener,
    settings: PortSettings,
    state: State,
    pause: Duration,
    /// When it was opened last.
    opened: Instant,
    last_failure: Option<String>,
    out: VecDeque<Out>,
    /// How many bytes wait in `out`.
    waiting: usize,
    /// How many may.
    room: usize,
    untaken: Untaken,
    held: Option<Held>,
    look: Option<Interval>,
    reads: bool,
    happened: VecDeque<Happened>,
}

impl End {
    /// An end that holds at most `room` bytes that are to be sent.
    pub(in crate::station) fn new(
        settings: PortSettings,
        room: usize,
        untaken: Untaken,
        mut opener: Opener,
    ) -> Self {
        let state = State::Opening(opener(&settings));
        Self {
            opener,
            settings,
            state,
            pause: FIRST_PAUSE,
            opened: Instant::now(),
            last_failure: None,
            out: VecDeque::new(),
            waiting: 0,
            room,
            untaken,
            held: None,
            look: None,
            reads: true,
            happened: VecDeque::new(),
        }
    }

    /// The next thing that happens; what is to be sent is sent meanwhile. May be dropped at any time.
    pub(in crate::station) async fn next(&mut self) -> Happened {
        std::future::poll_fn(|cx| self.poll_next(cx)).await
    }

    /// The next thing that happens; with `or_flushed` nothing, where everything is sent before.
    pub(in crate::station) async fn next_or(&mut self, or_flushed: bool) -> Option<Happened> {
        std::future::poll_fn(|cx| match self.poll_next(cx) {
            Poll::Ready(happened) => Poll::Ready(Some(happened)),
            Poll::Pending if or_flushed && self.is_flushed() => Poll::Ready(None),
            Poll::Pending => Poll::Pending,
        })
        .await
    }

    /// What has arrived already, at the end of all, which is not later than `until`.
    pub(in crate::station) async fn left(&mut self, until: Instant) -> Option<Happened> {
        let now = Instant::now();
        if now >= until {
            return None;
        }
        // The runtime may not have heard yet of what the system holds.
        let until = until.min(now + HEARD_OF);
        tokio::time::timeout_at(until, self.next()).await.ok()
    }

    pub(in crate::station) fn is_open(&self) -> bool {
        matches!(self.state, State::Open(_))
    }

    /// How the line is set when it is opened next.
    pub(in crate::station) fn settings(&self) -> &PortSettings {
        &self.settings
    }

    /// Has the line set so when it is opened next.
    pub(in crate::station) fn set(&mut self, settings: PortSettings) {
        self.settings = settings;
    }

    /// Whether it is read on; what arrives waits in the system meanwhile.
    pub(in crate::station) fn read_on(&mut self, reads: bool) {
        self.reads = reads;
    }

    /// Whether everything is sent.
    pub(in crate::station) fn is_flushed(&self) -> bool {
        self.out.is_empty()
    }

    /// How many bytes wait to be sent.
    pub(in crate::station) fn waiting(&self) -> usize {
        self.waiting
    }

    /// Hands bytes over to be sent. `false` where nobody is there to send them to.
    pub(in crate::station) fn send(&mut self, bytes: Vec<u8>) -> bool {
        if !self.is_open() {
            return false;
        }
        if self.waiting + bytes.len() > self.room {
            self.happened.push_back(Happened::Unsent(bytes.len()));
            if self.untaken == Untaken::Closes {
                self.lose(format!("it takes nothing: {} bytes were waiting for it", self.waiting));
                return false;
            }
            return true;
        }
        if !bytes.is_empty() {
            self.pause = FIRST_PAUSE;
            self.waiting += bytes.len();
            self.out.push_back(Out::Bytes(bytes));
        }
        true
    }

    /// Hands work over, to be done in its turn. `false` where nobody is there.
    pub(in crate::station) fn work(&mut self, work: Work) -> bool {
        if self.is_open() {
            self.out.push_back(Out::Work(work));
        }
        self.is_open()
    }

    fn lose(&mut self, why: String) {
        if self.waiting > 0 {
            self.happened.push_back(Happened::Unsent(self.waiting));
        }
        self.out.clear();
        self.waiting = 0;
        (self.held, self.look) = (None, None);
        self.pause_first();
        self.happened.push_back(Happened::State(PortState::Lost, Some(why)));
    }

    /// Pauses before the next try. A line that opens and is gone at once, over and over, is tried
    /// less and less often too: each of its comings and goings is an entry in the ledger.
    fn pause_first(&mut self) {
        if self.is_open() && self.opened.elapsed() > LAST_PAUSE {
            self.pause = FIRST_PAUSE;
        }
        self.state = State::Paused(Box::pin(sleep(self.pause)));
        self.pause = (self.pause * 2).min(LAST_PAUSE);
    }

    fn poll_next(&mut self, cx: &mut Context<'_>) -> Poll<Happened> {
        loop {
            if let Some(happened) = self.happened.pop_front() {
                return Poll::Ready(happened);
            }
            match &mut self.state {
                State::Paused(pause) => match pause.as_mut().poll(cx) {
                    Poll::Pending => return Poll::Pending,
                    Poll::Ready(()) => self.state = State::Opening((self.opener)(&self.settings)),
                },
                State::Opening(opening) => match opening.as_mut().poll(cx) {
                    Poll::Pending => return Poll::Pending,
                    Poll::Ready(Ok(wire)) => {
                        self.look = wire.every().map(|every| {
                            let mut look = interval(every);
                            look.set_missed_tick_behavior(MissedTickBehavior::Delay);
                            look
                        });
                        self.state = State::Open(wire);
                        (self.opened, self.last_failure) = (Instant::now(), None);
                        self.happened.push_back(Happened::State(PortState::Opened, None));
                    }
                    Poll::Ready(Err(why)) => {
                        self.pause_first();
                        // Said once for each reason, not at every try.
                        if self.last_failure.as_ref() != Some(&why) {
                            self.last_failure = Some(why.clone());
                            self.happened.push_back(Happened::State(PortState::Unavailable, Some(why)));
                        }
                    }
                },
                State::Open(_) => {
                    let mut heard = VecDeque::new();
                    let polled = self.poll_open(cx, &mut heard);
                    if !heard.is_empty() {
                        self.pause = FIRST_PAUSE;
                    }
                    self.happened.extend(heard.into_iter().map(Happened::Heard));
                    match polled {
                        Poll::Pending => return Poll::Pending,
                        Poll::Ready(Ok(())) => {}
                        Poll::Ready(Err(why)) => self.lose(format!("the device is gone ({why})")),
                    }
                }
            }
        }
    }

    /// Sends what can be sent and reads what there is. Ready once something was read, perhaps nothing
    /// that is told.
    fn poll_open(&mut self, cx: &mut Context<'_>, heard: &mut VecDeque<Heard>) -> Poll<std::io::Result<()>> {
        let State::Open(wire) = &mut self.state else { return Poll::Pending };
        if let Some(look) = &mut self.look
            && look.poll_tick(cx).is_ready()
        {
            wire.tick(heard);
            // The interval wakes again only after it was looked at once more.
            return Poll::Ready(Ok(()));
        }
        if let Some(held) = &mut self.held
            && let Poll::Ready(more) = held.as_mut().poll(cx)
        {
            heard.extend(more);
            self.held = None;
            return Poll::Ready(Ok(()));
        }
        while self.held.is_none() {
            match wire.poll_flush(cx) {
                Poll::Pending => break,
                Poll::Ready(flushed) => flushed?,
            }
            match self.out.front_mut() {
                None => break,
                Some(Out::Bytes(bytes)) => match wire.poll_write(cx, bytes) {
                    Poll::Pending => break,
                    Poll::Ready(written) => {
                        let written = written?;
                        bytes.drain(..written);
                        self.waiting -= written;
                        if bytes.is_empty() {
                            self.out.pop_front();
                        }
                    }
                },
                Some(Out::Work(_)) => {
                    let Some(Out::Work(work)) = self.out.pop_front() else { break };
                    self.held = wire.work(work);
                    if self.held.is_some() {
                        // It has to be polled to begin.
                        return Poll::Ready(Ok(()));
                    }
                }
            }
        }
        if self.reads { wire.poll_read(cx, heard) } else { Poll::Pending }
    }
}
