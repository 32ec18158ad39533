//! Lanes for what there is little of: so much at once, the rest in a fair and short queue, and whoever would wait too long is
//! told at once.
//!
//! Lanes of what computes leave a core to others. A turn in one is taken before the inputs are read and with no connection in
//! hand, so that whoever waits keeps nothing from others; what is computed runs on threads of the lane. The connections of a
//! worker are a lane too; `platform/db/queue.rs` says who waits for one as whom.

mod fair;

use std::collections::HashMap;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, LazyLock, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use actix_web::http::header::RETRY_AFTER;
use tokio::sync::oneshot;
use tokio::time::{Instant, timeout_at};
use uuid::Uuid;

pub use fair::{Bounds, Fair, Who};

use super::config::Config;
use super::problem::{Code, Problem};

/// The longest that anybody waits for a turn to compute, unless their own time is shorter.
const WAIT: Duration = Duration::from_secs(10);
/// How many may wait in a lane. Whoever waits holds nothing and has their turn only after the other clubs: what a phone sends
/// many times over may wait, what comes by the hundred is told to come again.
const BOUNDS: Bounds = Bounds { account: 32, club: 64, all: 256 };
/// The same for connections, whose turns are short: there the time decides long before.
const OF_CONNECTIONS: Bounds = Bounds { account: 64, club: 128, all: 512 };
/// The same for whole clubs, and how long one waits: what was sent is in a file, so waiting costs little and sending it again much.
const OF_CLUBS: (Bounds, Duration) = (Bounds { account: 1, club: 1, all: 8 }, Duration::from_mins(30));

/// Pushes of one club at work at once.
pub const PUSHES: usize = 2;
/// How many pushes may wait. A phone sends one after the other, so that a member who has several waiting has a fault, and keeps
/// none of the others from their turn.
const OF_PUSHES: Bounds = Bounds { account: 8, club: 16, all: 4_096 };

/// How a lane gives turns.
#[derive(Clone, Copy, Debug)]
pub struct Rules {
    /// Turns at once.
    pub at_once: usize,
    /// Those of one club: what is left is for others.
    pub of_one: usize,
    /// The longest that anybody waits.
    pub wait: Duration,
    /// How many may wait.
    pub bounds: Bounds,
}

impl Rules {
    /// Of a lane that one club may have for itself while nobody else comes.
    pub const fn of(at_once: usize, bounds: Bounds) -> Self {
        Self { at_once, of_one: at_once, wait: WAIT, bounds }
    }

    /// Of so many connections to a database: one club has at most half of them, so that another finds one free.
    pub fn of_connections(connections: usize, wait: Duration) -> Self {
        Self { at_once: connections, of_one: connections.div_ceil(2), wait, bounds: OF_CONNECTIONS }
    }
}

/// One lane.
#[derive(Debug)]
pub struct Lane {
    /// What it is for, as log and threads name it.
    name: &'static str,
    /// How much its threads give way to others (the `nice` of POSIX).
    yields: i32,
    rules: Rules,
    state: Mutex<State>,
}

#[derive(Debug)]
struct State {
    free: usize,
    /// The turns of each club that has any.
    inside: HashMap<Uuid, usize>,
    queue: Fair<oneshot::Sender<Turn>>,
    /// How long a turn lasted of late: of the last dozen or so.
    lasts: Duration,
}

impl State {
    /// Whether there is a turn for a club.
    fn has(&self, club: Uuid, rules: &Rules) -> bool {
        self.free > 0 && self.inside.get(&club).copied().unwrap_or(0) < rules.of_one
    }

    /// How long those take who have their turn before somebody who comes now, if turns last as they did.
    fn expects(&self, who: Who, rules: &Rules) -> Duration {
        let (club, all) = self.queue.before(who);
        let wait = |before: usize, at_once: usize| {
            let times = |count: usize| u32::try_from(count).unwrap_or(u32::MAX);
            self.lasts.saturating_mul(times(before)) / times(at_once)
        };
        wait(club, rules.of_one).max(wait(all, rules.at_once))
    }

    /// Notes the end of a turn.
    fn ended(&mut self, club: Uuid, lasted: Duration) {
        self.free += 1;
        if let Some(inside) = self.inside.get_mut(&club) {
            *inside -= 1;
            if *inside == 0 {
                self.inside.remove(&club);
            }
        }
        self.lasts = (self.lasts * 7 + lasted) / 8;
    }
}

/// Leave to use a lane; dropping it lets the next one in.
#[derive(Debug)]
pub struct Turn {
    lane: Arc<Lane>,
    club: Uuid,
    since: Instant,
}

