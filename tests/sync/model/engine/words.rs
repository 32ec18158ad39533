//! What the server and the phones of the model speak of. Ids, operations and members are small numbers.

/// A record.
pub type Id = u32;
/// A change number.
pub type Seq = i64;
/// An operation; also the value that it writes, so that each written value is one of a kind.
pub type OpId = u32;
/// A set of scopes.
pub type Scopes = u8;
/// A set of types.
pub type Types = u8;

/// The groups of the club.
pub const GROUPS: Scopes = 0b0_0111;
/// The scope of the club-wide records.
pub const CLUB: Scopes = 0b0_1000;
/// The scope of an admin: every group.
pub const ALL: Scopes = 0b1_0000;
/// Every scope by itself.
pub const EACH: [Scopes; 5] = [1, 2, 4, CLUB, ALL];
/// Every type.
pub const EVERY_TYPE: Types = 0b111_1111;
/// Members of a club: two coaches and a viewer, who may not record.
pub const MEMBERS: usize = 3;
pub const VIEWER: usize = 2;

/// A type: roots first, then what lies below them in the order in which it is sent.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Kind {
    /// Club-wide, optimistic.
    Venue,
    /// Merged by field groups; the third group is the groups that the athlete is in.
    Athlete,
    /// Optimistic.
    Session,
    /// Append-only, may be deleted; below an athlete.
    Measurement,
    /// A set; below an athlete.
    Attendance,
    /// Optimistic; below a session.
    Plan,
    /// Append-only; below an athlete.
    Run,
}

impl Kind {
    pub fn is_root(self) -> bool {
        matches!(self, Self::Venue | Self::Athlete | Self::Session)
    }

    pub fn is_fact(self) -> bool {
        matches!(self, Self::Measurement | Self::Run)
    }

    pub fn bit(self) -> Types {
        1 << self as u8
    }
}

/// A record as the database keeps it. A deleted one stays as an empty stub.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Record {
    pub kind: Kind,
    pub id: Id,
    /// The record it belongs to; itself for a root.
    pub root: Id,
    pub rev: Seq,
    pub alive: bool,
    /// The operation that last wrote each field group; the first alone for all but athletes.
    pub data: [OpId; 3],
    pub group_rev: [Seq; 3],
    pub scopes: Scopes,
    /// The day that the phone's clock claimed.
    pub claimed: i32,
}

impl Record {
    /// What a phone sees of it.
    pub fn body(&self) -> Body {
        Body { kind: self.kind, root: self.root, data: self.data, scopes: self.scopes & GROUPS, claimed: self.claimed }
    }
}

/// The record as it is sent.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Body {
    pub kind: Kind,
    pub root: Id,
    pub data: [OpId; 3],
    pub scopes: Scopes,
    pub claimed: i32,
}

/// One item of a push, or one act of an admin.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Item {
    pub op: OpId,
    /// What it writes.
    pub value: OpId,
    pub kind: Kind,
    pub id: Id,
    pub act: Act,
    /// What the editor saw in each field group; no part of the protocol.
    pub saw: [OpId; 3],
    pub claimed: i32,
    /// Whether the service refuses it as broken.
    pub poison: bool,
}

#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Act {
    /// PUT with `if_none_match`.
    Create {
        root: Id,
        scopes: Scopes,
    },
    /// PUT of something recorded.
    Fact {
        root: Id,
    },
    /// PATCH of an athlete with `base_rev`: a set of field groups, and the athlete's groups.
    Patch {
        base: Option<Seq>,
        groups: u8,
        scopes: Scopes,
    },
    /// PUT with `if_match`.
    Replace {
        if_match: Option<Seq>,
    },
    Delete {
        if_match: Option<Seq>,
    },
    /// PUT of a pair.
    Attend {
        athlete: Id,
        session: Id,
    },
    /// An admin sets what a member sees; nothing when they leave.
    See {
        member: usize,
        wanted: Scopes,
    },
    /// An admin decides on a held fact: files it below an athlete, or rejects it.
    Decide {
        to: Option<Id>,
    },
}

impl Item {
    /// Whether it records a fact.
    pub fn is_fact(&self) -> bool {
        matches!(self.act, Act::Fact { .. })
    }

    /// The day that it gives a session: some are moved to one long ago.
    pub fn day(&self) -> i32 {
        if self.op.is_multiple_of(3) { self.claimed - 1_000 } else { self.claimed }
    }

    /// The version it names.
    pub fn named(&self) -> Option<Seq> {
        match self.act {
            Act::Patch { base, .. } => base,
            Act::Replace { if_match } | Act::Delete { if_match } => if_match,
            _ => None,
        }
    }

    /// Names another version.
    pub fn rename(&mut self, rev: Seq) {
        match &mut self.act {
            Act::Patch { base: version, .. }
            | Act::Replace { if_match: version }
            | Act::Delete { if_match: version } => {
                *version = Some(rev);
            }
            _ => {}
        }
    }

    /// The field groups that it writes.
    pub fn groups(&self) -> u8 {
        match self.act {
            Act::Patch { groups, .. } => groups,
            Act::Create { .. } | Act::Delete { .. } if self.kind == Kind::Athlete => 0b111,
            Act::See { .. } | Act::Decide { .. } => 0,
            _ => 0b001,
        }
    }

    /// The records it needs.
    pub fn needs(&self) -> Vec<Id> {
        match self.act {
            Act::Fact { root } => vec![root],
            Act::Create { root, .. } if !self.kind.is_root() => vec![root],
            Act::Attend { athlete, session } => vec![athlete, session],
            _ => Vec::new(),
        }
    }

    /// Whether it should bring a record into being.
    pub fn creates(&self) -> bool {
        matches!(self.act, Act::Create { .. } | Act::Fact { .. })
    }

    /// The item as it is compared with a repetition: versions may follow an earlier item, the rest stays.
    pub fn digest(&self, with_version: bool) -> Self {
        let mut one = self.clone();
        if one.named().is_some() && !with_version {
            one.rename(0);
        }
        one.saw = [0; 3];
        one
    }
}

/// What an item was answered.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Outcome {
    pub status: u16,
    pub rev: Seq,
    /// The field groups that were written.
    pub applied: u8,
    /// The stored record, when the version was another.
    pub current: Option<(Seq, Body)>,
}

impl Outcome {
    pub fn of(status: u16) -> Self {
        Self { status, rev: 0, applied: 0, current: None }
    }
}

/// The groups of a set of field groups.
pub fn each(groups: u8) -> impl Iterator<Item = usize> {
    (0..3).filter(move |group| groups & (1 << group) != 0)
}

/// The id of the pair of an athlete and a session; other ids are below 2^16.
pub fn pair(athlete: Id, session: Id) -> Id {
    (session << 16) | athlete
}

/// Gives the version that an item led to, to the later items that were made on the same version of the same record:
/// those that write only field groups which the item wrote. Somebody else may have changed the others meanwhile.
pub fn follow<'a>(later: impl Iterator<Item = &'a mut Item>, item: &Item, outcome: &Outcome, all: bool) {
    let Some(named) = item.named() else { return };
    let applied = if outcome.status < 300 { item.groups() } else { outcome.applied };
    for other in later.filter(|other| other.id == item.id && other.named() == Some(named)) {
        if all || (applied != 0 && other.groups() & !applied == 0) {
            other.rename(outcome.rev);
        }
    }
}
