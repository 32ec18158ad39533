//! Change numbers: a counter per club, raised as the last thing before commit, and the log of what changed.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use sqlx::PgConnection;
use uuid::Uuid;

use super::StoreError;
use crate::platform::ids::{AccountId, AthleteId, ClubId, SessionId};

macro_rules! kinds {
    ($($(#[$doc:meta])* $variant:ident, $word:literal, $sql:literal;)*) => {
        /// A synced type.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
        pub enum Kind {
            $($(#[$doc])* $variant,)*
        }

        impl Kind {
            /// The word in the change log.
            pub const fn as_str(self) -> &'static str {
                match self { $(Self::$variant => $word,)* }
            }

            /// Writes the new numbers into the changed rows of one type; `ids` and `revs` run in parallel.
            async fn set_revs(
                self,
                conn: &mut PgConnection,
                club: ClubId,
                ids: &[Uuid],
                revs: &[i64],
            ) -> Result<(), sqlx::Error> {
                match self {
                    $(Self::$variant => {
                        sqlx::query!($sql, club.0, ids, revs).execute(conn).await?;
                    })*
                }
                Ok(())
            }
        }
    };
}

kinds! {
    /// The club and its settings.
    Club, "club", "update clubs x set rev = u.rev from unnest($2::uuid[], $3::bigint[]) as u (id, rev) where x.id = $1 and x.id = u.id";
    /// A membership.
    Member, "member", "update members x set rev = u.rev from unnest($2::uuid[], $3::bigint[]) as u (id, rev) where x.club_id = $1 and x.id = u.id";
    /// A grant that begins.
    Grant, "grant", "update scope_grant x set from_seq = u.rev from unnest($2::uuid[], $3::bigint[]) as u (id, rev) where x.club_id = $1 and x.id = u.id";
    /// A grant that ends.
    Revoke, "revoke", "update scope_grant x set to_seq = u.rev from unnest($2::uuid[], $3::bigint[]) as u (id, rev) where x.club_id = $1 and x.id = u.id";
    /// A training group.
    Group, "group", "update groups x set rev = u.rev from unnest($2::uuid[], $3::bigint[]) as u (id, rev) where x.club_id = $1 and x.id = u.id";
    /// An athlete.
    Athlete, "athlete", "update athletes x set rev = u.rev,
        name_rev = case when x.name_rev = -1 then u.rev else x.name_rev end,
        birth_rev = case when x.birth_rev = -1 then u.rev else x.birth_rev end,
        contact_rev = case when x.contact_rev = -1 then u.rev else x.contact_rev end,
        technique_rev = case when x.technique_rev = -1 then u.rev else x.technique_rev end,
        status_rev = case when x.status_rev = -1 then u.rev else x.status_rev end,
        groups_rev = case when x.groups_rev = -1 then u.rev else x.groups_rev end
        from unnest($2::uuid[], $3::bigint[]) as u (id, rev) where x.club_id = $1 and x.id = u.id";
    /// A measurement of an athlete.
    Measurement, "measurement", "update measurements x set rev = u.rev from unnest($2::uuid[], $3::bigint[]) as u (id, rev) where x.club_id = $1 and x.id = u.id";
    /// A venue.
    Venue, "venue", "update venues x set rev = u.rev from unnest($2::uuid[], $3::bigint[]) as u (id, rev) where x.club_id = $1 and x.id = u.id";
    /// A stock of barriers.
    Equipment, "equipment", "update equipment x set rev = u.rev from unnest($2::uuid[], $3::bigint[]) as u (id, rev) where x.club_id = $1 and x.id = u.id";
    /// A reusable lane recipe.
    BarrierConfiguration, "barrier_configuration", "update barrier_configurations x set rev = u.rev from unnest($2::uuid[], $3::bigint[]) as u (id, rev) where x.club_id = $1 and x.id = u.id";
    /// A training session.
    Session, "session", "update sessions x set rev = u.rev from unnest($2::uuid[], $3::bigint[]) as u (id, rev) where x.club_id = $1 and x.id = u.id";
    /// Who came to a session.
    Attendance, "attendance", "update attendance x set rev = u.rev from unnest($2::uuid[], $3::bigint[]) as u (id, rev) where x.club_id = $1 and x.id = u.id";
    /// A run.
    Run, "run", "update runs x set rev = u.rev from unnest($2::uuid[], $3::bigint[]) as u (id, rev) where x.club_id = $1 and x.id = u.id";
    /// An assessment of technique.
    Assessment, "assessment", "update assessments x set rev = u.rev from unnest($2::uuid[], $3::bigint[]) as u (id, rev) where x.club_id = $1 and x.id = u.id";
    /// A recommendation that was decided.
    Recommendation, "recommendation", "update recommendations x set rev = u.rev from unnest($2::uuid[], $3::bigint[]) as u (id, rev) where x.club_id = $1 and x.id = u.id";
    /// A lane plan.
    LanePlan, "lane_plan", "update lane_plans x set rev = u.rev from unnest($2::uuid[], $3::bigint[]) as u (id, rev) where x.club_id = $1 and x.id = u.id";
    /// A club's own age group.
    AgeGroup, "age_group", "update age_groups x set rev = u.rev from unnest($2::uuid[], $3::bigint[]) as u (id, rev) where x.club_id = $1 and x.id = u.id";
    /// A club's own competition specification.
    CompetitionSpec, "competition_spec", "update competition_specs x set rev = u.rev from unnest($2::uuid[], $3::bigint[]) as u (id, rev) where x.club_id = $1 and x.id = u.id";
    /// A race test with its entries, heats and lanes.
    RaceTest, "race_test", "update race_tests x set rev = u.rev from unnest($2::uuid[], $3::bigint[]) as u (id, rev) where x.club_id = $1 and x.id = u.id";
    /// An entry of a race test.
    RaceEntry, "race_entry", "update race_entries x set rev = u.rev from unnest($2::uuid[], $3::bigint[]) as u (id, rev) where x.club_id = $1 and x.id = u.id";
    /// A result of a race test.
    RaceResult, "race_result", "update race_results x set rev = u.rev from unnest($2::uuid[], $3::bigint[]) as u (id, rev) where x.club_id = $1 and x.id = u.id";
    /// A report of pain, illness or injury, a restriction or a clearance.
    WellbeingRecord, "wellbeing_record", "update wellbeing_records x set rev = u.rev from unnest($2::uuid[], $3::bigint[]) as u (id, rev) where x.club_id = $1 and x.id = u.id";
}

/// What the log says of a session whose day changed.
pub const REDATE: &str = "redate";

/// A record by kind and id: clients choose ids, so an id alone says nothing about what it names.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Named {
    /// Its kind.
    pub kind: Kind,
    /// Its id, one of a kind among records of the kind alone.
    pub id: Uuid,
}

impl Named {
    /// The record of a kind with an id.
    pub fn new(kind: Kind, id: impl Into<Uuid>) -> Self {
        Self { kind, id: id.into() }
    }
}

/// Records that others hang from, or that have groups, name themselves.
macro_rules! named {
    ($($id:ident: $kind:ident),+) => {$(
        impl From<$id> for Named {
            fn from(id: $id) -> Self {
                Self::new(Kind::$kind, id)
            }
        }
    )+};
}

named!(AthleteId: Athlete, SessionId: Session, AccountId: Member);

/// One row of the log to come.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Change {
    record: Named,
    removed: bool,
    redated: bool,
    root: Named,
    scopes: Option<Moved>,
}

/// The scopes of a root before and after a change.
type Moved = (Vec<Uuid>, Vec<Uuid>);

impl Change {
    /// A record that is its own root was created or changed, its scopes were not.
    pub fn put(kind: Kind, id: impl Into<Uuid>) -> Self {
        let record = Named::new(kind, id);
        Self { record, removed: false, redated: false, root: record, scopes: None }
    }

    /// A record that is its own root was deleted.
    pub fn remove(kind: Kind, id: impl Into<Uuid>) -> Self {
        Self { removed: true, ..Self::put(kind, id) }
    }

    /// The record belongs to this root (runs, assessments and measurements follow their athlete).
    #[must_use]
    pub fn under(mut self, root: impl Into<Named>) -> Self {
        self.root = root.into();
        self
    }

    /// The scopes of a root changed, which moves it into or out of sight.
    #[must_use]
    pub fn scopes(mut self, before: Vec<Uuid>, after: Vec<Uuid>) -> Self {
        self.scopes = Some((before, after));
        self
    }

    /// The athlete whom the change erases, if it does.
    pub(super) fn erased(&self) -> Option<Uuid> {
        (self.removed && self.record.kind == Kind::Athlete).then_some(self.record.id)
    }

    /// The day of a session changed, and with it that of everything recorded in it.
    #[must_use]
    pub fn redated(mut self) -> Self {
        self.redated = true;
        self
    }

    fn op(&self) -> &'static str {
        match (self.record.kind, self.removed) {
            (Kind::Grant, _) => "grant",
            (Kind::Revoke, _) => "revoke",
            (_, true) => "remove",
            (_, false) if self.redated => REDATE,
            (_, false) => "put",
        }
    }
}

