//! What was found out last about each athlete, kept in this process: newer runs are learned without the older ones, and what
//! has not changed is not computed again.

use std::collections::HashMap;
use std::sync::{Mutex, PoisonError};

use super::{Person, Unusable};
use crate::compute::advice::{Advice, Setting, advise_keeping};
use crate::compute::day::Day;
use crate::compute::estimate::Kept;
use crate::compute::progress::{Followed, Period, Progress, progress_keeping};
use crate::platform::ids::{AthleteId, ClubId};

/// What all that is kept may weigh, bytes: some three hundred athletes.
const BYTES: usize = 64 * 1024 * 1024;

type Key = (ClubId, AthleteId);

/// What is kept about the athletes asked for last. What it answers never depends on what it keeps.
#[derive(Default)]
pub struct Memory(Mutex<Shelf>);

#[derive(Default)]
struct Shelf {
    /// With the number of the question that it was last used for.
    known: HashMap<Key, (u64, Known)>,
    questions: u64,
    bytes: usize,
}

/// What is kept about an athlete.
#[derive(Default)]
struct Known {
    kept: Option<Kept>,
    followed: Option<Followed>,
}

impl Known {
    fn bytes(&self) -> usize {
        self.kept.as_ref().map_or(0, Kept::bytes) + self.followed.as_ref().map_or(0, Followed::bytes)
    }
}

impl Memory {
    /// Advises one athlete of a club on a day.
    ///
    /// # Errors
    /// [`Unusable`] when what is on file cannot be used.
    pub fn advise<'a>(
        &self,
        club: ClubId,
        person: &Person,
        setting: &'a Setting,
        on: Day,
    ) -> Result<Advice<'a>, Unusable> {
        let advice =
            self.knowing((club, person.id), |known| advise_keeping(&mut known.kept, &person.record, setting, on));
        advice.map_err(|error| Unusable::new(person, error))
    }

    /// How one athlete of a club came along over a period.
    ///
    /// # Errors
    /// [`Unusable`] when what is on file cannot be used.
    pub fn follow<'a>(
        &self,
        club: ClubId,
        person: &Person,
        setting: &'a Setting,
        period: Period,
    ) -> Result<Progress<'a>, Unusable> {
        let progress = self
            .knowing((club, person.id), |known| progress_keeping(&mut known.followed, &person.record, setting, period));
        progress.map_err(|error| Unusable::new(person, error))
    }

    /// Works with what is kept about an athlete; nobody waits for the work.
    fn knowing<T>(&self, key: Key, work: impl FnOnce(&mut Known) -> T) -> T {
        let mut known = self.with(|shelf| shelf.take(&key));
        let done = work(&mut known);
        self.with(|shelf| shelf.put(key, known));
        done
    }

    fn with<T>(&self, work: impl FnOnce(&mut Shelf) -> T) -> T {
        work(&mut self.0.lock().unwrap_or_else(PoisonError::into_inner))
    }
}

impl Shelf {
    fn take(&mut self, key: &Key) -> Known {
        let Some((_, known)) = self.known.remove(key) else { return Known::default() };
        self.bytes -= known.bytes();
        known
    }

    fn put(&mut self, key: Key, known: Known) {
        self.questions += 1;
        // Two questions about an athlete at once: the later answer stays.
        self.take(&key);
        self.bytes += known.bytes();
        self.known.insert(key, (self.questions, known));
        if self.bytes > BYTES {
            self.forget();
        }
    }

    /// Forgets those whom nobody asked for lately: a tenth at least, because looking for the oldest costs a walk over all.
    fn forget(&mut self) {
        let mut used: Vec<u64> = self.known.values().map(|(used, _)| *used).collect();
        used.sort_unstable();
        let athletes = used.len();
        let oldest = used.get(athletes / 10).copied().unwrap_or(0);
        self.known.retain(|_, (used, _)| *used > oldest);
        self.bytes = self.known.values().map(|(_, known)| known.bytes()).sum();
        tracing::info!(athletes, left = self.known.len(), bytes = self.bytes, "forgot what was computed for some");
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::compute::estimate::{Settings, estimate_keeping};
    use crate::compute::prior::{Experience, PriorInputs, PriorPolicy, predict};
    use crate::compute::units::Sex;

    #[test]
    fn what_is_kept_stays_below_its_bound_and_the_latest_stays() {
        let prior = predict(&PriorInputs::unknown(Sex::Female, Experience::Novice), &PriorPolicy::default()).unwrap();
        let mut kept = None;
        estimate_keeping(&mut kept, &prior, &[], 20_000, &Settings::default()).unwrap();
        let one = kept.as_ref().map_or(0, Kept::bytes);
        assert!((150_000..400_000).contains(&one), "{one}");
        let (club, mut shelf) = (ClubId::new(), Shelf::default());
        for at in 0..1_000 {
            let key = (club, AthleteId::new());
            shelf.put(key, Known { kept: kept.clone(), followed: None });
            assert!(shelf.bytes <= BYTES, "{at}: {}", shelf.bytes);
            assert_eq!(shelf.bytes, shelf.known.len() * one);
            assert!(shelf.known.contains_key(&key));
        }
        assert!(shelf.known.len() > 100, "{}", shelf.known.len());
    }
}
