//! How much a search may do.

/// How much work a plan may take.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Budget {
    /// The most parts of the search to look into.
    pub nodes: u64,
}

/// Work done and left, shared by the searches of one plan.
pub(super) struct Work<'a> {
    pub(super) nodes: u64,
    budget: u64,
    stop: &'a dyn Fn() -> bool,
    pub(super) spent: bool,
}

impl<'a> Work<'a> {
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

    pub(super) fn stopped(&mut self) -> bool {
        self.spent = self.spent || (self.stop)();
        self.spent
    }
}
