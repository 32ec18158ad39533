//! Reads the change log page by page for one member: which records to send, in which order, and where to go on.

use std::collections::{HashMap, VecDeque};
use std::ops::ControlFlow;

use uuid::Uuid;

use super::model::Type;
use super::places::{Key, Part, Place, Position, RootId};
use super::visibility::{self, Reason, Root, Seq, Sight, Step};

mod parts;

pub use parts::{Child, Dated, Item, Limits, Page, Row, Sent, Source, Wanted, What};

/// Roots whose records are read together.
const ROOTS: usize = 16;
/// Rows of the log that are read together.
const ROWS: usize = 500;

struct Reader<'a, S> {
    source: &'a mut S,
    sight: &'a Sight,
    wanted: &'a Wanted,
    limits: Limits,
    at: Position,
    items: Vec<Item>,
    read: usize,
}

type Flow = ControlFlow<()>;

/// The next page after `from`; `head` is the number of the last row of the log, and `sight` that of the groups wanted.
///
/// # Errors
/// Those of the source.
pub async fn page<S: Source>(
    source: &mut S,
    sight: &Sight,
    wanted: &Wanted,
    from: Position,
    head: Seq,
    limits: Limits,
) -> Result<Page, S::Error> {
    let mut reader = Reader { source, sight, wanted, limits, at: from, items: Vec::new(), read: 0 };
    let flow = match reader.walk().await? {
        Flow::Continue(()) => reader.log(head).await?,
        Flow::Break(()) => Flow::Break(()),
    };
    Ok(Page { items: reader.items, next: reader.at, more: flow.is_break() })
}

