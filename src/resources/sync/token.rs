//! The token of a phone: how far it has read. Opaque to clients, bound to club and member, kept nowhere.

use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use chrono::NaiveDate;
use uuid::Uuid;

use super::model::{Type, Types};
use super::places::{Key, Part, Position, RootId, Walk};
use crate::platform::ids::{AccountId, ClubId};
use crate::platform::token::Keys;

/// What every token begins with.
const PREFIX: &str = "st1.";

/// Added to the version when the groups follow: tokens of phones that carry everything are as they were.
const GROUPS: u16 = 1 << 15;
/// Added when history is cut by the day that records are about; before, it was cut by when they were stored.
const BY_DAY: u16 = 1 << 14;

/// What a token says.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Token {
    /// The life of the database that gave the numbers.
    pub epoch: i32,
    /// The count of forced full copies of the device when it was given.
    pub generation: i32,
    /// The types that the phone carries.
    pub types: Types,
    /// The groups that the phone carries, beside what belongs to the whole club; all when absent.
    pub groups: Option<Vec<Uuid>>,
    /// The version of the records' shapes.
    pub schema: u16,
    /// The day from which recorded facts are sent.
    pub history_from: Option<NaiveDate>,
    /// How far the phone has read.
    pub position: Position,
}

fn context(club: ClubId, member: AccountId) -> Vec<u8> {
    [club.0.as_bytes().as_slice(), member.0.as_bytes()].concat()
}

fn put_key(out: &mut Vec<u8>, key: Option<Key>) {
    let Some(key) = key else { return out.push(0) };
    // 1 to 3 were keys that named their root by id alone.
    match key.part {
        Part::Reset => out.push(4),
        Part::Root => out.push(5),
        Part::Child(kind, id) => {
            out.push(6);
            out.extend(kind.rank().to_be_bytes());
            out.extend(id.as_bytes());
        }
        Part::Dated(kind, id) => {
            out.push(7);
            out.extend(kind.rank().to_be_bytes());
            out.extend(id.as_bytes());
        }
    }
    out.extend(key.root.kind.rank().to_be_bytes());
    out.extend(key.root.id.as_bytes());
}

/// Takes fixed numbers of bytes from the front.
struct Bytes<'a>(&'a [u8]);

impl Bytes<'_> {
    fn take<const N: usize>(&mut self) -> Option<[u8; N]> {
        let (head, rest) = self.0.split_first_chunk::<N>()?;
        self.0 = rest;
        Some(*head)
    }

    fn id(&mut self) -> Option<Uuid> {
        self.take::<16>().map(Uuid::from_bytes)
    }

    fn types(&mut self) -> Option<Types> {
        self.take().map(u32::from_be_bytes).and_then(Types::of_bits)
    }

    #[allow(clippy::option_option)] // no key is not the same as a broken one
    fn key(&mut self) -> Option<Option<Key>> {
        let [tag] = self.take()?;
        let part = match tag {
            0 => return Some(None),
            1 | 4 => Part::Reset,
            2 | 5 => Part::Root,
            3 | 6 => Part::Child(self.kind()?, self.id()?),
            7 => Part::Dated(self.kind()?, self.id()?),
            _ => return None,
        };
        if tag < 4 {
            // It says no longer where to go on; from the start of the row or the copy, what was sent comes twice.
            return self.id().map(|_| None);
        }
        let kind = self.kind().filter(|kind| kind.is_root())?;
        Some(Some(Key { root: RootId { id: self.id()?, kind }, part }))
    }

    fn groups(&mut self) -> Option<Vec<Uuid>> {
        let [count] = self.take()?;
        (0..count).map(|_| self.id()).collect()
    }

    fn walk(&mut self, of_groups: bool) -> Option<Walk> {
        let (types, after) = (self.types()?, self.key()?);
        let groups = if of_groups { u32::from_be_bytes(self.take()?) } else { 0 };
        Some(Walk { types, groups, after })
    }

    fn kind(&mut self) -> Option<Type> {
        self.take().map(i16::from_be_bytes).and_then(Type::of_rank)
    }
}

impl Token {
    /// The token as text for this member of this club.
    pub fn write(&self, keys: &Keys, club: ClubId, member: AccountId) -> String {
        let mut out = Vec::with_capacity(128);
        out.extend(self.epoch.to_be_bytes());
        out.extend(self.generation.to_be_bytes());
        out.extend(self.types.bits().to_be_bytes());
        let groups = if self.groups.is_some() { GROUPS } else { 0 };
        let by_day = if self.history_from.is_some() { BY_DAY } else { 0 };
        out.extend((self.schema | groups | by_day).to_be_bytes());
        if let Some(groups) = &self.groups {
            out.push(u8::try_from(groups.len()).unwrap_or(u8::MAX));
            out.extend(groups.iter().flat_map(Uuid::as_bytes));
        }
        out.extend(self.history_from.map_or(i32::MIN, |day| day.to_epoch_days()).to_be_bytes());
        out.extend(self.position.seq.to_be_bytes());
        put_key(&mut out, self.position.sub);
        if let Some(walk) = self.position.walk {
            out.extend(walk.types.bits().to_be_bytes());
            put_key(&mut out, walk.after);
            if self.groups.is_some() {
                out.extend(walk.groups.to_be_bytes());
            }
        }
        format!("{PREFIX}{}", URL_SAFE_NO_PAD.encode(keys.seal(&context(club, member), &out)))
    }

    /// Reads a token; none when it was not given to this member of this club.
    pub fn read(text: &str, keys: &Keys, club: ClubId, member: AccountId) -> Option<Self> {
        let sealed = URL_SAFE_NO_PAD.decode(text.strip_prefix(PREFIX)?).ok()?;
        let mut bytes = Bytes(keys.open(&context(club, member), &sealed)?);
        let epoch = i32::from_be_bytes(bytes.take()?);
        let generation = i32::from_be_bytes(bytes.take()?);
        let types = bytes.types()?;
        let schema = u16::from_be_bytes(bytes.take()?);
        let groups = if schema & GROUPS == 0 { None } else { Some(bytes.groups()?) };
        let by_day = schema & BY_DAY != 0;
        let schema = schema & !(GROUPS | BY_DAY);
        let history_from = NaiveDate::from_epoch_days(i32::from_be_bytes(bytes.take()?));
        let seq = i64::from_be_bytes(bytes.take()?);
        let sub = bytes.key()?;
        let walk = if bytes.0.is_empty() { None } else { Some(bytes.walk(groups.is_some())?) };
        let position = Position { seq, sub, walk };
        // The copy of an older token holds other records than it would now: it begins again, as if an admin had asked for it.
        let generation = if history_from.is_some() && !by_day { i32::MIN } else { generation };
        Some(Self { epoch, generation, types, groups, schema, history_from, position })
    }
}
