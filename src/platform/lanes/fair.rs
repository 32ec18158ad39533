//! A bounded queue that is fair to clubs, and within a club to accounts.

use std::collections::VecDeque;

use uuid::Uuid;

/// Who waits.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Who {
    /// The club; for callers outside of clubs, where they come from.
    pub club: Uuid,
    /// The account.
    pub account: Uuid,
}

/// How many may wait.
#[derive(Clone, Copy, Debug)]
pub struct Bounds {
    /// Of one account.
    pub account: usize,
    /// Of one club.
    pub club: usize,
    /// In all.
    pub all: usize,
}

/// Parties in turn, each with what it has waiting; none without.
#[derive(Debug)]
struct Rotation<V>(VecDeque<(Uuid, V)>);

impl<V: Default> Rotation<V> {
    /// What a party has waiting; a new party is the last to have its turn.
    fn of(&mut self, party: Uuid) -> Option<&mut V> {
        if !self.0.iter().any(|(known, _)| *known == party) {
            self.0.push_back((party, V::default()));
        }
        self.0.iter_mut().find(|(known, _)| *known == party).map(|(_, waiting)| waiting)
    }

    fn find(&self, party: Uuid) -> Option<&V> {
        self.0.iter().find(|(known, _)| *known == party).map(|(_, waiting)| waiting)
    }

    /// Takes from the party whose turn it is among those that may; `take` also says whether nothing is left of it.
    fn next<T>(
        &mut self,
        may: impl Fn(Uuid) -> bool,
        take: impl FnOnce(&mut V) -> (Option<T>, bool),
    ) -> Option<(Uuid, T)> {
        let at = self.0.iter().position(|(party, _)| may(*party))?;
        let (party, mut waiting) = self.0.remove(at)?;
        let (taken, empty) = take(&mut waiting);
        if !empty {
            self.0.push_back((party, waiting));
        }
        taken.map(|taken| (party, taken))
    }

    /// How many have their turn before somebody new of a party of which so many wait already.
    fn before(&self, party: Uuid, waiting: usize, count: impl Fn(&V) -> usize) -> usize {
        let others = self.0.iter().filter(|(other, _)| *other != party);
        waiting + others.map(|(_, theirs)| count(theirs).min(waiting + 1)).sum::<usize>()
    }
}

impl<V> Default for Rotation<V> {
    fn default() -> Self {
        Self(VecDeque::new())
    }
}

type Accounts<T> = Rotation<VecDeque<T>>;

/// The queue: clubs have their turns one after another, in each the accounts, and of an account who came first.
#[derive(Debug)]
pub struct Fair<T> {
    bounds: Bounds,
    clubs: Rotation<Accounts<T>>,
}

fn waiting<T>(accounts: &Accounts<T>) -> usize {
    accounts.0.iter().map(|(_, queue)| queue.len()).sum()
}

impl<T> Fair<T> {
    /// An empty queue.
    pub fn new(bounds: Bounds) -> Self {
        Self { bounds, clubs: Rotation::default() }
    }

    /// How many wait.
    pub fn count(&self) -> usize {
        self.clubs.0.iter().map(|(_, accounts)| waiting(accounts)).sum()
    }

    /// Queues somebody; gives them back when too many wait.
    ///
    /// # Errors
    /// What was to be queued.
    pub fn push(&mut self, who: Who, item: T) -> Result<(), T> {
        let club = self.clubs.find(who.club);
        let account = club.and_then(|accounts| accounts.find(who.account)).map_or(0, VecDeque::len);
        let full = self.count() >= self.bounds.all
            || club.map_or(0, waiting) >= self.bounds.club
            || account >= self.bounds.account;
        if full {
            return Err(item);
        }
        self.add(who, item);
        Ok(())
    }

    /// Queues somebody, however many wait.
    pub fn add(&mut self, who: Who, item: T) {
        if let Some(queue) = self.clubs.of(who.club).and_then(|accounts| accounts.of(who.account)) {
            queue.push_back(item);
        }
    }

    /// How many have their turn before somebody who comes now: of their club, and in all.
    pub fn before(&self, who: Who) -> (usize, usize) {
        let accounts = self.clubs.find(who.club);
        let own = accounts.and_then(|accounts| accounts.find(who.account)).map_or(0, VecDeque::len);
        let club = accounts.map_or(0, |accounts| accounts.before(who.account, own, VecDeque::len));
        (club, self.clubs.before(who.club, club, waiting))
    }

    /// Whose turn it is among the clubs that may have one, and their club.
    pub fn pop(&mut self, may: impl Fn(Uuid) -> bool) -> Option<(Uuid, T)> {
        self.clubs.next(may, |accounts| {
            let taken = accounts.next(|_| true, |queue| (queue.pop_front(), queue.is_empty()));
            (taken.map(|(_, item)| item), accounts.0.is_empty())
        })
    }

