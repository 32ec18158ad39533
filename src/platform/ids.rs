//! Ids: one type per resource, so that one cannot stand in for another.

use serde::{Deserialize, Serialize};
use serde_json::{Map, Value};
use utoipa::ToSchema;
use uuid::Uuid;

/// The id that a JSON value is; none when it is another value.
pub fn read(value: &Value) -> Option<Uuid> {
    value.as_str().and_then(|text| Uuid::try_parse(text).ok())
}

/// The id in a field.
pub fn named(data: &Map<String, Value>, field: &str) -> Option<Uuid> {
    data.get(field).and_then(read)
}

macro_rules! ids {
    ($($(#[$doc:meta])* $name:ident;)*) => {$(
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, sqlx::Type, ToSchema)]
        #[serde(transparent)]
        #[sqlx(transparent)]
        #[schema(value_type = Uuid, example = "01936f2e-5d3a-7c41-9b1e-2f6d0c8a4e57")]
        pub struct $name(pub Uuid);

        impl $name {
            /// A new id that sorts after the earlier ones (UUID version 7, RFC 9562).
            #[allow(clippy::new_without_default)] // a default would hide that each is different
            pub fn new() -> Self {
                Self(Uuid::now_v7())
            }
        }

        impl std::fmt::Display for $name {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                self.0.fmt(f)
            }
        }

        impl From<$name> for Uuid {
            fn from(id: $name) -> Self {
                id.0
            }
        }
    )*};
}

ids! {
    /// A person who signs in; also the id of their membership in each club.
    AccountId;
    /// A club.
    ClubId;
    /// One sign-in of an account: a family of refresh tokens.
    DeviceId;
    /// A place in a club for one e-mail address.
    InvitationId;
    /// An app of a third party that a club admits.
    AppId;
    /// An address that shows something to whoever holds it.
    SecretLinkId;
    /// An export of a club or of one athlete.
    ExportId;
    /// A training group.
    GroupId;
    /// An athlete.
    AthleteId;
    /// What was said of consent for an athlete.
    ConsentId;
    /// A dated measurement of an athlete.
    MeasurementId;
    /// A venue.
    VenueId;
    /// A stock of barriers.
    EquipmentId;
    /// A reusable lane recipe.
    BarrierConfigurationId;
    /// A training session.
    SessionId;
    /// A run of one athlete down one lane.
    RunId;
    /// A coach's rating of technique.
    AssessmentId;
    /// A recommendation and what the coach decided.
    RecommendationId;
    /// A lane plan.
    LanePlanId;
    /// A club's own age group.
    AgeGroupId;
    /// A club's own competition specification.
    CompetitionSpecId;
    /// A race test.
    RaceTestId;
    /// An entry of a race test.
    RaceEntryId;
    /// A result of a race test.
    RaceResultId;
    /// A report of pain, illness or injury, a restriction or a clearance.
    WellbeingRecordId;
}
