//! How much a search may do.
//!
//! Work is counted in parts of the search, not in seconds: the same problem and budget do the same work on
//! every machine, so a plan can be repeated. Time comes in only through the caller's `stop`, which is asked
//! before each part. All searches of one plan (ceiling, cover, branch and bound, pairs kept apart, who waits)
//! draw on one account; only the diagnosis of why nobody fits has small ones of its own.
//!
//! The greedy first plan is not counted, so even a budget of 0 mostly gives a plan, with nothing proven; where
//! the greedy one fails, [`PlanError::Budget`](super::PlanError::Budget) follows. The service gives 2 000 000
//! parts and ends a plan by time, ten seconds at most.

/// How much work a plan may take.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Budget {
    /// The most parts of the search to look into; 0 and up.
    pub nodes: u64,
}

/// Work done and left, shared by the searches of one plan.
///
/// Once spent it stays spent: every search then unwinds with the best it has, and none of them calls anything
/// proven.
pub(super) struct Work<'a> {
    /// Parts looked into so far.
    pub(super) nodes: u64,
    /// Parts that may be looked into.
    budget: u64,
    /// Whether the caller wants no more.
    stop: &'a dyn Fn() -> bool,
    /// Whether a part was refused or the caller stopped, so that a search may have left something out.
    pub(super) spent: bool,
}

impl<'a> Work<'a> {
    /// An account with nothing spent.
    pub(super) fn new(budget: Budget, stop: &'a dyn Fn() -> bool) -> Self {
        Self { nodes: 0, budget: budget.nodes, stop, spent: false }
    }

    /// Counts one more part; false when the budget is spent.
    pub(super) fn step(&mut self) -> bool {
        if !self.spent && self.nodes < self.budget && !(self.stop)() {
            self.nodes += 1;
        } else {
            self.spent = true;
        }
        !self.spent
    }

    /// Whether to end within a part, without counting one; asked where a part takes long (price steps,
    /// exchanges of lanes).
    pub(super) fn stopped(&mut self) -> bool {
        self.spent = self.spent || (self.stop)();
        self.spent
    }
}