fn busy() -> Problem {
    let detail = "Others have their turn, and too many wait; nothing was stored. Try again.";
    Problem::new(Code::Unavailable, detail).with_header(RETRY_AFTER, "5")
}

impl Lane {
    /// A lane with these rules.
    pub fn new(name: &'static str, yields: i32, rules: Rules) -> Arc<Self> {
        let rules = Rules { at_once: rules.at_once.max(1), of_one: rules.of_one.max(1), ..rules };
        let queue = Fair::new(rules.bounds);
        let state = State { free: rules.at_once, inside: HashMap::new(), queue, lasts: Duration::ZERO };
        Arc::new(Self { name, yields, rules, state: Mutex::new(state) })
    }

    fn state(&self) -> MutexGuard<'_, State> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// How many wait.
    pub fn waiting(&self) -> usize {
        self.state().queue.count()
    }

    /// Whether a club has a turn, or waits for one.
    pub fn has(&self, club: Uuid) -> bool {
        let state = self.state();
        state.inside.contains_key(&club) || state.queue.before(Who { club, account: Uuid::nil() }).0 > 0
    }

    /// A turn of a club that nobody has to wait for.
    pub fn free(self: &Arc<Self>, club: Uuid) -> Option<Turn> {
        self.take(&mut self.state(), club)
    }

    fn take(self: &Arc<Self>, state: &mut State, club: Uuid) -> Option<Turn> {
        if !state.has(club, &self.rules) {
            return None;
        }
        state.free -= 1;
        *state.inside.entry(club).or_default() += 1;
        Some(Turn { lane: Arc::clone(self), club, since: Instant::now() })
    }

    /// Waits for a turn.
    ///
    /// # Errors
    /// 503 with `Retry-After`: at once when too many wait, or would for too long; else after that time.
    pub async fn turn(self: &Arc<Self>, who: Who) -> Result<Turn, Problem> {
        self.turn_until(who, Instant::now() + self.rules.wait).await
    }

    /// Waits for a turn, at most until a moment.
    ///
    /// # Errors
    /// Those of [`Lane::turn`].
    pub async fn turn_until(self: &Arc<Self>, who: Who, until: Instant) -> Result<Turn, Problem> {
        let until = until.min(Instant::now() + self.rules.wait);
        self.wait(who, until, |state, sender| {
            if Instant::now() + state.expects(who, &self.rules) > until {
                return Err(sender);
            }
            state.queue.push(who, sender)
        })
        .await
    }

    /// Waits for one more turn of somebody who has had one for the same work, however many wait: half-done work that is
    /// refused would be done again.
    ///
    /// # Errors
    /// 503 with `Retry-After` when the time is over.
    pub async fn turn_again(self: &Arc<Self>, who: Who, until: Instant) -> Result<Turn, Problem> {
        self.wait(who, until, |state, sender| {
            state.queue.add(who, sender);
            Ok(())
        })
        .await
    }

    async fn wait(
        self: &Arc<Self>,
        who: Who,
        until: Instant,
        queue: impl FnOnce(&mut State, oneshot::Sender<Turn>) -> Result<(), oneshot::Sender<Turn>>,
    ) -> Result<Turn, Problem> {
        let waiting = {
            let mut state = self.state();
            // Nobody waits for a turn that there is: those who wait are of clubs that have all of theirs.
            if let Some(turn) = self.take(&mut state, who.club) {
                return Ok(turn);
            }
            state.queue.retain(|one| !one.is_closed());
            let (sender, waiting) = oneshot::channel();
            queue(&mut state, sender).map_err(|_| busy())?;
            waiting
        };
        timeout_at(until, waiting).await.ok().and_then(Result::ok).ok_or_else(busy)
    }
}

impl Drop for Turn {
    fn drop(&mut self) {
        let next = {
            let mut state = self.lane.state();
            state.ended(self.club, self.since.elapsed());
            state.queue.retain(|one| !one.is_closed());
            let State { queue, inside, .. } = &mut *state;
            let of_one = self.lane.rules.of_one;
            let next = queue.pop(|club| inside.get(&club).copied().unwrap_or(0) < of_one);
            next.and_then(|(club, sender)| Some((sender, self.lane.take(&mut state, club)?)))
        };
        if let Some((sender, turn)) = next {
            // Whoever has just given up drops the turn again, and with it the one after has it.
            drop(sender.send(turn));
        }
    }
}

