//! Answers that are kept until the record changes. Each key has one answer at most, made by
//! one person while the others wait; only so many keys are kept. It decides nothing about
//! what an answer rests on: whoever asks says of which version it is, and whether it still holds.

use std::sync::{Arc, Mutex, PoisonError};
use tokio::sync::OwnedMutexGuard;

/// Keys whose answers are kept, at most.
const KEYS: usize = 4;

/// An answer and the version of the record that it was made from.
#[derive(Debug)]
pub(super) struct Answer<V> {
    pub version: i64,
    pub value: Arc<V>,
}

type Slot<V> = Arc<tokio::sync::Mutex<Option<Answer<V>>>>;

/// The answers, the one asked for last in front.
#[derive(Debug)]
pub(super) struct Kept<K, V> {
    slots: Mutex<Vec<(K, Slot<V>)>>,
}

impl<K, V> Default for Kept<K, V> {
    fn default() -> Self {
        Kept { slots: Mutex::default() }
    }
}

impl<K: PartialEq, V> Kept<K, V> {
    /// The place of a key, for oneself alone: to look, and to put a newer answer there.
    pub async fn place(&self, key: K) -> OwnedMutexGuard<Option<Answer<V>>> {
        let slot = {
            let mut slots = self.slots.lock().unwrap_or_else(PoisonError::into_inner);
            let at = slots.iter().position(|(known, _)| *known == key);
            let slot = at.map_or_else(|| (key, Slot::default()), |at| slots.remove(at));
            slots.insert(0, slot);
            slots.truncate(KEYS);
            slots[0].1.clone()
        };
        slot.lock_owned().await
    }
}
