//! Addresses of lists that hold exactly the rows behind a figure.

use chrono::NaiveDate;

use crate::platform::ids::{AthleteId, ClubId, GroupId, RecommendationId};

/// Where the rows of a club are listed.
#[derive(Clone, Copy, Debug)]
pub struct Links {
    /// The club.
    pub club: ClubId,
    /// First day of the period.
    pub from: NaiveDate,
    /// Last day of the period.
    pub to: NaiveDate,
}

impl Links {
    /// The runs of an athlete in the period.
    pub fn runs(&self, athlete: AthleteId) -> String {
        self.runs_between(athlete, self.from, self.to)
    }

    /// The runs of an athlete on one day.
    pub fn runs_on(&self, athlete: AthleteId, day: NaiveDate) -> String {
        self.runs_between(athlete, day, day)
    }

    /// The runs of an athlete between two days, both included.
    pub fn runs_between(&self, athlete: AthleteId, from: NaiveDate, to: NaiveDate) -> String {
        format!("/v1/clubs/{}/runs?athlete_id={athlete}&from={from}&to={to}", self.club)
    }

    /// Every run of an athlete up to the last day: what the estimate rests on.
    pub fn runs_so_far(&self, athlete: AthleteId) -> String {
        format!("/v1/clubs/{}/runs?athlete_id={athlete}&to={}", self.club, self.to)
    }

    /// The assessments of an athlete in the period.
    pub fn assessments(&self, athlete: AthleteId) -> String {
        let Self { club, from, to } = self;
        format!("/v1/clubs/{club}/assessments?athlete_id={athlete}&from={from}&to={to}")
    }

    /// One assessment.
    pub fn assessment(&self, id: uuid::Uuid) -> String {
        format!("/v1/clubs/{}/assessments/{id}", self.club)
    }

    /// Every assessment of an athlete up to the last day.
    pub fn assessments_so_far(&self, athlete: AthleteId) -> String {
        format!("/v1/clubs/{}/assessments?athlete_id={athlete}&to={}", self.club, self.to)
    }

    /// Every report, restriction and clearance of an athlete up to the last day.
    pub fn wellbeing(&self, athlete: AthleteId) -> String {
        format!("/v1/clubs/{}/wellbeing-records?athlete_id={athlete}&to={}", self.club, self.to)
    }

    /// What coaches decided on an athlete.
    pub fn decisions(&self, athlete: AthleteId) -> String {
        format!("/v1/clubs/{}/athletes/{athlete}/recommendation/decisions", self.club)
    }

    /// The measurements of an athlete.
    pub fn measurements(&self, athlete: AthleteId) -> String {
        format!("/v1/clubs/{}/athletes/{athlete}/measurements", self.club)
    }

    /// The athlete's own record.
    pub fn athlete(&self, athlete: AthleteId) -> String {
        format!("/v1/clubs/{}/athletes/{athlete}", self.club)
    }

    /// The club's barriers.
    pub fn equipment(&self) -> String {
        format!("/v1/clubs/{}/equipment", self.club)
    }

    /// What an athlete races over on a day.
    pub fn specs_on(&self, athlete: AthleteId, day: NaiveDate) -> String {
        format!("/v1/clubs/{}/competition-specs/applicable?athlete_id={athlete}&on={day}", self.club)
    }

    /// The sessions that a group held in the period.
    pub fn sessions(&self, group: GroupId) -> String {
        let Self { club, from, to } = self;
        format!("/v1/clubs/{club}/sessions?group_id={group}&state=held&from={from}&to={to}")
    }

    /// The sessions of a group on a day, marked as held or not.
    pub fn sessions_on(&self, group: GroupId, day: NaiveDate) -> String {
        format!("/v1/clubs/{}/sessions?group_id={group}&from={day}&to={day}", self.club)
    }

    /// The progress of an athlete over the same period.
    pub fn progression(&self, athlete: AthleteId) -> String {
        let Self { club, from, to } = self;
        format!("/v1/clubs/{club}/athletes/{athlete}/progression?from={from}&to={to}")
    }

    /// What a coach decided on a recommendation.
    pub fn decision(&self, athlete: AthleteId, id: RecommendationId) -> String {
        format!("/v1/clubs/{}/athletes/{athlete}/recommendation/decisions/{id}", self.club)
    }

    /// The recommendation on the last day: stage, decision and why.
    pub fn recommendation(&self, athlete: AthleteId) -> String {
        format!("/v1/clubs/{}/athletes/{athlete}/recommendation?on={}", self.club, self.to)
    }
}
