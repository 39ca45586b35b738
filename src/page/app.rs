//! What every request works with: the station's handles, readers of its ledger, the board, the
//! accounts and sessions.

use super::people::People;
use super::problem::Problem;
use super::seen::Seen;
use super::session::{Sessions, Who};
use super::throttle::Throttle;
use crate::bench::entry::{Numbered, PersonDid, PersonEntry, Role, Seq};
use crate::bench::event::Event;
use crate::bridge::standing::Standing;
use crate::ledger::{LedgerError, Reader};
use crate::station::attach::{Clock, Handles, Stopped};
use crate::station::board::Board;
use crate::station::recorder::{Health, Recorder};
use crate::station::settings::{Page, Settings};
use jiff::Timestamp;
use jiff::tz::TimeZone;
use std::sync::{Arc, Mutex, PoisonError, RwLock};
use tokio::sync::{Semaphore, watch};

/// How many requests read the ledger at the same time.
const READERS: usize = 4;
/// How many passphrases are looked at at the same time: each takes 19 MiB.
const PASSPHRASES: usize = 2;
/// How many live streams there are at most.
const STREAMS: usize = 128;

/// How many reports are made at the same time.
const REPORTS: usize = 1;

/// What every request works with.
pub struct App {
    /// The station's settings.
    pub settings: Arc<Settings>,
    /// How the page is served.
    pub page: Page,
    /// The station's time zone: days and hours are shown and asked for in it.
    pub timezone: TimeZone,
    /// How the station's feeds do.
    pub feeds: Arc<Standing>,
    /// Everybody's sessions.
    pub sessions: Sessions,
    /// Which lenses' values were shown to whom.
    pub seen: Seen,
    /// Says when the station ends.
    pub stopped: Stopped,
    clock: Clock,
    /// Taken away at the end: a request that hangs on must not keep the station going.
    recorder: RwLock<Option<Recorder>>,
    health: watch::Receiver<Health>,
    readers: Mutex<Vec<Reader>>,
    reading: Semaphore,
    board: RwLock<Board>,
    drawn: watch::Sender<Seq>,
    people: RwLock<Arc<People>>,
    throttle: Mutex<Throttle>,
    passphrases: Semaphore,
    streams: Arc<Semaphore>,
    reports: Arc<Semaphore>,
    /// Held from a look at the record until what is said of it is recorded.
    pub(super) one_at_a_time: tokio::sync::Mutex<()>,
}

impl App {
    /// The page of a station.
    pub fn new(
        page: Page,
        people: People,
        timezone: TimeZone,
        feeds: Arc<Standing>,
        handles: Handles,
    ) -> Self {
        let Handles { recorder, settings, clock, stopped } = handles;
        Self {
            board: RwLock::new(Board::new(&settings, timezone.clone())),
            sessions: Sessions::new(page.idle),
            feeds,
            seen: Seen::default(),
            settings,
            page,
            timezone,
            stopped,
            clock,
            health: recorder.health(),
            recorder: RwLock::new(Some(recorder)),
            readers: Mutex::default(),
            reading: Semaphore::new(READERS),
            drawn: watch::channel(Seq::default()).0,
            people: RwLock::new(Arc::new(people)),
            throttle: Mutex::default(),
            passphrases: Semaphore::new(PASSPHRASES),
            streams: Arc::new(Semaphore::new(STREAMS)),
            reports: Arc::new(Semaphore::new(REPORTS)),
            one_at_a_time: tokio::sync::Mutex::default(),
        }
    }

    /// The time.
    pub fn now(&self) -> Timestamp {
        (self.clock)()
    }

    /// Whether what happens is being recorded.
    pub fn health(&self) -> Health {
        self.health.borrow().clone()
    }

    /// The same, and each change of it.
    pub fn watch_health(&self) -> watch::Receiver<Health> {
        self.health.clone()
    }

    /// Where events are handed in.
    ///
    /// # Errors
    /// When the station is ending.
    pub fn recorder(&self) -> Result<Recorder, Problem> {
        let recorder = self.recorder.read().unwrap_or_else(PoisonError::into_inner).clone();
        recorder.ok_or_else(|| Problem::unavailable("the station is shutting down"))
    }

    /// Lets go of the recorder: nothing is recorded through the page from here on.
    pub fn close(&self) {
        *self.recorder.write().unwrap_or_else(PoisonError::into_inner) = None;
    }

    /// Records an event; completes when what comes of it is on disk and on the board.
    ///
    /// # Errors
    /// When nothing can be recorded now, and then nothing is.
    pub async fn record(&self, event: Event) -> Result<Arc<[Numbered]>, Problem> {
        if let Health::NotRecording { why } = self.health() {
            return Err(Problem::unavailable(format!("not recording: {why}")));
        }
        let entries = self.recorder()?.record(event, self.now()).await?;
        if let Some(last) = entries.last() {
            self.drawn_to(last.seq).await;
        }
        Ok(entries)
    }