impl Turn {
    /// Computes on a thread of the lane; the turn ends with the work, also when nobody waits for it any more.
    ///
    /// # Errors
    /// 503 when the system gives no thread, 500 when the work broke.
    pub async fn run<T: Send + 'static>(self, work: impl FnOnce() -> T + Send + 'static) -> Result<T, Problem> {
        self.run_with(|_| work()).await
    }

    /// The same for work that asks for more threads by [`Turn::each`].
    ///
    /// # Errors
    /// Those of [`Turn::run`].
    pub async fn run_with<T: Send + 'static>(
        self,
        work: impl FnOnce(&Self) -> T + Send + 'static,
    ) -> Result<T, Problem> {
        let (done, result) = oneshot::channel();
        let (name, yields) = (self.lane.name, self.lane.yields);
        let thread = std::thread::Builder::new().name(name.to_owned()).spawn(move || {
            let turn = self;
            give_way(yields);
            let value = work(&turn);
            drop(turn);
            // The client may be gone.
            drop(done.send(value));
        });
        thread.map_err(|_| busy())?;
        result
            .await
            .map_err(|_| Problem::new(Code::Internal, "The computation broke. Tell the operator the instance id."))
    }
}

impl Turn {
    /// Works on each of many, on this thread and on one more for every turn of the lane that nobody uses or waits for; the
    /// results are in the order of the items.
    pub fn each<T: Sync, R: Send>(&self, items: &[T], work: impl Fn(&T) -> R + Sync) -> Vec<R> {
        let lane = &self.lane;
        let more: Vec<Self> = items.iter().skip(1).map_while(|_| lane.free(self.club)).collect();
        let next = AtomicUsize::new(0);
        let take = || {
            let mut done = Vec::new();
            while let (at, Some(item)) = {
                let at = next.fetch_add(1, Ordering::Relaxed);
                (at, items.get(at))
            } {
                done.push((at, work(item)));
            }
            done
        };
        let mut done = std::thread::scope(|scope| {
            let helper = |_: &Self| {
                let thread = std::thread::Builder::new().name(lane.name.to_owned());
                let help = || {
                    give_way(lane.yields);
                    take()
                };
                // Where the system gives no thread, this one does it all.
                thread.spawn_scoped(scope, help).ok()
            };
            let helpers: Vec<_> = more.iter().filter_map(helper).collect();
            let mut done = take();
            for helper in helpers {
                done.extend(helper.join().unwrap_or_else(|broken| std::panic::resume_unwind(broken)));
            }
            done
        });
        done.sort_unstable_by_key(|(at, _)| *at);
        done.into_iter().map(|(_, result)| result).collect()
    }
}

/// Lets others go first; where the system has no such thing for one thread, nothing changes.
fn give_way(yields: i32) {
    if cfg!(target_os = "linux") && yields > 0 {
        // On Linux "this process" is this thread. A refusal costs others a little time only.
        let _ = rustix::process::setpriority_process(None, yields);
    }
}

/// The lanes of a service.
#[derive(Clone, Debug)]
pub struct Lanes {
    /// Lane plans: seconds each.
    pub plans: Arc<Lane>,
    /// What is computed for a whole squad, and rosters.
    pub squads: Arc<Lane>,
    /// What is computed for one athlete, and files that are drawn.
    pub athletes: Arc<Lane>,
    /// Calculators that need no token.
    pub strangers: Arc<Lane>,
    /// Large reads; nothing is computed, but connections are few.
    pub reads: Arc<Lane>,
    /// What phones hand in: a few at once of each club, of however many clubs.
    pub pushes: Arc<Lane>,
    /// Whole clubs that come, each for minutes.
    pub clubs: Arc<Lane>,
    /// The database connections of each worker.
    pub connections: Vec<Arc<Lane>>,
}

/// Cores that computing may take: one is left to everything else.
fn cores() -> usize {
    std::thread::available_parallelism().map_or(1, std::num::NonZero::get).saturating_sub(1).max(1)
}

impl Lanes {
    /// The lanes of a service with these settings.
    pub fn new(config: &Config) -> Self {
        let connections = config.connections as usize;
        let own = Rules::of_connections(connections, config.wait);
        Self {
            plans: Lane::new("plans", 15, Rules::of(cores(), BOUNDS)),
            squads: Lane::new("squads", 10, Rules::of(cores(), BOUNDS)),
            athletes: Lane::new("athletes", 5, Rules::of(cores(), BOUNDS)),
            strangers: Lane::new("strangers", 10, Rules::of(1, BOUNDS)),
            reads: Lane::new("reads", 0, Rules::of(config.workers * connections / 2, BOUNDS)),
            pushes: Lane::new("pushes", 0, Rules { of_one: PUSHES, ..Rules::of(usize::from(u16::MAX), OF_PUSHES) }),
            clubs: Lane::new("clubs", 0, Rules { wait: OF_CLUBS.1, ..Rules::of(1, OF_CLUBS.0) }),
            connections: (0..config.workers.max(1)).map(|_| Lane::new("connections", 0, own)).collect(),
        }
    }
}

