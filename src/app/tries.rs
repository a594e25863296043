//! How often somebody has tried a password that was not right. After a few, a name has to wait: a
//! minute, then two, four, eight, a quarter of an hour at most. Held in memory and bounded; it
//! knows no passwords, and it counts names that nobody has like all others.
//!
//! A browser that signed in before is counted apart (device cookies: Dedov, OWASP, "Slow Down
//! Online Guessing Attacks with Device Cookies"), so that a stranger's tries, however many, keep
//! nobody out of the record for good.

use crate::settings::{SIGN_IN_TRIES, SIGN_IN_WAIT_MINUTES_MAX, SIGN_INS_COUNTED};
use jiff::{SignedDuration, Timestamp};
use std::{
    collections::BTreeMap,
    sync::{Mutex, MutexGuard, PoisonError},
};

/// Tries are forgotten after this long without another.
const FORGOTTEN_AFTER: SignedDuration = SignedDuration::from_hours(24);

/// What is counted: a digest, so that a long name takes no more room than a short one.
pub(super) type Key = [u8; 32];

#[derive(Clone, Copy, Debug)]
struct Tried {
    /// Tries since the last one that was right, this one too.
    times: u32,
    last: Timestamp,
}

impl Tried {
    /// From when on the next one is looked at.
    fn until(&self) -> Timestamp {
        if self.times < SIGN_IN_TRIES {
            return self.last;
        }
        let minutes = SIGN_IN_WAIT_MINUTES_MAX.min(1 << (self.times - SIGN_IN_TRIES).min(30));
        self.last + SignedDuration::from_mins(minutes)
    }
}

/// The tries of everybody.
#[derive(Debug, Default)]
pub(super) struct Tries {
    by_key: Mutex<BTreeMap<Key, Tried>>,
}

impl Tries {
    /// Counts a try before its password is looked at, so that many at once are many; or says how
    /// long to wait, and then counts nothing: waiting is never made longer by trying.
    pub fn begin(&self, key: Key, now: Timestamp) -> Result<(), SignedDuration> {
        let mut all = self.hold();
        // A clock that was set back must not make anybody wait for it to catch up.
        all.values_mut().for_each(|tried| tried.last = tried.last.min(now));
        all.retain(|_, tried| now.duration_since(tried.last) < FORGOTTEN_AFTER);
        let tried = all.get(&key).copied().unwrap_or(Tried { times: 0, last: now });
        if now < tried.until() {
            return Err(tried.until().duration_since(now));
        }
        all.insert(key, Tried { times: tried.times.saturating_add(1), last: now });
        if all.len() > SIGN_INS_COUNTED {
            // The one with the fewest tries goes, the oldest of those first.
            let least =
                all.iter().filter(|(other, _)| **other != key).min_by_key(|(_, tried)| (tried.times, tried.last));
            if let Some(least) = least.map(|(key, _)| *key) {
                all.remove(&least);
            }
        }
        Ok(())
    }

    /// Forgets the tries before one that was right.
    pub fn was_right(&self, key: &Key) {
        self.hold().remove(key);
    }

    fn hold(&self) -> MutexGuard<'_, BTreeMap<Key, Tried>> {
        self.by_key.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(seconds: i64) -> Timestamp {
        Timestamp::from_second(1_800_000_000 + seconds).unwrap()
    }

    fn key(n: u32) -> Key {
        let mut key = [0; 32];
        key[..4].copy_from_slice(&n.to_be_bytes());
        key
    }

    #[test]
    fn waits_double_up_to_a_quarter_of_an_hour_and_trying_makes_none_longer() {
        let tries = Tries::default();
        for _ in 0..SIGN_IN_TRIES {
            assert_eq!(tries.begin(key(1), at(0)), Ok(()));
        }
        let mut now = 0;
        for minutes in [1, 2, 4, 8, 15, 15, 15] {
            assert_eq!(tries.begin(key(1), at(now)), Err(SignedDuration::from_mins(minutes)), "{now}");
            assert_eq!(tries.begin(key(1), at(now + 59)), Err(SignedDuration::from_secs(minutes * 60 - 59)));
            now += minutes * 60;
            assert_eq!(tries.begin(key(1), at(now)), Ok(()));
        }
        assert_eq!(tries.begin(key(2), at(now)), Ok(()), "nobody waits for the tries at another name");
        tries.was_right(&key(1));
        assert_eq!(tries.begin(key(1), at(now)), Ok(()));
    }

    #[test]
    fn they_are_forgotten_after_a_day_and_a_clock_set_back_holds_nobody() {
        let tries = Tries::default();
        for _ in 0..SIGN_IN_TRIES {
            tries.begin(key(1), at(0)).unwrap();
        }
        assert!(tries.begin(key(1), at(30)).is_err());
        // Set back by a year: still a minute, not a year.
        assert_eq!(tries.begin(key(1), at(-365 * 86_400)), Err(SignedDuration::from_mins(1)));
        let tries = Tries::default();
        for _ in 0..40 {
            _ = tries.begin(key(1), at(0));
        }
        assert_eq!(tries.begin(key(1), at(86_400)), Ok(()));
        assert_eq!(tries.hold()[&key(1)].times, 1);
    }

    #[test]
    fn a_flood_of_names_is_bounded_and_does_not_wash_out_a_name_that_waits() {
        let tries = Tries::default();
        for _ in 0..SIGN_IN_TRIES {
            tries.begin(key(0), at(0)).unwrap();
        }
        for n in 1..4 * SIGN_INS_COUNTED as u32 {
            tries.begin(key(n), at(1)).unwrap();
        }
        assert_eq!(tries.hold().len(), SIGN_INS_COUNTED);
        assert!(tries.begin(key(0), at(2)).is_err());
    }
}
