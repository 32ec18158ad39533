//! What bodies may hold at once: a share for each caller, and a whole.

use std::collections::HashMap;
use std::sync::{LazyLock, Mutex, PoisonError};

use uuid::Uuid;

use crate::platform::problem::{Code, Problem};

/// Room for bodies; each is counted while it is there.
#[derive(Debug)]
pub(super) struct Room {
    /// What those of one caller may hold at once, bytes.
    pub(super) each: usize,
    all: usize,
    /// What those of each caller hold, and what all hold.
    held: Mutex<(HashMap<Uuid, usize>, usize)>,
}

impl Room {
    fn of(each: usize, all: usize) -> Self {
        Self { each, all, held: Mutex::default() }
    }
}

/// Room in memory.
pub(super) static MEMORY: LazyLock<Room> = LazyLock::new(|| Room::of(16 << 20, 256 << 20));
/// Room in files.
pub(super) static FILES: LazyLock<Room> = LazyLock::new(|| Room::of(1 << 30, 4 << 30));

/// What one body holds of a room.
#[derive(Debug)]
pub(super) struct Held {
    room: &'static Room,
    /// Who sends it.
    pub(super) holder: Uuid,
    bytes: usize,
}

impl Held {
    /// Nothing yet.
    pub(super) fn by(room: &'static Room, holder: Uuid) -> Self {
        Self { room, holder, bytes: 0 }
    }

    /// So much more.
    ///
    /// # Errors
    /// 503 when there is no room for it.
    pub(super) fn more(&mut self, bytes: usize) -> Result<(), Problem> {
        let mut held = self.room.held.lock().unwrap_or_else(PoisonError::into_inner);
        let own = held.0.get(&self.holder).copied().unwrap_or(0);
        if own + bytes > self.room.each || held.1 + bytes > self.room.all {
            let detail = "Too many large bodies are being read at this moment; nothing was stored. Send it again.";
            return Err(Problem::new(Code::Unavailable, detail));
        }
        held.0.insert(self.holder, own + bytes);
        held.1 += bytes;
        self.bytes += bytes;
        Ok(())
    }
}

impl Drop for Held {
    fn drop(&mut self) {
        let mut held = self.room.held.lock().unwrap_or_else(PoisonError::into_inner);
        held.1 -= self.bytes;
        if let Some(own) = held.0.get_mut(&self.holder) {
            *own -= self.bytes;
            if *own == 0 {
                held.0.remove(&self.holder);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_bodies_hold_is_bounded_for_each_caller_and_given_back() {
        static FEW: LazyLock<Room> = LazyLock::new(|| Room::of(2, 3));
        let (one, other) = (Uuid::new_v4(), Uuid::new_v4());
        let mut held = Held::by(&FEW, one);
        held.more(2).unwrap();
        assert_eq!(Held::by(&FEW, one).more(1).unwrap_err().status(), 503, "has all of theirs");
        let mut last = Held::by(&FEW, other);
        last.more(1).unwrap();
        assert_eq!(last.more(1).unwrap_err().status(), 503, "nothing is left");
        drop(held);
        Held::by(&FEW, one).more(2).unwrap();
    }
}
