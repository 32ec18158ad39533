//! The server answers a pull: checks the token, reads one snapshot, writes the next token.

use super::club::Club;
use super::flaw::Flaw;
use super::pull::{Ask, BUDGET, Page, Position, Refusal, Token, View, Walk, seal};
use super::server::{Server, Stage};

impl Server {
    /// Answers a pull from one snapshot.
    pub fn pull(&mut self, club: usize, member: usize, ask: &Ask) -> Result<Page, Refusal> {
        if self.clubs[club].now(member) == 0 {
            return Err(Refusal::NotMember);
        }
        let token = self.token(club, member, ask)?;
        let view = View {
            club: &self.clubs[club],
            member,
            types: ask.types,
            history_from: token.history_from,
            flaw: self.flaw,
        };
        let slice = view.slice(token.position, ask.limit, BUDGET);
        let changes = view.fill(&slice.items);
        self.ledger.page(club, &self.clubs[club], member, &slice, &changes);
        let mut token = Token { position: slice.next, types: ask.types, ..token };
        if self.is(Flaw::TornRead) && !slice.more {
            if let Some(index) = self.jobs.iter().position(|job| job.club == club && job.stage == Stage::Commit) {
                self.step(index);
            }
            token.position.seq = self.clubs[club].seq;
        }
        token.seal = seal(&token, club, member, self.flaw);
        Ok(Page { from: ask.token, token, more: slice.more, changes, day: self.day })
    }

    /// Where to read on, checked against the log.
    fn token(&self, index: usize, member: usize, ask: &Ask) -> Result<Token, Refusal> {
        let club = &self.clubs[index];
        let epoch = if self.is(Flaw::OldTokensStay) { club.epoch } else { club.epoch.max(self.life) };
        let Some(mut token) = ask.token else {
            let walk = Some(Walk { types: ask.types, after: None });
            let position = Position { seq: club.seq, sub: None, walk };
            return Ok(Token { epoch, position, types: ask.types, history_from: ask.history_from, seal: 0 });
        };
        if token.seal != seal(&token, index, member, self.flaw) && !self.is(Flaw::TokenUnsealed) {
            return Err(Refusal::Invalid);
        }
        let shared = if token.epoch == epoch { club.seq } else { self.shared(club, token.epoch) };
        if token.position.seq > shared {
            return Err(Refusal::Diverged);
        }
        if token.position.seq + 1 < club.oldest && !self.is(Flaw::RetentionSilent) {
            return Err(Refusal::Expired);
        }
        token.epoch = epoch;
        let added = ask.types & !token.types;
        if added != 0 && !self.is(Flaw::WidenForgets) {
            let types = token.position.walk.map_or(0, |walk| walk.types) | added;
            token.position.walk = Some(Walk { types, after: None });
        }
        Ok(token)
    }

    /// The last number that a token of another epoch may name.
    fn shared(&self, club: &Club, epoch: u32) -> i64 {
        if !self.is(Flaw::OldTokensStay) {
            return -1;
        }
        club.forks.iter().filter(|(later, _)| *later > epoch).map(|(_, shared)| *shared).min().unwrap_or(-1)
    }
}