/// That an edit was carried out; its version is filled in at the commit.
#[derive(Clone, Copy, Debug)]
pub struct Receipt {
    /// The edit.
    pub op_id: Uuid,
    /// The record.
    pub record: Named,
    /// The status it was answered with.
    pub status: u16,
    /// The version when the commit does not change the record.
    pub rev: i64,
}

/// The change numbers a commit gave, by record.
#[derive(Debug, Default)]
pub struct Revs(HashMap<Named, i64>);

impl Revs {
    /// The number of a record; `before` when the commit did not change it.
    pub fn of(&self, kind: Kind, id: impl Into<Uuid>, before: i64) -> i64 {
        self.0.get(&Named::new(kind, id)).copied().unwrap_or(before)
    }

    /// The highest number that was given.
    pub(super) fn last(&self) -> i64 {
        self.0.values().copied().max().unwrap_or(0)
    }
}

/// How far the counter jumps for each life of the database before this one: beyond whatever a lost history gave, and
/// elsewhere each time when a copy is restored twice.
const JUMP: i64 = 1 << 20;

/// Raises the counter; none when it still counts for an earlier life of the database.
async fn raise(conn: &mut PgConnection, club: ClubId, life: i32, count: i64) -> Result<Option<i64>, StoreError> {
    let last = sqlx::query_scalar!(
        "update club_clock x set seq = x.seq + $2 where x.club_id = $1 and x.epoch >= $3 returning seq",
        club.0,
        count,
        life
    )
    .fetch_optional(conn)
    .await?;
    Ok(last)
}