/// Password hashing, of all services of this process.
pub static PASSWORDS: LazyLock<Arc<Lane>> = LazyLock::new(|| {
    let bounds = Bounds { account: 32, club: 32, all: 128 };
    Lane::new("passwords", 5, Rules::of(cores(), bounds))
});

#[cfg(test)]
mod tests {
    use super::*;

    const FEW: Bounds = Bounds { account: 2, club: 2, all: 3 };

    fn who(club: u128) -> Who {
        Who { club: Uuid::from_u128(club), account: Uuid::from_u128(club) }
    }

    /// Waits until so many wait.
    async fn until_waiting(lane: &Lane, count: usize) {
        while lane.waiting() != count {
            tokio::task::yield_now().await;
        }
    }

    #[tokio::test]
    async fn turns_go_round_the_clubs_and_the_rest_is_told_to_come_again() {
        let lane = Lane::new("test", 0, Rules::of(1, FEW));
        let first = lane.turn(who(1)).await.unwrap();
        let (order, mut got) = tokio::sync::mpsc::unbounded_channel();
        for (n, club) in [(1, 1), (2, 1), (3, 2)] {
            let (own, order) = (Arc::clone(&lane), order.clone());
            tokio::spawn(async move {
                let turn = own.turn(who(club)).await.unwrap();
                order.send(n).unwrap();
                drop(turn);
            });
            until_waiting(&lane, n).await;
        }
        let refused = lane.turn(who(3)).await.unwrap_err();
        assert_eq!(refused.status(), 503);
        assert_eq!([1, 2, 3].map(|club| lane.has(who(club).club)), [true, true, false], "one is inside, one waits");
        drop(first);
        assert_eq!([got.recv().await, got.recv().await, got.recv().await], [Some(1), Some(3), Some(2)]);
        drop(lane.turn(who(1)).await.unwrap());
    }

    #[tokio::test]
    async fn nobody_waits_longer_than_their_time_and_their_place_is_free_then() {
        let lane = Lane::new("test", 0, Rules::of(1, FEW));
        let first = lane.turn(who(1)).await.unwrap();
        for _ in 0..9 {
            // More than may wait: each gives its place back.
            assert_eq!(lane.turn_until(who(2), Instant::now()).await.unwrap_err().status(), 503);
        }
        drop(first);
        drop(lane.turn(who(3)).await.unwrap());
        assert_eq!(lane.waiting(), 0);
    }

    #[tokio::test]
    async fn one_club_leaves_turns_to_others_also_while_it_waits() {
        let rules = Rules { of_one: 2, ..Rules::of(4, FEW) };
        let lane = Lane::new("test", 0, rules);
        let own = [lane.turn(who(1)).await.unwrap(), lane.turn(who(1)).await.unwrap()];
        let waiting = tokio::spawn({
            let lane = Arc::clone(&lane);
            async move { lane.turn(who(1)).await }
        });
        until_waiting(&lane, 1).await;
        let others = [lane.turn(who(2)).await.unwrap(), lane.turn(who(3)).await.unwrap()];
        assert!(lane.free(who(4).club).is_none(), "four are inside");
        drop(others);
        assert_eq!(lane.waiting(), 1, "a turn of others is not for a club that has its own");
        drop(own);
        drop(waiting.await.unwrap().unwrap());
        let all = [(); 5].map(|()| lane.free(Uuid::new_v4()));
        assert_eq!(all.iter().flatten().count(), 4, "all are given back");
    }

    #[tokio::test]
    async fn whoever_had_a_turn_waits_for_one_more_however_many_wait() {
        let lane = Lane::new("test", 0, Rules::of(1, FEW));
        let first = lane.turn(who(1)).await.unwrap();
        let later = |again: bool| {
            let lane = Arc::clone(&lane);
            tokio::spawn(async move {
                if again {
                    return lane.turn_again(who(1), Instant::now() + WAIT).await;
                }
                lane.turn(who(1)).await
            })
        };
        let mut waiting = Vec::new();
        for (count, again) in [(1, false), (2, false), (3, true)] {
            waiting.push(later(again));
            until_waiting(&lane, count).await;
        }
        assert_eq!(lane.turn(who(1)).await.unwrap_err().status(), 503);
        assert_eq!(lane.turn_again(who(1), Instant::now()).await.unwrap_err().status(), 503, "its time is over");
        drop(first);
        for one in waiting {
            drop(one.await.unwrap().unwrap());
        }
    }