    /// Drops those who do not wait any more.
    pub fn retain(&mut self, waits: impl Fn(&T) -> bool) {
        for (_, accounts) in &mut self.clubs.0 {
            for (_, queue) in &mut accounts.0 {
                queue.retain(&waits);
            }
            accounts.0.retain(|(_, queue)| !queue.is_empty());
        }
        self.clubs.0.retain(|(_, accounts)| !accounts.0.is_empty());
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const WIDE: Bounds = Bounds { account: 100, club: 100, all: 100 };

    fn who(club: u128, account: u128) -> Who {
        Who { club: Uuid::from_u128(club), account: Uuid::from_u128(account) }
    }

    fn take<T>(queue: &mut Fair<T>) -> Option<T> {
        queue.pop(|_| true).map(|(_, item)| item)
    }

    fn all(queue: &mut Fair<&'static str>) -> Vec<&'static str> {
        std::iter::from_fn(|| take(queue)).collect()
    }

    #[test]
    fn clubs_have_their_turns_and_in_a_club_the_accounts() {
        let mut queue = Fair::new(WIDE);
        for (from, item) in [
            (who(1, 1), "1a"),
            (who(1, 1), "1b"),
            (who(1, 1), "1c"),
            (who(1, 2), "1x"),
            (who(2, 3), "2a"),
            (who(2, 3), "2b"),
            (who(3, 4), "3a"),
        ] {
            queue.push(from, item).unwrap();
        }
        assert_eq!(queue.count(), 7);
        assert_eq!(all(&mut queue), ["1a", "2a", "3a", "1x", "2b", "1b", "1c"]);
        assert_eq!((queue.count(), take(&mut queue)), (0, None));
    }

    #[test]
    fn who_comes_late_waits_for_one_of_each_club_and_not_for_the_flood() {
        let mut queue = Fair::new(WIDE);
        for _ in 0..50 {
            queue.push(who(1, 1), "flood").unwrap();
        }
        assert_eq!(take(&mut queue), Some("flood"));
        queue.push(who(2, 2), "late").unwrap();
        assert_eq!([take(&mut queue), take(&mut queue)], [Some("flood"), Some("late")]);
        // In the same club an account that has not waited comes before the rest of the flood too.
        queue.push(who(1, 9), "colleague").unwrap();
        let order = all(&mut queue);
        assert_eq!(order.iter().position(|one| *one == "colleague"), Some(1));
    }

    #[test]
    fn who_queues_again_and_again_has_no_more_turns_than_who_queues_once() {
        let mut queue = Fair::new(WIDE);
        queue.push(who(1, 1), "busy").unwrap();
        queue.push(who(2, 2), "calm").unwrap();
        let mut order = Vec::new();
        for _ in 0..4 {
            let next = take(&mut queue).unwrap();
            order.push(next);
            queue.push(if next == "busy" { who(1, 1) } else { who(2, 2) }, next).unwrap();
            queue.push(who(1, 1), "busy").unwrap();
        }
        assert_eq!(order, ["busy", "calm", "busy", "calm"]);
    }

    #[test]
    fn each_bound_holds_and_leaves_room_for_others() {
        let mut queue = Fair::new(Bounds { account: 2, club: 3, all: 5 });
        queue.push(who(1, 1), 1).unwrap();
        queue.push(who(1, 1), 2).unwrap();
        assert_eq!(queue.push(who(1, 1), 3), Err(3), "the account is full");
        queue.push(who(1, 2), 4).unwrap();
        assert_eq!(queue.push(who(1, 3), 5), Err(5), "the club is full");
        queue.push(who(2, 4), 6).unwrap();
        queue.push(who(3, 5), 7).unwrap();
        assert_eq!(queue.push(who(4, 6), 8), Err(8), "the queue is full");
        assert_eq!(take(&mut queue), Some(1));
        queue.push(who(4, 6), 8).unwrap();
    }

    #[test]
    fn a_club_that_may_not_keeps_its_place_and_the_next_one_goes() {
        let mut queue = Fair::new(WIDE);
        for (club, item) in [(1, "1a"), (1, "1b"), (2, "2a")] {
            queue.push(who(club, club), item).unwrap();
        }
        let not_the_first = |club: Uuid| club != Uuid::from_u128(1);
        assert_eq!([queue.pop(not_the_first), queue.pop(not_the_first)], [Some((Uuid::from_u128(2), "2a")), None]);
        assert_eq!(all(&mut queue), ["1a", "1b"]);
    }

    #[test]
    fn how_many_go_before_is_what_the_order_comes_to() {
        let mut queue = Fair::new(WIDE);
        for (from, count) in [(who(1, 1), 9), (who(1, 2), 2), (who(2, 3), 5), (who(3, 4), 1)] {
            for _ in 0..count {
                queue.push(from, "waits").unwrap();
            }
        }
        for one in [who(1, 1), who(1, 2), who(1, 9), who(2, 3), who(2, 9), who(3, 4), who(4, 5)] {
            let (_, before) = queue.before(one);
            let mut copy = Fair::new(WIDE);
            for (club, accounts) in &queue.clubs.0 {
                for (account, items) in &accounts.0 {
                    for item in items {
                        copy.add(Who { club: *club, account: *account }, *item);
                    }
                }
            }
            copy.add(one, "comes");
            // Where turns are equal, whoever stands first in the rotation goes first; nobody is told less than they wait.
            let order = all(&mut copy);
            let at = order.iter().position(|item| *item == "comes").unwrap();
            assert!(at <= before && before <= at + 3, "{one:?}: {at} of {}, told {before}", order.len());
        }
        assert_eq!(queue.before(who(1, 9)), (2, 6), "one of each colleague, and of each other club as many rounds");
        assert_eq!(queue.before(who(4, 5)), (0, 3));
    }

    #[test]
    fn who_does_not_wait_any_more_takes_no_room() {
        let mut queue = Fair::new(Bounds { account: 2, club: 2, all: 2 });
        queue.push(who(1, 1), 1).unwrap();
        queue.push(who(1, 1), 2).unwrap();
        queue.retain(|item| *item == 2);
        assert_eq!(queue.count(), 1);
        queue.push(who(1, 1), 3).unwrap();
        queue.retain(|_| false);
        assert_eq!((queue.count(), take(&mut queue)), (0, None));
    }
}