impl<S: Source> Reader<'_, S> {
    /// Whether the page is full or has cost enough.
    fn flow(&self) -> Flow {
        if self.items.len() >= self.limits.items || self.read >= self.limits.rows {
            return Flow::Break(());
        }
        Flow::Continue(())
    }

    /// Sends a full copy, where one is under way.
    async fn walk(&mut self) -> Result<Flow, S::Error> {
        let Some(walk) = self.at.walk else { return Ok(Flow::Continue(())) };
        let all = self.wanted.groups.iter().flatten();
        let added: Vec<Uuid> = (0..).zip(all).filter(|(at, _)| walk.groups >> at & 1 == 1).map(|(_, id)| *id).collect();
        let mut after = walk.after.map_or(Place::START, |key| Place::before(key.root));
        loop {
            // Groups that are added come as if they were granted where the phone stands.
            let ids = match walk.groups {
                0 => self.source.visible(after, ROOTS).await?,
                _ => self.source.touched(&added, self.at.seq, after, ROOTS).await?,
            };
            self.read += ids.len();
            let Some(last) = ids.last().copied() else { break };
            let roots = self.source.roots(&ids).await?;
            let steps = |root: &Root| match walk.groups {
                _ if !self.sight.sees_below(root) => &[],
                0 => visibility::WHOLE,
                _ => visibility::at_grant(self.sight, root),
            };
            let plan: Vec<_> = ids.iter().filter_map(|id| roots.get(id).map(|root| (*id, root, steps(root)))).collect();
            if self.send(&plan).await?.is_break() {
                return Ok(Flow::Break(()));
            }
            after = Place::past(last);
        }
        self.at.walk = None;
        Ok(self.flow())
    }

    /// Reads the log up to `head`.
    async fn log(&mut self, head: Seq) -> Result<Flow, S::Error> {
        while self.at.seq < head {
            let rows = self.source.rows(self.at.seq, ROWS).await?;
            self.read += rows.len();
            let ids: Vec<RootId> = rows.iter().filter_map(|row| row.what.root()).collect();
            let roots = self.source.roots(&ids).await?;
            if rows.is_empty() {
                break;
            }
            let children: Vec<(Type, Uuid)> = rows.iter().filter_map(|row| row.what.child()).collect();
            let old = self.source.old(&children).await?;
            for row in rows.into_iter().take_while(|row| row.seq <= head) {
                // What became too old with its session was taken back by the row of the session.
                let skip = row.what.child().is_some_and(|child| old.contains(&child));
                if !skip && self.row(&row, &roots).await?.is_break() {
                    return Ok(Flow::Break(()));
                }
                self.at.seq = row.seq;
                self.at.sub = None;
                if row.seq < head && self.flow().is_break() {
                    return Ok(Flow::Break(()));
                }
            }
        }
        Ok(Flow::Continue(()))
    }

    /// Expands one row of the log.
    async fn row(&mut self, row: &Row, roots: &HashMap<RootId, Root>) -> Result<Flow, S::Error> {
        match &row.what {
            What::Other => Ok(Flow::Continue(())),
            What::Child(kind, id, root) => {
                let seen = roots.get(root).is_some_and(|root| self.sight.sees_below(root));
                let key = Key { root: *root, part: Part::Child(*kind, *id) };
                Ok(if seen { self.emit(key, *kind, *id, Sent::Current) } else { Flow::Continue(()) })
            }
            What::Root(id, moved) => {
                let Some(root) = roots.get(id) else { return Ok(Flow::Continue(())) };
                let moved = moved.as_ref().map(|(before, after)| (before.as_slice(), after.as_slice()));
                let steps = visibility::at_root(self.sight, row.seq, root, moved);
                let flow = self.send(&[(*id, root, steps)]).await?;
                if flow.is_break() || !row.redated { Ok(flow) } else { self.redated(*id).await }
            }
            What::Grant(scopes) => self.scope(row.seq, scopes, visibility::at_grant).await,
            What::Revoke(scopes) => self.scope(row.seq, scopes, visibility::at_revoke).await,
        }
    }

    /// Expands the begin or end of a grant: every root that it touches.
    async fn scope(
        &mut self,
        at: Seq,
        scopes: &[Uuid],
        rule: fn(&Sight, &Root) -> &'static [Step],
    ) -> Result<Flow, S::Error> {
        let at_part = |key: Key| if key.part == LAST { Place::past(key.root) } else { Place::before(key.root) };
        let mut after = self.at.sub.map_or(Place::START, at_part);
        loop {
            let ids = self.source.touched(scopes, at, after, ROOTS).await?;
            self.read += ids.len();
            let Some(last) = ids.last().copied() else { return Ok(Flow::Continue(())) };
            let roots = self.source.roots(&ids).await?;
            let plan: Vec<_> =
                ids.iter().filter_map(|id| roots.get(id).map(|root| (*id, root, rule(self.sight, root)))).collect();
            if self.send(&plan).await?.is_break() {
                return Ok(Flow::Break(()));
            }
            self.progress(Key { root: last, part: LAST });
            if self.flow().is_break() {
                return Ok(Flow::Break(()));
            }
            after = Place::past(last);
        }
    }

    /// Sends anew what has the day of a session that has moved, or takes it back where it has become too old.
    async fn redated(&mut self, session: RootId) -> Result<Flow, S::Error> {
        let mut after = match self.at.sub {
            Some(Key { part: Part::Dated(kind, id), .. }) => Some((kind, id)),
            _ => None,
        };
        loop {
            let found = self.source.dated(session.id, self.wanted.types, after, ROWS).await?;
            self.read += found.len();
            let Some(last) = found.last() else { return Ok(Flow::Continue(())) };
            after = Some((last.child.kind, last.child.id));
            let ids: Vec<RootId> = found.iter().map(|one| one.child.root).collect();
            let roots = self.source.roots(&ids).await?;
            for Dated { child, rev, old } in found {
                let key = Key { root: session, part: Part::Dated(child.kind, child.id) };
                if !roots.get(&child.root).is_some_and(|root| self.sight.sees_below(root)) {
                    self.progress(key);
                    continue;
                }
                let sent = if old { Sent::Removed(Reason::Changed, rev) } else { Sent::Current };
                if self.emit(key, child.kind, child.id, sent).is_break() {
                    return Ok(Flow::Break(()));
                }
            }
            if self.flow().is_break() {
                return Ok(Flow::Break(()));
            }
        }
    }

    /// Sends what the steps say of each root.
    async fn send(&mut self, plan: &[(RootId, &Root, &'static [Step])]) -> Result<Flow, S::Error> {
        let mut buffer: VecDeque<Child> = VecDeque::new();
        let mut whole: Vec<RootId> =
            plan.iter().filter(|(_, _, steps)| steps.contains(&Step::Subtree)).map(|(id, ..)| *id).collect();
        let mut all_read = whole.is_empty();
        for (id, root, steps) in plan {
            for step in *steps {
                let (part, sent) = match step {
                    Step::Reset => (Part::Reset, Sent::Removed(Reason::Changed, root.rev)),
                    Step::Current => (Part::Root, Sent::Current),
                    Step::Removed(reason) => (Part::Root, Sent::Removed(*reason, root.rev)),
                    Step::Subtree => {
                        whole.retain(|one| one >= id);
                        let flow = self.subtree(*id, &whole, &mut buffer, &mut all_read).await?;
                        if flow.is_break() {
                            return Ok(flow);
                        }
                        continue;
                    }
                };
                if self.emit(Key { root: *id, part }, id.kind, id.id, sent).is_break() {
                    return Ok(Flow::Break(()));
                }
            }
        }
        Ok(Flow::Continue(()))
    }

    /// Sends the records below a root; `buffer` holds what was read ahead below it and the roots after it.
    async fn subtree(
        &mut self,
        id: RootId,
        whole: &[RootId],
        buffer: &mut VecDeque<Child>,
        all_read: &mut bool,
    ) -> Result<Flow, S::Error> {
        loop {
            while let Some(child) = buffer.front().copied().filter(|child| child.root == id) {
                buffer.pop_front();
                let key = Key { root: id, part: Part::Child(child.kind, child.id) };
                if self.emit(key, child.kind, child.id, Sent::Current).is_break() {
                    return Ok(Flow::Break(()));
                }
            }
            if *all_read || !buffer.is_empty() {
                return Ok(Flow::Continue(()));
            }
            let limit = (self.limits.items - self.items.len()).min(ROWS);
            let types = self.at.walk.map_or(self.wanted.types, |walk| walk.types);
            let after = self.sent_last().filter(|key| key.root >= id);
            *buffer = self.source.children(whole, types, after, limit).await?.into();
            self.read += buffer.len();
            *all_read = buffer.len() < limit;
        }
    }

    /// The last place of the walk or row that was sent.
    fn sent_last(&self) -> Option<Key> {
        match self.at.walk {
            Some(walk) => walk.after,
            None => self.at.sub,
        }
    }

    fn progress(&mut self, key: Key) {
        match &mut self.at.walk {
            Some(walk) => walk.after = Some(key),
            None => self.at.sub = Some(key),
        }
    }

    /// Sends one thing, unless an earlier page did or the phone does not want its type.
    fn emit(&mut self, key: Key, kind: Type, id: Uuid, sent: Sent) -> Flow {
        if self.sent_last().is_some_and(|last| key <= last) {
            return Flow::Continue(());
        }
        self.progress(key);
        let types = self.at.walk.map_or(self.wanted.types, |walk| walk.types);
        // What lies below a removed root goes with it, whichever types the phone carries.
        let wanted = types.has(kind) || (kind.is_root() && matches!(sent, Sent::Removed(..)));
        if wanted {
            self.items.push(Item { position: self.at, kind, id, sent });
        }
        self.flow()
    }
}

/// After everything of a root.
const LAST: Part = Part::Child(Type::ALL[Type::ALL.len() - 1], Uuid::max());

#[cfg(test)]
mod tests;
