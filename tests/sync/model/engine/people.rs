//! What people do: record, edit, and act as an admin.

use super::laws::ADMIN;
use super::phone::Phone;
use super::push::Who;
use super::words::{Act, CLUB, GROUPS, Id, Item, Kind, MEMBERS, VIEWER, pair};
use super::world::{Event, Happens, World};

impl World {
    /// A phone on which something is recorded: not one that only reads.
    fn writer(&self, club: usize, event: Event) -> usize {
        usize::from(event.a) % self.phones[club].iter().filter(|phone| phone.member != VIEWER).count()
    }

    pub fn record(&mut self, club: usize, event: Event) {
        let (at, day, b) = (self.writer(club, event), self.server.day, usize::from(event.b));
        let phone = &mut self.phones[club][at];
        let made = |phone: &Phone, kind| {
            let items = phone.outbox.iter().filter(move |item| item.kind == kind && item.creates());
            items.map(|item| item.id).collect::<Vec<Id>>()
        };
        let scopes = u8::try_from(b % 7).unwrap() + 1;
        match event.what {
            Happens::Run | Happens::Measure | Happens::Poison => {
                let kind = if event.what == Happens::Measure { Kind::Measurement } else { Kind::Run };
                let mut roots = phone.known(&[Kind::Athlete]);
                roots.extend(made(phone, Kind::Athlete));
                // One that nobody has, and the club's first ones, which this member may not see.
                roots.extend([9, (ADMIN << 12) | 4, (ADMIN << 12) | 5]);
                let root = roots[b % roots.len()];
                if event.what == Happens::Poison && b % 3 == 0 {
                    phone.act(Kind::Athlete, None, Act::Create { root: 0, scopes }, day, true);
                    let parent = phone.outbox.last().map_or(0, |item| item.id);
                    phone.act(Kind::Run, None, Act::Fact { root: parent }, day, false);
                } else {
                    phone.act(kind, None, Act::Fact { root }, day, event.what == Happens::Poison);
                }
            }
            Happens::NewPlan => {
                let mut roots = phone.known(&[Kind::Session]);
                roots.extend(made(phone, Kind::Session));
                if let Some(root) = pick(&roots, b) {
                    phone.act(Kind::Plan, None, Act::Create { root, scopes: 0 }, day, false);
                }
            }
            Happens::Clash => phone.clash(b),
            what => {
                let kind = match what {
                    Happens::NewAthlete => Kind::Athlete,
                    Happens::NewSession => Kind::Session,
                    _ => Kind::Venue,
                };
                phone.act(kind, None, Act::Create { root: 0, scopes }, day, false);
            }
        }
    }

    pub fn edit(&mut self, club: usize, event: Event) {
        let (at, day, b) = (self.writer(club, event), self.server.day, usize::from(event.b));
        let phone = &mut self.phones[club][at];
        let version = (b % 23 != 0).then_some(0);
        match event.what {
            Happens::Patch => {
                if let Some(id) = pick(&phone.known(&[Kind::Athlete]), b) {
                    let groups = [1, 2, 4, 1, 2, 3][b / 7 % 6];
                    let scopes = u8::try_from(b / 3 % 7).unwrap() + 1;
                    phone.act(Kind::Athlete, Some(id), Act::Patch { base: version, groups, scopes }, day, false);
                }
            }
            Happens::Attend => {
                let (athletes, sessions) = (phone.known(&[Kind::Athlete]), phone.known(&[Kind::Session]));
                if let (Some(athlete), Some(session)) = (pick(&athletes, b), pick(&sessions, b / 5)) {
                    let id = Some(pair(athlete, session));
                    phone.act(Kind::Attendance, id, Act::Attend { athlete, session }, day, false);
                }
            }
            what => {
                let kinds: &[Kind] = match what {
                    Happens::Replace => &[Kind::Session, Kind::Venue, Kind::Plan],
                    Happens::Leave => &[Kind::Attendance],
                    _ if b % 3 == 0 => &[Kind::Athlete, Kind::Session, Kind::Venue],
                    _ => &[Kind::Plan, Kind::Measurement],
                };
                let Some(id) = pick(&phone.known(kinds), b / 3) else { return };
                let act = match what {
                    Happens::Replace => Act::Replace { if_match: version },
                    _ => Act::Delete { if_match: version },
                };
                phone.act(phone.copies[&id].body.kind, Some(id), act, day, false);
            }
        }
    }

    /// An act of an admin begins.
    pub fn admin(&mut self, club: usize, kind: Kind, id: Id, act: Act) {
        self.admin_ops[club] += 1;
        let op = (ADMIN << 12) | self.admin_ops[club];
        let id = if id == 0 { op } else { id };
        let item = Item { op, value: op, kind, id, act, saw: [0; 3], claimed: self.server.day, poison: false };
        self.server.push(club, Who::Admin, vec![item], None);
    }

    pub fn admins(&mut self, club: usize, event: Event) {
        let b = usize::from(event.b);
        let records = &self.server.clubs[club].records;
        let known = |kinds: &[Kind]| {
            let live = records.values().filter(|one| one.alive && kinds.contains(&one.kind));
            live.map(|one| one.id).collect::<Vec<Id>>()
        };
        let scopes = u8::try_from(b % 7).unwrap() + 1;
        match event.what {
            Happens::See => {
                let member = usize::from(event.a) % MEMBERS;
                let wanted = if b % 11 == 0 { 0 } else { CLUB | (scopes & GROUPS) };
                self.admin(club, Kind::Venue, 0, Act::See { member, wanted });
            }
            Happens::AdminNew => {
                let kind = [Kind::Athlete, Kind::Athlete, Kind::Session, Kind::Venue][b / 7 % 4];
                self.admin(club, kind, 0, Act::Create { root: 0, scopes });
            }
            Happens::AdminMove | Happens::AdminPatch => {
                let groups = if event.what == Happens::AdminMove { 0b100 } else { 1 << (b % 2) };
                if let Some(id) = pick(&known(&[Kind::Athlete]), b / 7) {
                    self.admin(club, Kind::Athlete, id, Act::Patch { base: None, groups, scopes });
                }
            }
            Happens::AdminDelete => {
                let kinds: &[Kind] = match b % 4 {
                    0 => &[Kind::Athlete, Kind::Session, Kind::Venue],
                    _ => &[Kind::Measurement, Kind::Attendance, Kind::Plan],
                };
                if let Some(id) = pick(&known(kinds), b / 4) {
                    let kind = records[&id].kind;
                    self.admin(club, kind, id, Act::Delete { if_match: None });
                }
            }
            _ => {
                let open = self.server.clubs[club].held.iter().filter(|(_, held)| held.outcome.is_none());
                let open: Vec<Id> = open.map(|(id, _)| *id).collect();
                let to = pick(&known(&[Kind::Athlete]), b / 4).filter(|_| b % 4 != 0);
                if let Some(id) = pick(&open, b) {
                    self.admin(club, Kind::Run, id, Act::Decide { to });
                }
            }
        }
    }
}

fn pick(ids: &[Id], n: usize) -> Option<Id> {
    ids.get(n % ids.len().max(1)).copied()
}
