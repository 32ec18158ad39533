//! The JSON of second factors.

use secrecy::SecretString;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// A code alone.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = OwnCode, example = json!({"code": "287082"}))]
pub struct CodeOnly {
    /// Six digits of the authenticator, or a recovery code where the second factor counts already.
    #[schema(max_length = 64, example = "287082")]
    pub code: String,
}

/// The password and a code.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = OwnPasswordAndCode, example = json!({"password": "five wickets in a row", "code": "287082"}))]
pub struct PasswordAndCode {
    /// The password.
    #[schema(value_type = String, format = Password, max_length = 128, example = "five wickets in a row")]
    pub password: SecretString,
    /// Six digits of the authenticator, or a recovery code.
    #[schema(max_length = 64, example = "287082")]
    pub code: String,
}

/// Whether an account has a second factor.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = SecondFactor)]
pub struct FactorView {
    /// Whether sign-in asks for a code.
    pub enabled: bool,
    /// Recovery codes that were not used.
    #[schema(minimum = 0, maximum = 10, example = 10)]
    pub recovery_codes_left: u32,
}

/// A second factor that was begun.
#[derive(Serialize, ToSchema)]
#[schema(as = SecondFactorBegun)]
pub struct FactorBegun {
    /// The secret in base32, to type into an authenticator.
    #[schema(max_length = 64, example = "JBSWY3DPEHPK3PXPJBSWY3DPEHPK3PXP")]
    pub secret: String,
    /// The same as an address, to show as a picture that an authenticator reads.
    #[schema(
        max_length = 1000,
        example = "otpauth://totp/Lanewright:head.coach%40harbour.example?secret=JBSWY3DPEHPK3PXPJBSWY3DPEHPK3PXP&issuer=Lanewright&algorithm=SHA1&digits=6&period=30"
    )]
    pub uri: String,
}

/// Recovery codes.
#[derive(Serialize, ToSchema)]
#[schema(as = NewRecoveryCodes)]
pub struct RecoveryCodes {
    /// Each is good once in the place of a code; write them down and keep them apart from the authenticator.
    #[schema(max_items = 10)]
    #[schema(example = json!(["MZXW-6YTB-OI2D-GNBV"]))]
    pub recovery_codes: Vec<String>,
}