/// Takes the club into this life of the database, and notes the last number that it shares with the one before.
async fn fork(conn: &mut PgConnection, club: ClubId, life: i32) -> Result<(), StoreError> {
    let jump = JUMP * i64::from(life);
    let forked = sqlx::query_scalar!(
        r#"
        update club_clock x
        set seq = x.seq + $3, epoch = $2
        where x.club_id = $1 and x.epoch < $2
        returning x.seq
        "#,
        club.0,
        life,
        jump
    )
    .fetch_optional(&mut *conn)
    .await?;
    if let Some(seq) = forked {
        sqlx::query!(
            "insert into club_epoch as x (club_id, epoch, fork_seq) values ($1, $2, $3)",
            club.0,
            life,
            seq - jump
        )
        .execute(conn)
        .await?;
    }
    Ok(())
}

/// The records of changes, and the athletes whom they are or belong to.
pub(super) fn named(changes: &[Change]) -> (Vec<Uuid>, Vec<Uuid>) {
    let records: BTreeSet<Uuid> = changes.iter().map(|change| change.record.id).collect();
    let athletes: BTreeSet<Uuid> =
        changes.iter().filter(|change| change.root.kind == Kind::Athlete).map(|change| change.root.id).collect();
    (records.difference(&athletes).copied().collect(), athletes.into_iter().collect())
}

/// Raises the counter by the number of changes: each with its number.
async fn take<'c>(
    conn: &mut PgConnection,
    (club, life): (ClubId, i32),
    changes: &'c [Change],
) -> Result<Vec<(i64, &'c Change)>, StoreError> {
    let count = i64::try_from(changes.len()).unwrap_or(i64::MAX);
    let last = match raise(conn, club, life, count).await? {
        Some(last) => last,
        None => {
            fork(conn, club, life).await?;
            raise(conn, club, life, count).await?.ok_or(StoreError::NotFound("club"))?
        }
    };
    Ok((last - count + 1..=last).zip(changes).collect())
}

/// Raises the counter by the number of changes and writes the log, for rows that are still to be written; the numbers in the order of
/// the changes.
pub(super) async fn announce(
    conn: &mut PgConnection,
    (club, life): (ClubId, i32),
    changes: &[Change],
) -> Result<Vec<i64>, StoreError> {
    let numbered = take(conn, (club, life), changes).await?;
    log(conn, club, &numbered).await?;
    Ok(numbered.into_iter().map(|(seq, _)| seq).collect())
}

