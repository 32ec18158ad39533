//! How an app of a third party is called: the `client_id` of OAuth.

use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use serde::{Deserialize, Deserializer, Serialize, Serializer};
use uuid::Uuid;

use super::ids::{AppId, ClubId};

/// An app of a club. Both ids stand in its text, so that its club is found without a look into all of them.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ClientId {
    /// The club that admitted it, the only one it acts in.
    pub club: ClubId,
    /// The app.
    pub app: AppId,
}

impl ClientId {
    /// Reads it; none when it cannot be one of ours.
    pub fn parse(text: &str) -> Option<Self> {
        let bytes = URL_SAFE_NO_PAD.decode(text).ok().filter(|bytes| bytes.len() == 32)?;
        let (club, app) = bytes.split_at(16);
        Some(Self { club: ClubId(Uuid::from_slice(club).ok()?), app: AppId(Uuid::from_slice(app).ok()?) })
    }
}

impl std::fmt::Display for ClientId {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let both = [self.club.0.into_bytes(), self.app.0.into_bytes()].concat();
        f.write_str(&URL_SAFE_NO_PAD.encode(both))
    }
}

impl Serialize for ClientId {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for ClientId {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let text = String::deserialize(deserializer)?;
        Self::parse(&text).ok_or_else(|| serde::de::Error::custom("is no client_id"))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn it_is_read_as_it_is_written_and_nothing_else_is() {
        let id = ClientId { club: ClubId::new(), app: AppId::new() };
        let text = id.to_string();
        assert_eq!((text.len(), ClientId::parse(&text)), (43, Some(id)));
        for wrong in ["", "x", &text[1..], &format!("{text}A"), &format!("{text}="), "*"] {
            assert_eq!(ClientId::parse(wrong), None, "{wrong}");
        }
    }
}
