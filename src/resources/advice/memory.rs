//! The latest estimate of each athlete, kept in this process so that newer runs are learned without the older ones.

use std::collections::HashMap;
use std::sync::{Mutex, PoisonError};

use super::Person;
use crate::compute::advice::{Advice, Setting, advise_keeping};
use crate::compute::day::Day;
use crate::compute::estimate::Kept;
use crate::platform::ids::{AthleteId, ClubId};
use crate::platform::problem::{Code, Problem};

/// Athletes whose estimates are kept: about 75 MB.
const ATHLETES: usize = 500;

type Key = (ClubId, AthleteId);

/// Estimates of the athletes advised last. What it answers never depends on what it keeps.
#[derive(Default)]
pub struct Memory(Mutex<Shelf>);

#[derive(Default)]
struct Shelf {
    /// With the number of the advice that it was last used for.
    kept: HashMap<Key, (u64, Kept)>,
    advices: u64,
}

impl Memory {
    /// Advises one athlete of a club on a day.
    ///
    /// # Errors
    /// 409 when what is on file cannot be used.
    pub fn advise<'a>(
        &self,
        club: ClubId,
        person: &Person,
        setting: &'a Setting,
        on: Day,
    ) -> Result<Advice<'a>, Problem> {
        let key = (club, person.id);
        let mut kept = self.with(|shelf| shelf.kept.remove(&key)).map(|(_, kept)| kept);
        let advice = advise_keeping(&mut kept, &person.record, setting, on).map_err(|error| {
            let detail = format!("No advice for {}: {error}. Correct the record.", person.display_name);
            Problem::new(Code::Conflict, detail)
        })?;
        if let Some(kept) = kept {
            self.with(|shelf| shelf.put(key, kept));
        }
        Ok(advice)
    }

    fn with<T>(&self, work: impl FnOnce(&mut Shelf) -> T) -> T {
        work(&mut self.0.lock().unwrap_or_else(PoisonError::into_inner))
    }
}

impl Shelf {
    fn put(&mut self, key: Key, kept: Kept) {
        self.advices += 1;
        self.kept.insert(key, (self.advices, kept));
        if self.kept.len() > ATHLETES {
            // A tenth at a time: looking for the oldest costs a walk over all.
            let newest = self.advices.saturating_sub(self.kept.len() as u64 * 9 / 10);
            self.kept.retain(|_, (used, _)| *used > newest);
        }
    }
}
