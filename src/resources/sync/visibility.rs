//! What a row of the change log means to one member: the pure rules, one root at a time.
//!
//! A root (an athlete, a session, a club-wide record) has scopes; a member has grants, each for one scope and an
//! interval of change numbers. Records below a root are seen with it. The log is read strictly in order; every rule
//! looks at what is visible *now* and at what the grants were *at the row*, so that no state is kept for a phone.

use uuid::Uuid;

/// A change number.
pub type Seq = i64;

/// That a member sees a scope, from one change number on, up to another.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Grant {
    /// The scope.
    pub scope: Uuid,
    /// The change that began it.
    pub from: Seq,
    /// The change that ended it.
    pub to: Option<Seq>,
}

/// Everything a member sees and ever saw.
#[derive(Clone, Debug, Default)]
pub struct Sight(pub Vec<Grant>);

impl Sight {
    fn any(&self, scopes: &[Uuid], valid: impl Fn(&Grant) -> bool) -> bool {
        self.0.iter().any(|grant| valid(grant) && scopes.contains(&grant.scope))
    }

    /// The same of some groups and of what belongs to the whole club alone: as of a member who has just these.
    #[must_use]
    pub fn of_groups(&self, groups: &[Uuid], club: Uuid) -> Self {
        let one = |grant: &Grant| {
            let of = |scope| Grant { scope, ..*grant };
            remaining(grant.scope, groups, club).into_iter().map(of).collect::<Vec<_>>()
        };
        Self(self.0.iter().flat_map(one).collect())
    }

    /// The scopes seen now.
    pub fn now(&self) -> Vec<Uuid> {
        self.0.iter().filter(|grant| grant.to.is_none()).map(|grant| grant.scope).collect()
    }

    /// Whether a root is seen now, or would be if it were not withheld.
    pub fn sees(&self, root: &Root) -> bool {
        root.alive && self.any(&root.scopes, |grant| grant.to.is_none())
    }

    /// Whether what is below a root is seen now.
    pub fn sees_below(&self, root: &Root) -> bool {
        !root.withheld && self.sees(root)
    }

    fn saw_at(&self, at: Seq, scopes: &[Uuid]) -> bool {
        self.any(scopes, |grant| grant.from <= at && grant.to.is_none_or(|to| at < to))
    }

    fn ever_saw(&self, scopes: &[Uuid]) -> bool {
        self.any(scopes, |_| true)
    }
}

/// What remains of a scope for somebody who wants only some groups and what belongs to the whole club: who sees
/// everything sees these.
pub fn remaining(scope: Uuid, groups: &[Uuid], club: Uuid) -> Vec<Uuid> {
    if scope.is_nil() {
        groups.to_vec()
    } else if scope == club || groups.contains(&scope) {
        vec![scope]
    } else {
        Vec::new()
    }
}

/// A root as it is now.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Root {
    /// Number of its last change.
    pub rev: Seq,
    /// Whether it was not deleted.
    pub alive: bool,
    /// Its scopes.
    pub scopes: Vec<Uuid>,
    /// Whether it is withheld from whom the page is for. That it goes is told wherever it changed itself, for whoever has a copy; of
    /// what is recorded below it nothing is told, not even that there is something.
    pub withheld: bool,
}

/// Why a record leaves a phone.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Reason {
    /// Gone for everybody.
    Deleted,
    /// No longer visible, or about to be sent afresh.
    Changed,
}

/// What to send of a root, in this order.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Step {
    /// Drop the root and everything below it, to make room for what follows.
    Reset,
    /// The root as it is now.
    Current,
    /// Everything below it.
    Subtree,
    /// Drop the root and everything below it.
    Removed(Reason),
}

/// A root that is sent with everything below it, on a phone that may have an older copy.
const AFRESH: &[Step] = &[Step::Reset, Step::Current, Step::Subtree];

/// A root that is sent with everything below it for the first time.
pub const WHOLE: &[Step] = &[Step::Current, Step::Subtree];

/// What the change of a root at `at` means; `moved` holds the scopes before and after, where they changed.
pub fn at_root(sight: &Sight, at: Seq, root: &Root, moved: Option<(&[Uuid], &[Uuid])>) -> &'static [Step] {
    if root.withheld && sight.sees(root) {
        return &[Step::Removed(Reason::Changed)];
    }
    let Some((before, after)) = moved else {
        // If it is out of sight now, a later row took it away and says so.
        return if sight.sees(root) { &[Step::Current] } else { &[] };
    };
    if sight.sees(root) {
        let entered = !sight.saw_at(at, before) && sight.saw_at(at, after);
        return if entered { AFRESH } else { &[Step::Current] };
    }
    if !sight.ever_saw(before) {
        return &[];
    }
    if root.alive { &[Step::Removed(Reason::Changed)] } else { &[Step::Removed(Reason::Deleted)] }
}

/// What a grant means for a root that is in its scope now or left it after the grant.
pub fn at_grant(sight: &Sight, root: &Root) -> &'static [Step] {
    if sight.sees_below(root) { AFRESH } else { &[] }
}

/// What the end of a grant means for a root that is in its scope now or left it after the end.
pub fn at_revoke(sight: &Sight, root: &Root) -> &'static [Step] {
    if root.alive && !sight.sees(root) { &[Step::Removed(Reason::Changed)] } else { &[] }
}