/// Raises the counter by the number of changes, stamps the rows and writes the log; the caller commits next.
pub(super) async fn number(
    conn: &mut PgConnection,
    (club, life): (ClubId, i32),
    changes: &[Change],
) -> Result<Revs, StoreError> {
    let numbered = take(conn, (club, life), changes).await?;
    // In a fixed order, so that every commit locks the tables one after the other in the same way.
    let mut by_kind: BTreeMap<Kind, BTreeMap<Uuid, i64>> = BTreeMap::new();
    let mut revs = Revs::default();
    for (seq, change) in &numbered {
        by_kind.entry(change.record.kind).or_default().insert(change.record.id, *seq);
        revs.0.insert(change.record, *seq);
    }
    for (kind, last) in by_kind {
        let (ids, seqs): (Vec<Uuid>, Vec<i64>) = last.into_iter().unzip();
        kind.set_revs(conn, club, &ids, &seqs).await?;
    }
    log(conn, club, &numbered).await?;
    Ok(revs)
}

/// Fills versions and statuses into the receipts of the edits.
pub(super) async fn complete(
    conn: &mut PgConnection,
    club: ClubId,
    receipts: &[Receipt],
    given: &Revs,
) -> Result<(), StoreError> {
    if receipts.is_empty() {
        return Ok(());
    }
    let ops: Vec<Uuid> = receipts.iter().map(|receipt| receipt.op_id).collect();
    let revs: Vec<i64> =
        receipts.iter().map(|receipt| given.of(receipt.record.kind, receipt.record.id, receipt.rev)).collect();
    let statuses: Vec<i16> = receipts.iter().map(|receipt| i16::try_from(receipt.status).unwrap_or(200)).collect();
    sqlx::query!(
        r#"
        update op_receipt x
        set rev = u.rev, status = u.status
        from unnest($2::uuid[], $3::bigint[], $4::smallint[]) as u (op_id, rev, status)
        where x.club_id = $1 and x.op_id = u.op_id
        "#,
        club.0,
        &ops,
        &revs,
        &statuses
    )
    .execute(conn)
    .await?;
    Ok(())
}

/// An array as SQL writes it; arrays of arrays, which SQL has only with equal lengths, go as texts.
fn array(ids: &[Uuid]) -> String {
    let ids: Vec<String> = ids.iter().map(Uuid::to_string).collect();
    format!("{{{}}}", ids.join(","))
}

/// Writes the log rows in one statement.
async fn log(conn: &mut PgConnection, club: ClubId, numbered: &[(i64, &Change)]) -> Result<(), StoreError> {
    let changes = || numbered.iter().map(|(_, change)| *change);
    let seqs: Vec<i64> = numbered.iter().map(|(seq, _)| *seq).collect();
    let kinds: Vec<String> = changes().map(|change| change.record.kind.as_str().to_owned()).collect();
    let ops: Vec<String> = changes().map(|change| change.op().to_owned()).collect();
    let ids: Vec<Uuid> = changes().map(|change| change.record.id).collect();
    let root_kinds: Vec<String> = changes().map(|change| change.root.kind.as_str().to_owned()).collect();
    let roots: Vec<Uuid> = changes().map(|change| change.root.id).collect();
    let scopes = |side: fn(&Moved) -> &Vec<Uuid>| -> Vec<Option<String>> {
        changes().map(|change| change.scopes.as_ref().map(|both| array(side(both)))).collect()
    };
    let (before, after) = (scopes(|both| &both.0), scopes(|both| &both.1));
    sqlx::query!(
        r#"
        insert into club_change as x
          (club_id, seq, kind, op, entity_id, root_kind, root_id, before_scopes, after_scopes, at)
        select c.id, u.seq, u.kind, u.op, u.entity_id, u.root_kind, u.root_id, u.before_scopes::uuid[],
          u.after_scopes::uuid[], $10
        from clubs c
        cross join unnest($2::bigint[], $3::text[], $4::text[], $5::uuid[], $6::text[], $7::uuid[], $8::text[], $9::text[])
          as u (seq, kind, op, entity_id, root_kind, root_id, before_scopes, after_scopes)
        where c.id = $1
        "#,
        club.0,
        &seqs,
        &kinds,
        &ops,
        &ids,
        &root_kinds,
        &roots,
        &before as &[Option<String>],
        &after as &[Option<String>],
        chrono::Utc::now()
    )
    .execute(conn)
    .await?;
    Ok(())
}
