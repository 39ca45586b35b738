//! JSON Lines over a stream: each message is one line.
//!
//! The receiver answers with lines that hold nothing but a number: the `seq` of the last message
//! that it has kept. It may do so for each message or for many at once. Without `acknowledge` a
//! message counts as kept when the operating system has taken it, which does not survive every
//! loss of the connection.

use super::stream::{Both, Reach};
use super::{PATIENCE, Receiver};
use crate::bench::entry::Seq;
use crate::bridge::message::Message;
use crate::station::settings::feed::Stream;
use tokio::io::{AsyncReadExt, AsyncWriteExt, ReadHalf, WriteHalf};
use tokio::time::timeout;

/// An answer is a number: nothing needs to be longer.
const LONGEST_ANSWER: usize = 40;

/// JSON Lines over a stream.
#[derive(Debug)]
pub struct Lines {
    reach: Reach,
    acknowledged: bool,
    line: Option<Line>,
}

/// A stream that is open.
#[derive(Debug)]
struct Line {
    read: ReadHalf<Box<dyn Both>>,
    write: WriteHalf<Box<dyn Both>>,
    /// What came in of an answer.
    answer: Vec<u8>,
    last_sent: Seq,
}

impl Lines {
    /// Over this stream, which is not opened yet.
    pub fn new(stream: Stream, acknowledged: bool) -> Self {
        Self { reach: Reach::new(stream), acknowledged, line: None }
    }
}

impl Receiver for Lines {
    async fn open(&mut self) -> Result<(), String> {
        self.line = None;
        let (read, write) = tokio::io::split(self.reach.open().await?);
        self.line = Some(Line { read, write, answer: Vec::new(), last_sent: Seq::default() });
        Ok(())
    }

    fn comes_here(&self) -> bool {
        self.reach.listens()
    }

    async fn deliver(&mut self, messages: &[Message], kept: &mut usize) -> Result<(), String> {
        let line = self.line.as_mut().ok_or("it is not connected")?;
        let Some(last) = messages.last() else { return Ok(()) };
        line.last_sent = last.seq;
        let mut text = String::new();
        for message in messages {
            text.push_str(&message.json);
            text.push('\n');
        }
        let Line { read, write, answer, last_sent } = line;
        let sent = async {
            // In pieces: each has its own time.
            for piece in text.as_bytes().chunks(16 * 1024) {
                let written = timeout(PATIENCE, write.write_all(piece)).await;
                written.map_err(|_| tired())?.map_err(|why| gone(&why))?;
            }
            timeout(PATIENCE, write.flush()).await.map_err(|_| tired())?.map_err(|why| gone(&why))
        };
        if !self.acknowledged {
            tokio::select! {
                sent = sent => sent?,
                why = ignored(read) => return Err(why),
            }
            *kept = messages.len();
            return Ok(());
        }
        // Both at once: who answers while it does not read must not be waited for.
        let answered = async {
            while *kept < messages.len() {
                let has = timeout(PATIENCE, next_answer(read, answer)).await.map_err(|_| tired())??;
                if has > *last_sent {
                    return Err(format!("it says that it has kept entry {has}, which was not sent yet"));
                }
                *kept = messages.partition_point(|message| message.seq <= has).max(*kept);
            }
            Ok(())
        };
        tokio::try_join!(sent, answered).map(drop)
    }

    async fn idle(&mut self) -> String {
        let Some(Line { read, answer, last_sent, .. }) = self.line.as_mut() else {
            return "it is not connected".to_owned();
        };
        if !self.acknowledged {
            return ignored(read).await;
        }
        loop {
            match next_answer(read, answer).await {
                Ok(has) if has <= *last_sent => {}
                Ok(has) => return format!("it says that it has kept entry {has}, which was not sent yet"),
                Err(why) => return why,
            }
        }
    }

    async fn close(&mut self) {
        if let Some(line) = self.line.as_mut() {
            // The end of the stream says it all.
            let _ = line.write.shutdown().await;
        }
    }
}

/// Takes what it says, so that it can go on, until it is gone, and says why.
async fn ignored(read: &mut ReadHalf<Box<dyn Both>>) -> String {
    let mut ignored = [0; 4096];
    loop {
        match read.read(&mut ignored).await {
            Ok(0) => return closed(),
            Ok(_) => {}
            Err(why) => return gone(&why),
        }
    }
}

fn tired() -> String {
    format!("it took nothing for {} seconds", PATIENCE.as_secs())
}

fn closed() -> String {
    "it closed the connection".to_owned()
}

fn gone(why: &std::io::Error) -> String {
    format!("the connection is lost ({why})")
}

/// The number in the next answer. May be dropped while it waits: `answer` keeps what has come in.
async fn next_answer<R: AsyncReadExt + Unpin>(read: &mut R, answer: &mut Vec<u8>) -> Result<Seq, String> {
    loop {
        if let Some(end) = answer.iter().position(|byte| *byte == b'\n') {
            let line: Vec<u8> = answer.drain(..=end).collect();
            let text = String::from_utf8_lossy(line.trim_ascii()).into_owned();
            return text.parse().map(Seq).map_err(|_| wrong(&text));
        }
        if answer.len() > LONGEST_ANSWER {
            return Err(wrong(&String::from_utf8_lossy(answer)));
        }
        let mut buffer = [0; 64];
        match read.read(&mut buffer).await {
            Ok(0) => return Err(closed()),
            Ok(count) => answer.extend_from_slice(&buffer[..count]),
            Err(why) => return Err(gone(&why)),
        }
    }
}

fn wrong(text: &str) -> String {
    let text: String = text.chars().take(LONGEST_ANSWER).collect();
    format!(
        "it answered {text:?}; expected a line with the number (seq) of the last message that it has kept"
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    async fn answers(sent: &[u8]) -> Vec<Result<Seq, String>> {
        let (mut read, mut kept, mut found) = (sent, Vec::new(), Vec::new());
        loop {
            let answer = next_answer(&mut read, &mut kept).await;
            let ended = answer.is_err();
            found.push(answer);
            if ended {
                return found;
            }
        }
    }

    #[tokio::test]
    async fn answers_are_numbers_and_nothing_else() {
        assert_eq!(answers(b"12\r\n13\n").await, [Ok(Seq(12)), Ok(Seq(13)), Err(closed())]);
        assert_eq!(answers(b"{}\n").await, [Err(wrong("{}"))]);
        assert_eq!(answers(b"-1\n").await, [Err(wrong("-1"))]);
        let endless = [b'7'; 300];
        assert!(answers(&endless).await[0].as_ref().unwrap_err().starts_with("it answered \"777"));
    }
}
