//! A map that keeps the recently used, and lets go of others only when told that it may.

use super::entry::Seq;
use std::collections::HashMap;
use std::hash::Hash;

pub(super) struct Recent<K, V> {
    keep: usize,
    held: HashMap<K, (V, Seq)>,
}

impl<K: Hash + Eq + Clone, V> Recent<K, V> {
    pub(super) fn new(keep: usize) -> Self {
        Self { keep, held: HashMap::new() }
    }

    /// The value under `key`, marked as used by the entry `used`.
    pub(super) fn get(&mut self, key: &K, used: Seq) -> Option<&mut V> {
        let (value, last) = self.held.get_mut(key)?;
        *last = used;
        Some(value)
    }

    pub(super) fn put(&mut self, key: K, value: V, used: Seq) {
        self.held.insert(key, (value, used));
    }

    /// Where twice as many are held as are kept, lets go of the longest unused of those whose
    /// last use `may_go`.
    pub(super) fn shrink(&mut self, may_go: impl Fn(Seq) -> bool) {
        if self.held.len() < 2 * self.keep {
            return;
        }
        let mut uses: Vec<Seq> = self.held.values().map(|(_, used)| *used).collect();
        let at = uses.len() - self.keep;
        let (_, &mut oldest_kept, _) = uses.select_nth_unstable(at);
        self.held.retain(|_, (_, used)| *used >= oldest_kept || !may_go(*used));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_unused_go_first_and_only_when_they_may() {
        let mut recent = Recent::new(2);
        for key in 0..4u64 {
            recent.put(key, (), Seq(key));
        }
        recent.get(&0, Seq(9));
        recent.shrink(|used| used != Seq(1));
        let mut left: Vec<_> = recent.held.keys().copied().collect();
        left.sort();
        assert_eq!(left, [0, 1, 3]);
    }
}
