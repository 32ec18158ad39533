//! Lanes for what takes long: so much at once, the rest in a fair and short queue, never a core that others need.
//!
//! A turn is taken before the inputs are read and with no connection in hand, so that whoever waits keeps nothing from
//! others; what is computed runs on threads of the lane.

mod fair;

use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, LazyLock, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use actix_web::http::header::RETRY_AFTER;
use tokio::sync::oneshot;
use tokio::time::{Instant, timeout_at};

pub use fair::{Bounds, Fair, Who};

use super::problem::{Code, Problem};

/// The longest that anybody waits for a turn, unless their own time is shorter.
const WAIT: Duration = Duration::from_secs(10);

/// One lane.
#[derive(Debug)]
pub struct Lane {
    /// What it is for, as log and threads name it.
    name: &'static str,
    /// How much its threads give way to others (the `nice` of POSIX).
    yields: i32,
    state: Mutex<State>,
}

#[derive(Debug)]
struct State {
    free: usize,
    queue: Fair<oneshot::Sender<Turn>>,
}

/// Leave to use a lane; dropping it lets the next one in.
#[derive(Debug)]
pub struct Turn(Arc<Lane>);

fn busy() -> Problem {
    let detail = "Others are being computed, and too many wait; nothing was stored. Try again.";
    Problem::new(Code::Unavailable, detail).with_header(RETRY_AFTER, "5")
}

impl Lane {
    /// A lane for so many at once.
    pub fn new(name: &'static str, at_once: usize, yields: i32, bounds: Bounds) -> Arc<Self> {
        let state = State { free: at_once.max(1), queue: Fair::new(bounds) };
        Arc::new(Self { name, yields, state: Mutex::new(state) })
    }

    fn state(&self) -> MutexGuard<'_, State> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// How many wait.
    pub fn waiting(&self) -> usize {
        self.state().queue.count()
    }

    /// A turn that nobody has to wait for.
    pub fn free(self: &Arc<Self>) -> Option<Turn> {
        self.take(&mut self.state())
    }

    fn take(self: &Arc<Self>, state: &mut State) -> Option<Turn> {
        state.free = state.free.checked_sub(1)?;
        Some(Turn(Arc::clone(self)))
    }

    /// Waits for a turn.
    ///
    /// # Errors
    /// 503 with `Retry-After` when too many wait, or for too long.
    pub async fn turn(self: &Arc<Self>, who: Who) -> Result<Turn, Problem> {
        self.turn_until(who, Instant::now() + WAIT).await
    }

    /// Waits for a turn, at most until a moment.
    ///
    /// # Errors
    /// 503 with `Retry-After` when too many wait, or for too long.
    pub async fn turn_until(self: &Arc<Self>, who: Who, until: Instant) -> Result<Turn, Problem> {
        let waiting = {
            let mut state = self.state();
            if let Some(turn) = self.take(&mut state) {
                return Ok(turn);
            }
            state.queue.retain(|one| !one.is_closed());
            let (sender, waiting) = oneshot::channel();
            state.queue.push(who, sender).map_err(|_| busy())?;
            waiting
        };
        timeout_at(until.min(Instant::now() + WAIT), waiting).await.ok().and_then(Result::ok).ok_or_else(busy)
    }
}

impl Drop for Turn {
    fn drop(&mut self) {
        let next = {
            let mut state = self.0.state();
            state.queue.retain(|one| !one.is_closed());
            let next = state.queue.pop();
            if next.is_none() {
                state.free += 1;
            }
            next
        };
        if let Some(next) = next {
            // Whoever has just given up drops the turn again, and with it the one after has it.
            drop(next.send(Self(Arc::clone(&self.0))));
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
        let (name, yields) = (self.0.name, self.0.yields);
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
        let Self(lane) = self;
        let more: Vec<Self> = items.iter().skip(1).map_while(|_| lane.free()).collect();
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
}

/// Cores that computing may take: one is left to everything else.
fn cores() -> usize {
    std::thread::available_parallelism().map_or(1, std::num::NonZero::get).saturating_sub(1).max(1)
}

impl Lanes {
    /// The lanes of a service with so many database connections.
    pub fn new(connections: usize) -> Self {
        // Whoever waits holds nothing and has their turn only after the other clubs: what a phone sends many times over may
        // wait, what comes by the hundred is told to come again.
        let bounds = Bounds { account: 32, club: 64, all: 256 };
        Self {
            plans: Lane::new("plans", cores(), 15, bounds),
            squads: Lane::new("squads", cores(), 10, bounds),
            athletes: Lane::new("athletes", cores(), 5, bounds),
            strangers: Lane::new("strangers", 1, 10, bounds),
            reads: Lane::new("reads", connections / 2, 0, bounds),
        }
    }
}

/// Password hashing, of all services of this process.
pub static PASSWORDS: LazyLock<Arc<Lane>> =
    LazyLock::new(|| Lane::new("passwords", cores(), 5, Bounds { account: 32, club: 32, all: 128 }));

#[cfg(test)]
mod tests {
    use uuid::Uuid;

    use super::*;

    const BOUNDS: Bounds = Bounds { account: 2, club: 2, all: 3 };

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
        let lane = Lane::new("test", 1, 0, BOUNDS);
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
        drop(first);
        assert_eq!([got.recv().await, got.recv().await, got.recv().await], [Some(1), Some(3), Some(2)]);
        drop(lane.turn(who(1)).await.unwrap());
    }

    #[tokio::test]
    async fn nobody_waits_longer_than_their_time_and_their_place_is_free_then() {
        let lane = Lane::new("test", 1, 0, BOUNDS);
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
    async fn work_runs_on_the_lane_and_keeps_its_turn_until_it_is_done() {
        let lane = Lane::new("test-lane", 1, 0, BOUNDS);
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
        let lane = Lane::new("test", 3, 0, BOUNDS);
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
        let turns = [lane.free(), lane.free(), lane.free(), lane.free()];
        assert_eq!(turns.iter().flatten().count(), 3, "all are given back");
    }

    #[tokio::test]
    async fn work_that_breaks_ends_its_turn() {
        let lane = Lane::new("test", 1, 0, BOUNDS);
        let broken = lane.turn(who(1)).await.unwrap().run(|| assert!(lane_is_sound(), "on purpose")).await;
        assert_eq!(broken.unwrap_err().status(), 500);
        drop(lane.turn(who(1)).await.unwrap());
    }

    fn lane_is_sound() -> bool {
        false
    }
}