    #[test]
    fn who_would_wait_too_long_is_known_by_those_before() {
        let rules = Rules { of_one: 2, ..Rules::of(4, Bounds { account: 99, club: 99, all: 99 }) };
        let lane = Lane::new("test", 0, rules);
        let mut state = lane.state();
        assert_eq!(state.expects(who(1), &rules), Duration::ZERO, "nothing is known yet");
        for _ in 0..200 {
            state.free -= 1;
            state.ended(who(1).club, Duration::from_millis(80));
        }
        assert_eq!(state.expects(who(1), &rules), Duration::ZERO, "nobody waits");
        for _ in 0..9 {
            let (sender, _) = oneshot::channel();
            state.queue.add(who(1), sender);
        }
        // 40 ms until one of the club's two ends, 20 until one of four does.
        let own = state.expects(who(1), &rules).as_millis();
        assert!((359..=360).contains(&own), "{own} ms behind nine of its own");
        let other = state.expects(who(2), &rules).as_millis();
        assert!((19..=20).contains(&other), "{other} ms behind one of the other club");
    }

    #[tokio::test]
    async fn who_would_wait_too_long_is_told_before_they_wait() {
        let lane = Lane::new("test", 0, Rules::of(1, FEW));
        let first = lane.turn(who(1)).await.unwrap();
        let second = tokio::spawn({
            let lane = Arc::clone(&lane);
            async move { lane.turn(who(1)).await }
        });
        until_waiting(&lane, 1).await;
        lane.state().lasts = 2 * WAIT;
        assert_eq!(lane.turn(who(2)).await.unwrap_err().status(), 503);
        assert_eq!(lane.waiting(), 1);
        drop(first);
        drop(second.await.unwrap().unwrap());
    }

    #[tokio::test]
    async fn work_runs_on_the_lane_and_keeps_its_turn_until_it_is_done() {
        let lane = Lane::new("test-lane", 0, Rules::of(1, FEW));
        let turn = lane.turn(who(1)).await.unwrap();
        let name = turn.run(|| std::thread::current().name().map(str::to_owned)).await.unwrap();
        assert_eq!(name.as_deref(), Some("test-lane"));
        let (go, wait) = std::sync::mpsc::channel::<()>();
        let turn = lane.turn(who(1)).await.unwrap();
        let mut running = Box::pin(turn.run(move || wait.recv()));
        // Polled once, it has started; its client goes away.
        assert!(tokio::time::timeout(Duration::ZERO, &mut running).await.is_err());
        drop(running);
        let next = tokio::spawn({
            let lane = Arc::clone(&lane);
            async move { lane.turn(who(2)).await.is_ok() }
        });
        until_waiting(&lane, 1).await;
        go.send(()).unwrap();
        assert!(next.await.unwrap());
    }

    #[tokio::test]
    async fn many_are_worked_on_at_once_while_nobody_waits_and_come_in_order() {
        let lane = Lane::new("test", 0, Rules::of(3, FEW));
        let items: Vec<usize> = (0..100).collect();
        let at_work = Arc::new((AtomicUsize::new(0), AtomicUsize::new(0)));
        let seen = Arc::clone(&at_work);
        let work = move |turn: &Turn| {
            turn.each(&items, |item| {
                let now = seen.0.fetch_add(1, Ordering::SeqCst) + 1;
                seen.1.fetch_max(now, Ordering::SeqCst);
                // The first three wait for each other: so many are at work.
                while *item < 3 && seen.1.load(Ordering::SeqCst) < 3 {
                    std::thread::yield_now();
                }
                seen.0.fetch_sub(1, Ordering::SeqCst);
                item * item
            })
        };
        let squares = lane.turn(who(1)).await.unwrap().run_with(work).await.unwrap();
        assert_eq!(squares, (0..100).map(|n| n * n).collect::<Vec<_>>());
        assert_eq!(at_work.1.load(Ordering::SeqCst), 3);
        let turns = [(); 4].map(|()| lane.free(who(1).club));
        assert_eq!(turns.iter().flatten().count(), 3, "all are given back");
    }

    #[tokio::test]
    async fn work_that_breaks_ends_its_turn() {
        let lane = Lane::new("test", 0, Rules::of(1, FEW));
        let broken = lane.turn(who(1)).await.unwrap().run(|| assert!(lane_is_sound(), "on purpose")).await;
        assert_eq!(broken.unwrap_err().status(), 500);
        drop(lane.turn(who(1)).await.unwrap());
    }

    fn lane_is_sound() -> bool {
        false
    }
}
