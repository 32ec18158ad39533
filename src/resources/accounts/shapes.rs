//! The JSON of accounts.

use chrono::{DateTime, Utc};
use secrecy::SecretString;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

use super::devices_store::Device;
use super::model::NewClub;
use super::store::{Account, Membership};
use crate::compute::day::Day;
use crate::compute::specs::{self, OnFile};
use crate::platform::access::Role;
use crate::platform::ids::{AccountId, ClubId, DeviceId};
use crate::platform::mail::Language;
use crate::platform::page;
use crate::platform::words::spelt;
use crate::resources::advice::vocabulary;

spelt! {
    /// How an access token is sent (RFC 6749, section 7.1).
    TokenType { "Bearer": "In the header `Authorization`, after this word." }
}

fn unnamed() -> String {
    "unnamed device".to_owned()
}

/// A new club.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = NewClub, example = json!({"name": "Harbour Hurdlers", "time_zone": "Europe/London", "ruleset": "UKA-2026"}))]
pub struct ClubFields {
    /// Name of the club.
    #[schema(min_length = 1, max_length = 100, example = "Harbour Hurdlers")]
    pub name: String,
    /// IANA time zone; decides what "today" is.
    #[schema(min_length = 1, max_length = 60, example = "Europe/London")]
    pub time_zone: String,
    /// The rule set its athletes race under, one of `GET /v1/rulesets` or the club's own.
    #[schema(min_length = 1, max_length = 40, example = "UKA-2026")]
    pub ruleset: String,
}

/// A new account.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"email": "head.coach@harbour.example", "password": "five wickets in a row", "display_name": "Ingrid Vale", "club": {"name": "Harbour Hurdlers", "time_zone": "Europe/London", "ruleset": "UKA-2026"}}))]
pub struct SignUp {
    /// E-mail address to sign in with.
    #[schema(min_length = 3, max_length = 254, example = "head.coach@harbour.example")]
    pub email: String,
    /// 10 to 128 characters, not easy to guess: several words, not digits alone, nor the own e-mail address or name.
    #[schema(value_type = String, format = Password, min_length = 10, max_length = 128, example = "five wickets in a row")]
    pub password: SecretString,
    /// How the person is called in the club.
    #[schema(min_length = 1, max_length = 100, example = "Ingrid Vale")]
    pub display_name: String,
    /// Name of the device, shown in the list of sign-ins.
    #[serde(default = "unnamed")]
    #[schema(min_length = 1, max_length = 100, example = "Ingrid's phone")]
    pub device_name: String,
    /// The language of the mails to this person.
    #[serde(default)]
    pub language: Language,
    /// The club to found, if any. Where addresses have to be confirmed first, found it afterwards.
    pub club: Option<ClubFields>,
}

/// A sign-in.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"email": "head.coach@harbour.example", "password": "five wickets in a row", "device_name": "Ingrid's phone"}))]
pub struct SignIn {
    /// E-mail address.
    #[schema(max_length = 254, example = "head.coach@harbour.example")]
    pub email: String,
    /// Password.
    #[schema(value_type = String, format = Password, max_length = 128, example = "five wickets in a row")]
    pub password: SecretString,
    /// Name of the device, shown in the list of sign-ins.
    #[serde(default = "unnamed")]
    #[schema(min_length = 1, max_length = 100, example = "Ingrid's phone")]
    pub device_name: String,
    /// A refresh token that this device had of the account before, used or not: wrong passwords that others try then do not
    /// hold it up.
    #[schema(max_length = 65_536, example = "AZNvLl06fEGbHi9tDIpOV3nS8cU1b0sYkqW2rJm5xZ4tQeVg7hLwPaDfTyGuIoBn")]
    pub earlier_refresh_token: Option<String>,
    /// Where the account has a second factor: six digits of its authenticator, or a recovery code. Without it the answer is 403
    /// of the type `/problems/second-factor`; ask for the code then.
    #[schema(max_length = 64, example = "287082")]
    pub code: Option<String>,
}

/// A refresh token.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = RefreshToken, example = json!({"refresh_token": "AZNvLl06fEGbHi9tDIpOV3nS8cU1b0sYkqW2rJm5xZ4tQeVg7hLwPaDfTyGuIoBn"}))]
pub struct Refresh {
    /// The refresh token of the last answer; of any other text none is known.
    #[schema(max_length = 65_536, example = "AZNvLl06fEGbHi9tDIpOV3nS8cU1b0sYkqW2rJm5xZ4tQeVg7hLwPaDfTyGuIoBn")]
    pub refresh_token: String,
}

/// A change of password.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = PasswordChange, example = json!({"current": "five wickets in a row", "new": "six wickets in a row"}))]
pub struct NewPassword {
    /// The password so far.
    #[schema(value_type = String, format = Password, max_length = 128, example = "five wickets in a row")]
    pub current: SecretString,
    /// The new one: 10 to 128 characters, not easy to guess: several words, not digits alone, nor the own e-mail address or
    /// name.
    #[schema(value_type = String, format = Password, min_length = 10, max_length = 128, example = "six wickets in a row")]
    pub new: SecretString,
}

