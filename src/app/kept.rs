//! Answers that are kept until the record changes. Each key has one answer at most, made by
//! one person while the others wait; only so many keys are kept. Whoever asks says what kinds
//! of things an answer does not rest on: a change of anything else makes it old, and so does
//! another day.

use super::Result;
use crate::store::{self, Store};
use jiff::civil::Date;
use std::sync::{Arc, Mutex, PoisonError};

/// Keys whose answers are kept, at most.
const KEYS: usize = 4;

/// An answer, the version of the record that it was made from, and the day.
#[derive(Debug)]
struct Answer<V> {
    version: i64,
    on: Date,
    value: Arc<V>,
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
    /// The answer that is kept for a key, or what `work` makes of the record as it is.
    ///
    /// `unrelated` are the kinds of things ([`store::Subject::key`]) whose changes do not touch it.
    pub async fn answer(
        &self,
        store: &Store,
        key: K,
        today: Date,
        unrelated: &[&str],
        work: impl Future<Output = Result<V>>,
    ) -> Result<Arc<V>> {
        let mut place = self.slot(key).lock_owned().await;
        // Before the work: what changes from here on makes the answer old, whichever read has seen it.
        let mut read = store.read().await?;
        let version = store::history::version(&mut read).await?;
        if let Some(kept) = place.as_mut().filter(|kept| kept.on == today)
            && (version == kept.version || !store::history::changed_since(&mut read, kept.version, unrelated).await?)
        {
            kept.version = version;
            return Ok(kept.value.clone());
        }
        drop(read);
        *place = None; // two answers at once would take twice the memory
        let value = Arc::new(work.await?);
        *place = Some(Answer { version, on: today, value: value.clone() });
        Ok(value)
    }

    /// The place of a key; whoever holds it is alone with it.
    fn slot(&self, key: K) -> Slot<V> {
        let mut slots = self.slots.lock().unwrap_or_else(PoisonError::into_inner);
        let at = slots.iter().position(|(known, _)| *known == key);
        let slot = at.map_or_else(|| (key, Slot::default()), |at| slots.remove(at));
        slots.insert(0, slot);
        slots.truncate(KEYS);
        slots[0].1.clone()
    }
}
