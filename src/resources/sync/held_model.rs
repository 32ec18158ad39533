//! Who decides on a held fact besides the admins of the club.

use crate::platform::ids::AthleteId;

/// What is to be decided.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Wanted {
    /// To file it.
    Accept,
    /// To reject it, or to take it back.
    Reject,
}

/// How somebody who is no admin stands to a held fact.
#[derive(Clone, Copy, Debug)]
#[allow(clippy::struct_excessive_bools)] // each is a question of its own
pub struct Claim {
    /// Whether they recorded it.
    pub recorded: bool,
    /// Whether they recorded the correction that stands, when it is a second one.
    pub rival: bool,
    /// Whether it is held only because it is a second correction.
    pub second: bool,
    /// Whether they may record such a fact now.
    pub records: bool,
    /// The athlete whom it is about.
    pub athlete: Option<AthleteId>,
}

/// Whether a fact is somebody's to decide on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum May {
    /// It is.
    Yes,
    /// It is as long as they see this athlete.
    Seeing(AthleteId),
    /// It is not, and they learn nothing of it.
    No,
}

impl Claim {
    /// Their own fact is theirs to take back; a second correction both coaches' to decide.
    pub fn may(self, wanted: Wanted) -> May {
        if self.recorded && wanted == Wanted::Reject {
            return May::Yes;
        }
        match self.athlete {
            Some(athlete) if self.second && self.records && (self.recorded || self.rival) => May::Seeing(athlete),
            _ => May::No,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ones_own_is_taken_back_and_a_second_correction_settled_by_either_coach() {
        let athlete = AthleteId::new();
        let nobody = Claim { recorded: false, rival: false, second: true, records: true, athlete: Some(athlete) };
        let (mine, rival) = (Claim { recorded: true, ..nobody }, Claim { rival: true, ..nobody });
        assert_eq!([Wanted::Accept, Wanted::Reject].map(|wanted| nobody.may(wanted)), [May::No; 2]);
        assert_eq!([mine, rival].map(|one| one.may(Wanted::Accept)), [May::Seeing(athlete); 2]);
        assert_eq!([mine, rival].map(|one| one.may(Wanted::Reject)), [May::Yes, May::Seeing(athlete)]);
        for lacking in [
            Claim { second: false, ..mine },
            Claim { records: false, ..mine },
            Claim { athlete: None, ..mine },
            Claim { records: false, ..rival },
        ] {
            assert_eq!(lacking.may(Wanted::Accept), May::No, "{lacking:?}");
        }
    }
}