/// Tokens of a sign-in.
#[derive(Serialize, ToSchema)]
pub struct Tokens {
    /// JWT for `Authorization: Bearer`.
    #[schema(max_length = 2000, example = "eyJhbGciOiJFZERTQSJ9.e30.c2lnbmF0dXJl")]
    pub access_token: String,
    /// How the access token is sent.
    #[schema(value_type = TokenType)]
    pub token_type: &'static str,
    /// Life of the access token, seconds.
    #[schema(minimum = 1, example = 900)]
    pub expires_in: i64,
    /// For one use of `POST /v1/auth/refresh`.
    #[schema(max_length = 200, example = "AZNvLl06fEGbHi9tDIpOV3nS8cU1b0sYkqW2rJm5xZ4tQeVg7hLwPaDfTyGuIoBn")]
    pub refresh_token: String,
    /// Life of the refresh token, seconds.
    #[schema(minimum = 1, example = 5_184_000)]
    pub refresh_expires_in: i64,
}

/// An account.
#[derive(Serialize, ToSchema)]
#[schema(as = Account)]
pub struct AccountView {
    /// The id.
    pub id: AccountId,
    /// E-mail address.
    #[schema(max_length = 254, example = "head.coach@harbour.example")]
    pub email: String,
    /// How the person is called.
    #[schema(max_length = 100, example = "Ingrid Vale")]
    pub display_name: String,
    /// Whether they confirmed that the address is theirs.
    pub email_confirmed: bool,
    /// The language of mails to them.
    pub language: Language,
}

impl From<&Account> for AccountView {
    fn from(account: &Account) -> Self {
        Self {
            id: account.id,
            email: account.email.clone(),
            display_name: account.display_name.clone(),
            email_confirmed: account.proven,
            language: account.language,
        }
    }
}

/// A club that was just founded.
#[derive(Serialize, ToSchema)]
pub struct ClubCreated {
    /// The id.
    pub id: ClubId,
    /// Number of the last change; the `ETag` begins with it, and `If-Match` takes it alone too.
    #[schema(minimum = 1, example = 1)]
    pub rev: i64,
    /// Name of the club.
    #[schema(max_length = 100, example = "Harbour Hurdlers")]
    pub name: String,
    /// IANA time zone.
    #[schema(max_length = 60, example = "Europe/London")]
    pub time_zone: String,
    /// The rule set its athletes race under.
    #[schema(max_length = 40, example = "UKA-2026")]
    pub ruleset: String,
    /// What athletes find under that rule set: `by_age`, `ages_missing`, `not_in_force` or
    /// `nothing`; see `GET /v1/rulesets`.
    #[schema(value_type = vocabulary::OnFile)]
    pub on_file: &'static str,
    /// The same as a sentence. `POST /v1/clubs/{club_id}/competition-specs/adopt` takes over another rule set.
    #[schema(max_length = 400, example = "Specifications are on file, and ages lead to them.")]
    pub note: &'static str,
}

impl ClubCreated {
    /// The view of a club that was just founded.
    pub fn new(id: ClubId, rev: i64, club: &NewClub) -> Self {
        let today = Day::from_days(Utc::now().date_naive().to_epoch_days()).unwrap_or(Day::MIN);
        let on_file = OnFile::of(&club.ruleset, &specs::Club::default(), today);
        Self {
            id,
            rev,
            name: club.name.clone(),
            time_zone: club.time_zone.name().to_owned(),
            ruleset: club.ruleset.clone(),
            on_file: on_file.as_str(),
            note: on_file.sentence(),
        }
    }
}

/// A new account, signed in.
#[derive(Serialize, ToSchema)]
pub struct SignedUp {
    /// The account.
    pub account: AccountView,
    /// The club, when one was founded.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub club: Option<ClubCreated>,
    /// Tokens of the first sign-in.
    pub tokens: Tokens,
}

/// One of your clubs.
#[derive(Serialize, ToSchema)]
#[schema(as = Membership)]
pub struct MembershipView {
    /// The club.
    pub club_id: ClubId,
    /// Its name.
    #[schema(max_length = 100, example = "Harbour Hurdlers")]
    pub name: String,
    /// Your role.
    pub role: Role,
    /// The groups you are assigned to; empty for an admin, who sees all.
    #[schema(max_items = 1000)]
    pub group_ids: Vec<Uuid>,
}

impl From<Membership> for MembershipView {
    fn from(membership: Membership) -> Self {
        Self { club_id: membership.club, name: membership.name, role: membership.role, group_ids: membership.groups }
    }
}

/// You and your clubs.
#[derive(Serialize, ToSchema)]
pub struct Me {
    /// Your account.
    pub account: AccountView,
    /// Your clubs.
    #[schema(max_items = 1000)]
    pub clubs: Vec<MembershipView>,
}

/// The name of a device.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"name": "Tablet at the track"}))]
pub struct DeviceName {
    /// The name.
    #[schema(min_length = 1, max_length = 100, example = "Tablet at the track")]
    pub name: String,
}

/// A sign-in of your account.
#[derive(Serialize, ToSchema)]
#[schema(as = SignedInDevice)]
pub struct DeviceView {
    /// The id.
    pub id: DeviceId,
    /// The name the app gave.
    #[schema(max_length = 100, example = "Ingrid's phone")]
    pub name: String,
    /// When it signed in.
    pub created_at: DateTime<Utc>,
    /// When it last refreshed.
    pub last_used_at: DateTime<Utc>,
    /// Whether it is the one that asks.
    pub current: bool,
    /// Whether a second factor was shown with it.
    pub second_factor: bool,
}

impl DeviceView {
    /// The view for the device that asks.
    pub fn new(device: Device, asking: DeviceId) -> Self {
        Self {
            id: DeviceId(device.id),
            name: device.name,
            created_at: device.created_at,
            last_used_at: device.last_used_at,
            current: device.id == asking.0,
            second_factor: device.second_factor,
        }
    }
}

/// Sign-ins of your account.
pub type DeviceList = page::List<DeviceView, 200>;
