//! The JSON about addresses.

use secrecy::SecretString;
use serde::Deserialize;
use utoipa::ToSchema;

use crate::platform::mail::Language;

/// Whose password is forgotten.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = PasswordResetRequest, example = json!({"email": "head.coach@harbour.example"}))]
pub struct ResetRequest {
    /// The address that the account signs in with.
    #[schema(min_length = 3, max_length = 254, example = "head.coach@harbour.example")]
    pub email: String,
    /// The language of the mail when no account says which.
    pub language: Option<Language>,
}

/// A new password with the code from the mail.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = PasswordReset, example = json!({"token": "AZNvLl06fEGbHi9tDIpOV3nS8cU1b0sYkqW2rJm5xZ4tQeVg7hLwPaDfTyGuIoBn", "new": "six wickets in a row"}))]
pub struct Reset {
    /// The code from the mail, which is also the end of its link.
    #[schema(max_length = 200, example = "AZNvLl06fEGbHi9tDIpOV3nS8cU1b0sYkqW2rJm5xZ4tQeVg7hLwPaDfTyGuIoBn")]
    pub token: String,
    /// The new password: 10 to 128 characters, not easy to guess: several words, not digits alone, nor the own e-mail address or
    /// name.
    #[schema(value_type = String, format = Password, min_length = 10, max_length = 128, example = "six wickets in a row")]
    pub new: SecretString,
}

/// The code from a mail.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = MailedCode, example = json!({"token": "AZNvLl06fEGbHi9tDIpOV3nS8cU1b0sYkqW2rJm5xZ4tQeVg7hLwPaDfTyGuIoBn"}))]
pub struct Secret {
    /// The code, which is also the end of the mail's link.
    #[schema(max_length = 200, example = "AZNvLl06fEGbHi9tDIpOV3nS8cU1b0sYkqW2rJm5xZ4tQeVg7hLwPaDfTyGuIoBn")]
    pub token: String,
}

/// Another e-mail address.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"email": "ingrid.vale@harbour.example", "password": "five wickets in a row"}))]
pub struct EmailChange {
    /// The new address.
    #[schema(min_length = 3, max_length = 254, example = "ingrid.vale@harbour.example")]
    pub email: String,
    /// The password, so that nobody changes it on a device that was left open.
    #[schema(value_type = String, format = Password, max_length = 128, example = "five wickets in a row")]
    pub password: SecretString,
}

/// The language of mail.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"language": "de"}))]
pub struct LanguageChoice {
    /// The language.
    pub language: Language,
}
