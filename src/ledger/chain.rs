//! The hash chain: each entry's hash covers the one before it.
//!
//! The hash of an entry is SHA-256 over, one after the other: the previous entry's hash (32
//! bytes; zeros before the first entry), then as UTF-8 text the number in decimal, a line feed,
//! the time, a line feed, the kind, a line feed, and the payload. Numbers, times and kinds hold no
//! line feed, so no two entries share these bytes. In Python an auditor needs:
//!
//! ```python
//! import hashlib, sqlite3, sys
//! prev = bytes(32)
//! rows = sqlite3.connect(sys.argv[1]).execute(
//!     "SELECT seq, time, kind, payload, prev, hash FROM entries ORDER BY seq")
//! for n, (seq, time, kind, payload, before, hash) in enumerate(rows, 1):
//!     text = f"{seq}\n{time}\n{kind}\n{payload}".encode()
//!     assert seq == n and before == prev, f"entry {n}: the chain is broken"
//!     prev = hashlib.sha256(prev + text).digest()
//!     assert hash == prev, f"entry {n} was altered"
//! print(prev.hex())
//! ```

use crate::bench::entry::{CheckpointEntry, Seq};
use sha2::{Digest, Sha256};
use std::fmt;
use std::str::FromStr;

/// The hash of an entry, which covers all entries up to it. Written in lower-case hexadecimal.
#[derive(Clone, Copy, PartialEq, Eq, Default)]
pub struct Hash(pub [u8; 32]);

impl fmt::Display for Hash {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.iter().try_for_each(|byte| write!(f, "{byte:02x}"))
    }
}

impl fmt::Debug for Hash {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{self}")
    }
}

/// A text is not a hash.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{0:?} is not a hash: 64 hexadecimal digits are expected")]
pub struct NotAHash(pub String);

impl FromStr for Hash {
    type Err = NotAHash;
    fn from_str(text: &str) -> Result<Self, NotAHash> {
        let wrong = || NotAHash(text.to_owned());
        if text.len() != 64 || !text.bytes().all(|byte| byte.is_ascii_hexdigit()) {
            return Err(wrong());
        }
        let mut hash = [0; 32];
        for (byte, digits) in hash.iter_mut().zip(text.as_bytes().chunks_exact(2)) {
            let digits = std::str::from_utf8(digits).map_err(|_| wrong())?;
            *byte = u8::from_str_radix(digits, 16).map_err(|_| wrong())?;
        }
        Ok(Hash(hash))
    }
}

/// The end of the chain: the last entry's number and hash.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Head {
    /// The last entry's number; 0 when there is none yet.
    pub seq: Seq,
    /// Its hash; zeros when there is none yet.
    pub hash: Hash,
}

impl Head {
    /// The checkpoint entry that states this head.
    pub fn checkpoint(&self) -> CheckpointEntry {
        CheckpointEntry { entries: self.seq.0, head: self.hash.to_string() }
    }
}

/// The hash of an entry that follows `prev`.
pub fn link(prev: &Hash, seq: u64, time: &str, kind: &str, payload: &str) -> Hash {
    let mut sha = Sha256::new();
    sha.update(prev.0);
    sha.update(format!("{seq}\n{time}\n{kind}\n"));
    sha.update(payload);
    Hash(sha.finalize().into())
}