    /// Reads from the ledger, on a thread that may wait for the disk.
    ///
    /// # Errors
    /// When the ledger cannot be read, or `read` says so.
    pub async fn read<T, E>(
        &self,
        read: impl FnOnce(&Reader) -> Result<T, E> + Send + 'static,
    ) -> Result<T, Problem>
    where
        T: Send + 'static,
        E: Into<Problem> + Send + 'static,
    {
        let _turn = self.reading.acquire().await.map_err(Problem::fault)?;
        let free = self.readers.lock().unwrap_or_else(PoisonError::into_inner).pop();
        let path = self.settings.ledger.clone();
        let done = tokio::task::spawn_blocking(move || {
            let reader = match free {
                Some(reader) => reader,
                None => Reader::open(path)?,
            };
            let result = read(&reader);
            Ok::<_, LedgerError>((reader, result))
        });
        let (reader, result) = done.await.map_err(Problem::fault)??;
        self.readers.lock().unwrap_or_else(PoisonError::into_inner).push(reader);
        result.map_err(Into::into)
    }

    /// The live picture, as it is now.
    pub fn board<T>(&self, look: impl FnOnce(&Board) -> T) -> T {
        look(&self.board.read().unwrap_or_else(PoisonError::into_inner))
    }

    /// Draws committed entries onto the board.
    pub(super) fn draw(&self, entries: &[Numbered]) {
        let mut board = self.board.write().unwrap_or_else(PoisonError::into_inner);
        entries.iter().for_each(|numbered| board.take(numbered));
        let seq = board.seq();
        drop(board);
        self.drawn.send_replace(seq);
    }

    /// Completes when the board shows everything up to this entry.
    pub async fn drawn_to(&self, seq: Seq) {
        // The sender is in this very structure: it does not go away.
        let _ = self.drawn.subscribe().wait_for(|drawn| *drawn >= seq).await;
    }

    /// The accounts as they stand.
    pub fn people(&self) -> Arc<People> {
        Arc::clone(&self.people.read().unwrap_or_else(PoisonError::into_inner))
    }

    /// Takes accounts over and records what has changed.
    ///
    /// # Errors
    /// When it cannot be recorded now. The accounts hold all the same.
    pub(super) async fn take_people(
        &self,
        later: People,
        by: &str,
        from: Option<String>,
    ) -> Result<(), Problem> {
        let changes = self.people().changes(&later);
        *self.people.write().unwrap_or_else(PoisonError::into_inner) = Arc::new(later);
        for (did, account) in changes {
            let person = PersonEntry {
                did,
                name: Some(account.name),
                role: (did != PersonDid::AccountRemoved).then_some(account.role),
                by: by.to_owned(),
                from: from.clone(),
                why: None,
            };
            self.record(Event::Person(person)).await?;
        }
        Ok(())
    }

    /// Whether this is somebody's name and passphrase; gives the account. Every try counts.
    ///
    /// # Errors
    /// When it is not, or there were too many tries. Both are recorded.
    pub(super) async fn known(
        &self,
        name: &str,
        passphrase: String,
        who: &Who,
    ) -> Result<super::people::Account, Problem> {
        let account = self.people().find(name.trim()).cloned();
        let known = account.as_ref().map(|account| account.name.clone());
        let now = std::time::Instant::now();
        let throttle = || self.throttle.lock().unwrap_or_else(PoisonError::into_inner);
        let allowed = throttle().try_once(known.as_deref(), who.from, now);
        if let Err(wait) = allowed {
            // Not recorded each time: whoever guesses on must not fill the ledger.
            tracing::warn!(from = %who.from, "too many tries to sign in");
            return Err(Problem::too_many(wait.as_secs() + 1));
        }
        let right = {
            let _turn = self.passphrases.acquire().await.map_err(Problem::fault)?;
            let account = account.clone();
            let look = move || match account {
                Some(account) => account.is_passphrase(&passphrase),
                None => {
                    super::people::look_at_nobodys(&passphrase);
                    false
                }
            };
            tokio::task::spawn_blocking(look).await.map_err(Problem::fault)?
        };
        match account.filter(|_| right) {
            Some(account) => {
                throttle().was_right(&account.name);
                Ok(account)
            }
            None => {
                self.record_person(PersonDid::Refused, known, None, who, Some("wrong name or passphrase"))
                    .await?;
                Err(Problem::new(axum::http::StatusCode::UNAUTHORIZED, "the name or the passphrase is wrong"))
            }
        }
    }

    pub(super) async fn record_person(
        &self,
        did: PersonDid,
        name: Option<String>,
        role: Option<Role>,
        who: &Who,
        why: Option<&str>,
    ) -> Result<(), Problem> {
        let by = if did == PersonDid::Refused { None } else { name.clone() };
        let person = PersonEntry {
            did,
            name,
            role,
            by: by.unwrap_or_else(|| who.by().to_owned()),
            from: Some(who.from.to_string()),
            why: why.map(str::to_owned),
        };
        self.record(Event::Person(person)).await.map(|_| ())
    }

    /// The turn to make a report, held while it is made.
    ///
    /// # Errors
    /// When the program is at its end.
    pub(super) async fn report_turn(&self) -> Result<tokio::sync::OwnedSemaphorePermit, Problem> {
        Arc::clone(&self.reports).acquire_owned().await.map_err(Problem::fault)
    }

    /// A place among the live streams, held while the stream lasts.
    ///
    /// # Errors
    /// When there are too many.
    pub(super) fn stream_place(&self) -> Result<tokio::sync::OwnedSemaphorePermit, Problem> {
        let place = Arc::clone(&self.streams).try_acquire_owned();
        place.map_err(|_| {
            Problem::unavailable(format!("{STREAMS} live streams are open already: close some pages"))
        })
    }
}
