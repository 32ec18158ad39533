//! The JSON of members and invitations.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::model::{Assignment, Invitation, Member};
use crate::platform::access::Role;
use crate::platform::ids::{AccountId, ClubId, GroupId, InvitationId};
use crate::platform::mail::Language;
use crate::platform::page;
use crate::platform::stored::Stored;

/// What a member may do and see.
#[derive(Debug, Deserialize, Serialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = MemberFields, example = json!({"role": "coach", "group_ids": ["01936f2e-5d3a-7c41-9b1e-2f6d0c8a4e57"]}))]
pub struct Fields {
    /// The role.
    pub role: Role,
    /// The assigned groups; empty for an admin, who sees all.
    #[serde(default)]
    #[schema(max_items = 200)]
    pub group_ids: Vec<GroupId>,
}

impl From<&Assignment> for Fields {
    fn from(assignment: &Assignment) -> Self {
        Self { role: assignment.role, group_ids: assignment.groups.clone() }
    }
}

/// A member of the club.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = Member)]
pub struct View {
    /// The account.
    pub id: AccountId,
    /// Number of the last change; the `ETag` begins with it, and `If-Match` takes it alone too.
    #[schema(minimum = 1, example = 42)]
    pub rev: i64,
    /// How the person is called.
    #[schema(max_length = 100, example = "Tomas Reyl")]
    pub display_name: String,
    /// E-mail address.
    #[schema(max_length = 254, example = "tomas@harbour.example")]
    pub email: String,
    /// The role and groups.
    #[serde(flatten)]
    pub fields: Fields,
}

impl From<&Stored<AccountId, Member>> for View {
    fn from(stored: &Stored<AccountId, Member>) -> Self {
        Self {
            id: stored.id,
            rev: stored.rev,
            display_name: stored.value.display_name.clone(),
            email: stored.value.email.clone(),
            fields: (&stored.value.assignment).into(),
        }
    }
}

/// A page of members.
pub type Page = page::Page<View>;

/// A new invitation.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"email": "tomas@harbour.example", "role": "coach", "group_ids": ["01936f2e-5d3a-7c41-9b1e-2f6d0c8a4e57"]}))]
pub struct NewInvitation {
    /// The address of the account that may take it.
    #[schema(min_length = 3, max_length = 254, example = "tomas@harbour.example")]
    pub email: String,
    /// The role.
    pub role: Role,
    /// The assigned groups; empty for an admin, who sees all.
    #[serde(default)]
    #[schema(max_items = 200)]
    pub group_ids: Vec<GroupId>,
    /// The language of the mail; that of your own mails when absent.
    pub language: Option<Language>,
}

/// Whether an invitation can be taken.
///
/// - `open`: It can, until it expires.
/// - `void`: It cannot: whoever made it is no longer an admin of the club, or what the person may was decided since. Invite them again.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum InvitationState {
    /// It can, until it expires.
    Open,
    /// It cannot: whoever made it is no longer an admin of the club, or what the person may was decided since. Invite them again.
    Void,
}

/// An invitation.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = Invitation)]
pub struct InvitationView {
    /// The id.
    pub id: InvitationId,
    /// The address of the account that may take it.
    #[schema(max_length = 254, example = "tomas@harbour.example")]
    pub email: String,
    /// Until when it stands.
    pub expires_at: DateTime<Utc>,
    /// Whether it can be taken.
    pub state: InvitationState,
    /// The admin who made it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub invited_by: Option<AccountId>,
    /// The same place by another way than the mail: hand this to the invited person; it is shown only once.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 200, example = "AZNvLl06fEGbHi9tDIpOV3nS8cU1b0sYkqW2rJm5xZ4tQeVg7hLwPaDfTyGuIoBn")]
    pub token: Option<String>,
    /// The role and groups.
    #[serde(flatten)]
    pub fields: Fields,
}

impl InvitationView {
    /// The view of an invitation; the token only when it was just made.
    pub fn new(id: InvitationId, invitation: &Invitation, token: Option<String>) -> Self {
        Self {
            id,
            email: invitation.email.clone(),
            expires_at: invitation.expires_at,
            state: if invitation.void { InvitationState::Void } else { InvitationState::Open },
            invited_by: invitation.invited_by,
            token,
            fields: (&invitation.assignment).into(),
        }
    }
}

/// A page of invitations.
pub type InvitationPage = page::Page<InvitationView>;

/// The token of an invitation.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"token": "AZNvLl06fEGbHi9tDIpOV3nS8cU1b0sYkqW2rJm5xZ4tQeVg7hLwPaDfTyGuIoBn"}))]
pub struct Acceptance {
    /// The code from the mail, or the token that the admin handed over.
    #[schema(max_length = 200, example = "AZNvLl06fEGbHi9tDIpOV3nS8cU1b0sYkqW2rJm5xZ4tQeVg7hLwPaDfTyGuIoBn")]
    pub token: String,
}

/// The club that was joined.
#[derive(Debug, Serialize, ToSchema)]
pub struct Joined {
    /// The club.
    pub club_id: ClubId,
}
