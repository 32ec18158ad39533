//! A session's sheets for helpers: the JSON of the lanes and cards behind a link, and of the links themselves.

use std::collections::HashMap;

use chrono::{DateTime, NaiveDate, Utc};
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};
use uuid::Uuid;

use super::shapes::Content;
use super::{cards, set_out};
use crate::compute::decision::Wall;
use crate::platform::dates;
use crate::platform::ids::SecretLinkId;
use crate::platform::page;
use crate::platform::secret_links::SecretLink;
use crate::resources::advice::WallView;

/// Most links of a session at a time.
pub const MOST_LINKS: usize = 20;
/// Where they lead.
pub const PATH: &str = "/v1/session-sheets";

/// What a coach asks for.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = NewSessionLink, example = json!({}))]
pub struct NewLink {
    /// Until when it shows anything: at the latest, and when absent, the end of today in the club's time zone.
    #[serde(default, deserialize_with = "dates::read")]
    pub expires_at: Option<DateTime<Utc>>,
}

/// A link to a session's sheets.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = SessionLink)]
pub struct LinkView {
    /// The id.
    pub id: SecretLinkId,
    /// How the member who made it is called: it shows what they may see when it is opened.
    #[schema(max_length = 100, example = "Tomas Reyl")]
    pub made_by: String,
    /// When.
    pub made_at: DateTime<Utc>,
    /// Until when it shows anything.
    pub expires_at: DateTime<Utc>,
    /// When it was opened last, to the minute; absent before the first time.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub opened_at: Option<DateTime<Utc>>,
    /// The address to hand to helpers, behind that of the service; shown only once. Whoever has it can read.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(
        max_length = 200,
        example = "/v1/session-sheets?link=AZNvLl06fEGbHi9tDIpOV3nS8cU1b0sYkqW2rJm5xZ4tQeVg7hLwPaDfTyGuIoBn"
    )]
    pub sheets_href: Option<String>,
}

impl LinkView {
    /// The view of a link; its secret only when it was just made.
    pub fn new(link: &SecretLink, names: &HashMap<Uuid, String>, secret: Option<&str>) -> Self {
        Self {
            id: link.id,
            made_by: names.get(&link.made_by.0).cloned().unwrap_or_default(),
            made_at: link.made_at,
            expires_at: link.expires_at,
            opened_at: link.opened_at,
            sheets_href: secret.map(|secret| format!("{PATH}?link={secret}")),
        }
    }
}

/// The links of a session that are not over.
pub type LinkList = page::List<LinkView, MOST_LINKS>;

/// The secret of a link.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
pub struct Secret {
    /// The secret, as it stands in the link.
    #[param(
        min_length = 1,
        max_length = 200,
        example = "AZNvLl06fEGbHi9tDIpOV3nS8cU1b0sYkqW2rJm5xZ4tQeVg7hLwPaDfTyGuIoBn"
    )]
    pub link: String,
}

/// A session's sheets for helpers.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = SessionSheets)]
pub struct SheetsView {
    /// The club.
    #[schema(max_length = 100, example = "Harbour Hurdlers")]
    pub club: String,
    /// The day.
    pub held_on: NaiveDate,
    /// The venue, where it is known.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 100, example = "Harbour Track")]
    pub venue: Option<String>,
    /// Until when the link shows anything.
    pub expires_at: DateTime<Utc>,
    /// Where the tape marks go and who runs in which lane, of the session's latest plan; absent before there is one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub set_out: Option<set_out::View>,
    /// The cards of those who run in a lane, without what coaches noted.
    pub cards: cards::View,
}

/// Takes the reason out of why somebody runs nowhere today: helpers learn that they rest, not which report or restriction says so.
pub fn unsaid(not_permitted: &mut Option<WallView>) {
    if not_permitted.as_ref().is_some_and(WallView::is_closed) {
        *not_permitted = Some(WallView::from(&Wall::Resting));
    }
}

/// What helpers need of a plan.
pub fn for_helpers(mut content: Content) -> Content {
    for one in content.lanes.iter_mut().flat_map(|lane| &mut lane.athletes) {
        unsaid(&mut one.not_permitted);
    }
    content.resting.clear();
    content.not_expected.clear();
    content.not_computed.clear();
    content
}
