//! What was agreed to for an athlete, and what rests on it.

use std::collections::HashMap;

use chrono::{Datelike, NaiveDate};

use crate::platform::db::Audience;
use crate::platform::fault::{Fault, Faults};
use crate::platform::words::words;

words! {
    /// What consent is for.
    Purpose as ConsentPurpose {
        /// Keeping records of training.
        TrainingRecords = "training_records",
        /// Showing the athlete to helpers without an account, by a link.
        SharingWithHelpers = "sharing_with_helpers",
        /// Letting apps of others that act for a member have the athlete's records.
        SharingWithApps = "sharing_with_apps",
    }
}

words! {
    /// What was said.
    Said as ConsentAct {
        /// Consent was given.
        Given = "given",
        /// Consent was withdrawn, or refused.
        Withdrawn = "withdrawn",
    }
}

words! {
    /// Who said it.
    Consenter {
        /// The athlete.
        Athlete = "athlete",
        /// A parent or guardian.
        Guardian = "guardian",
    }
}

impl Purpose {
    /// Every purpose.
    pub const ALL: [Self; 3] = [Self::TrainingRecords, Self::SharingWithHelpers, Self::SharingWithApps];

    /// To whom an athlete is no longer shown once this consent is withdrawn.
    pub const fn opens(self) -> &'static [Audience] {
        match self {
            Self::TrainingRecords => &[Audience::Apps, Audience::Helpers],
            Self::SharingWithHelpers => &[Audience::Helpers],
            Self::SharingWithApps => &[Audience::Apps],
        }
    }

    /// From whom an athlete is withheld. Where nothing was recorded the club goes by another basis, and nothing is withheld.
    pub fn withheld(standing: &HashMap<Self, Standing>) -> impl Iterator<Item = Audience> {
        let withdrawn = |purpose: Self| standing.get(&purpose).is_some_and(|one| !one.given);
        [Audience::Apps, Audience::Helpers]
            .into_iter()
            .filter(move |audience| Self::ALL.into_iter().any(|one| one.opens().contains(audience) && withdrawn(one)))
    }

    /// What remains after it was withdrawn, and why.
    pub const fn remains(self) -> &'static str {
        match self {
            Self::TrainingRecords => {
                "Coaches of their groups still see what was recorded, and go on recording: the club does that on a basis of its \
                 own, such as membership. If it has none, delete the athlete: what is personal goes at once and for good."
            }
            Self::SharingWithHelpers => {
                "Coaches of their groups still see the athlete: that does not rest on this consent. What helpers saw or printed \
                 before cannot be taken back from here."
            }
            Self::SharingWithApps => {
                "Coaches of their groups still see the athlete: that does not rest on this consent. An app that syncs is told to \
                 drop them with its next pull; what it copied elsewhere has to be asked back from whoever runs it."
            }
        }
    }
}

/// What was said for a purpose.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Consent {
    /// What for.
    pub purpose: Purpose,
    /// Given, or withdrawn.
    pub given: bool,
    /// The day on which it was said.
    pub on: NaiveDate,
    /// Who said it; none where that was not kept.
    pub by: Option<Consenter>,
}

/// What stands for a purpose.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Standing {
    /// Given, or withdrawn.
    pub given: bool,
    /// Since when.
    pub on: NaiveDate,
}

/// What was entered with an athlete: the day of consent to keep their records, or that there is none any more.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Entered(pub Option<NaiveDate>);

impl Entered {
    /// Whether it may be entered where something else stood, for whom the writing transaction reads: consent is recorded in person,
    /// because an app would say of itself whom it may see.
    ///
    /// # Errors
    /// The fault of the field, when no member writes it and it differs.
    pub fn in_person(self, before: Self, audience: Option<Audience>) -> Result<(), Fault> {
        if audience.is_none() || self == before {
            return Ok(());
        }
        let detail = "is recorded in person: an app leaves it as it is, because it would say of itself whom it may see";
        Err(Fault::at("/consent_on", "read_only", detail))
    }

    /// What that says today.
    pub fn said(self, today: NaiveDate) -> Consent {
        Consent { purpose: Purpose::TrainingRecords, given: self.0.is_some(), on: self.0.unwrap_or(today), by: None }
    }
}

impl Consent {
    /// Parses what a client sends.
    ///
    /// # Errors
    /// Every broken field.
    pub fn parse((purpose, said, by): (&str, &str, &str), on: NaiveDate, today: NaiveDate) -> Result<Self, Vec<Fault>> {
        let mut faults = Faults::new();
        let purpose = faults.take("/purpose", "word", Purpose::parse(purpose));
        let said = faults.take("/act", "word", Said::parse(said));
        let by = faults.take("/by", "word", Consenter::parse(by));
        if on.year() < 2000 || on > today {
            faults.add("/on", "out_of_range", "must be from 2000 to today");
        }
        let all = purpose.zip(said).zip(by);
        faults.finish(all.map(|((purpose, said), by)| Self { purpose, given: said == Said::Given, on, by: Some(by) }))
    }

    /// The word of what was said.
    pub const fn said(self) -> Said {
        Said::of(self.given)
    }
}

impl Said {
    /// The word for whether it was given.
    pub const fn of(given: bool) -> Self {
        if given { Self::Given } else { Self::Withdrawn }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_withdrawn_closes_what_it_opened_and_silence_closes_nothing() {
        let on = NaiveDate::default();
        let withheld = |said: &[(Purpose, bool)]| {
            let standing = said.iter().map(|(purpose, given)| (*purpose, Standing { given: *given, on })).collect();
            Purpose::withheld(&standing).collect::<Vec<_>>()
        };
        assert_eq!(withheld(&[]), []);
        assert_eq!(withheld(&Purpose::ALL.map(|one| (one, true))), []);
        assert_eq!(withheld(&[(Purpose::SharingWithApps, false)]), [Audience::Apps]);
        assert_eq!(withheld(&[(Purpose::SharingWithHelpers, false)]), [Audience::Helpers]);
        let both = [(Purpose::TrainingRecords, false), (Purpose::SharingWithApps, true)];
        assert_eq!(withheld(&both), [Audience::Apps, Audience::Helpers]);
    }
}
