//! Slows down guessing: tries by e-mail address and by network address, each a bucket that fills again with time.
//!
//! Kept in the memory of this process. With n processes somebody has n times as many tries, still few against a
//! password of ten characters; in return no sign-in waits for a shared table. A full table forgets the fullest bucket
//! first, which is the one that forgetting changes least.

use std::collections::HashMap;
use std::hash::Hash;
use std::net::IpAddr;
use std::sync::{Mutex, PoisonError};
use std::time::Duration;

use domain::ids::PersonId;

use crate::clock::SECOND_US;
use crate::error::ApiError;

/// Tries for one e-mail address in a row, then one every half minute.
const BY_EMAIL: Rule = Rule { burst: 10, refill_us: 30 * SECOND_US };
/// Tries from one network address: a whole office may sit behind it on Monday morning.
const BY_ADDRESS: Rule = Rule { burst: 60, refill_us: 2 * SECOND_US };
/// Answers that are shown to one lead: a visit needs a few, nobody needs all of a job's.
const BY_LEAD: Rule = Rule { burst: 10, refill_us: 60 * SECOND_US };
/// Buckets of each kind.
const BUCKETS_MAX: usize = 20_000;

#[derive(Clone, Copy)]
struct Rule {
    burst: i64,
    refill_us: i64,
}

/// A bucket is the moment at which it will be full again.
struct Buckets<K> {
    rule: Rule,
    full_at_us: HashMap<K, i64>,
}

impl<K: Eq + Hash + Clone> Buckets<K> {
    fn new(rule: Rule) -> Self {
        Self { rule, full_at_us: HashMap::new() }
    }

    /// Takes one try, or says how long to wait for the next.
    fn take(&mut self, key: &K, now_us: i64) -> Result<(), i64> {
        let Rule { burst, refill_us } = self.rule;
        let full_at = self.full_at_us.get(key).copied().unwrap_or(now_us).max(now_us) + refill_us;
        let over = full_at - now_us - burst * refill_us;
        if over > 0 {
            return Err(over);
        }
        if self.full_at_us.len() >= BUCKETS_MAX && !self.full_at_us.contains_key(key) {
            self.make_room(now_us);
        }
        self.full_at_us.insert(key.clone(), full_at);
        Ok(())
    }

    fn give_back(&mut self, key: &K) {
        if let Some(full_at) = self.full_at_us.get_mut(key) {
            *full_at -= self.rule.refill_us;
        }
    }

    fn make_room(&mut self, now_us: i64) {
        self.full_at_us.retain(|_, full_at| *full_at > now_us);
        if self.full_at_us.len() < BUCKETS_MAX {
            return;
        }
        let mut moments: Vec<i64> = self.full_at_us.values().copied().collect();
        moments.sort_unstable();
        let middle = moments[moments.len() / 2];
        self.full_at_us.retain(|_, full_at| *full_at > middle);
    }
}

/// The buckets of sign-ins, of one-time links, and of answers that are read out over the telephone.
pub struct SignInLimits {
    by_email: Mutex<Buckets<String>>,
    by_address: Mutex<Buckets<IpAddr>>,
    by_lead: Mutex<Buckets<PersonId>>,
}

impl Default for SignInLimits {
    fn default() -> Self {
        Self {
            by_email: Mutex::new(Buckets::new(BY_EMAIL)),
            by_address: Mutex::new(Buckets::new(BY_ADDRESS)),
            by_lead: Mutex::new(Buckets::new(BY_LEAD)),
        }
    }
}

impl SignInLimits {
    /// Takes one try of this network address.
    ///
    /// # Errors
    /// [`ApiError::TooMany`].
    pub fn take_address(&self, address: IpAddr, now_us: i64) -> Result<(), ApiError> {
        let mut buckets = self.by_address.lock().unwrap_or_else(PoisonError::into_inner);
        buckets.take(&address, now_us).map_err(too_many)
    }

    /// Takes one try for this e-mail address, whether anybody has it or not.
    ///
    /// # Errors
    /// [`ApiError::TooMany`].
    pub fn take_email(&self, email: &str, now_us: i64) -> Result<(), ApiError> {
        let mut buckets = self.by_email.lock().unwrap_or_else(PoisonError::into_inner);
        buckets.take(&email.to_owned(), now_us).map_err(too_many)
    }

    /// Takes one showing of an answer to this lead.
    ///
    /// # Errors
    /// [`ApiError::TooMany`].
    pub fn take_showing(&self, lead: PersonId, now_us: i64) -> Result<(), ApiError> {
        let mut buckets = self.by_lead.lock().unwrap_or_else(PoisonError::into_inner);
        buckets.take(&lead, now_us).map_err(too_many)
    }

    /// It was the right password: the try does not count.
    pub fn give_back(&self, address: IpAddr, email: &str) {
        self.by_address.lock().unwrap_or_else(PoisonError::into_inner).give_back(&address);
        self.by_email.lock().unwrap_or_else(PoisonError::into_inner).give_back(&email.to_owned());
    }
}

fn too_many(wait_us: i64) -> ApiError {
    ApiError::TooMany(Duration::from_micros(u64::try_from(wait_us).unwrap_or(0)))
}

#[cfg(test)]
mod tests {
    use super::*;

    const RULE: Rule = Rule { burst: 3, refill_us: 10 };

    #[test]
    fn three_in_a_row_then_one_each_ten() {
        let mut buckets = Buckets::new(RULE);
        for _ in 0..3 {
            assert_eq!(buckets.take(&"a", 1_000), Ok(()));
        }
        assert_eq!(buckets.take(&"a", 1_000), Err(10));
        assert_eq!(buckets.take(&"b", 1_000), Ok(()));
        assert_eq!(buckets.take(&"a", 1_009), Err(1));
        assert_eq!(buckets.take(&"a", 1_010), Ok(()));
        assert_eq!(buckets.take(&"a", 1_010), Err(10));
        buckets.give_back(&"a");
        assert_eq!(buckets.take(&"a", 1_010), Ok(()));
    }

    #[test]
    fn the_table_does_not_grow_for_ever_and_the_blocked_stay_blocked() {
        let mut buckets = Buckets::new(RULE);
        for _ in 0..3 {
            assert_eq!(buckets.take(&u32::MAX, 0), Ok(()));
        }
        for key in 0..u32::try_from(BUCKETS_MAX).unwrap_or(0) * 2 {
            assert_eq!(buckets.take(&key, 0), Ok(()));
        }
        assert!(buckets.full_at_us.len() <= BUCKETS_MAX);
        assert!(buckets.take(&u32::MAX, 0).is_err());
    }
}
