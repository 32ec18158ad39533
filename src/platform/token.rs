//! Access tokens: JWT signed with Ed25519 (RFC 7519, RFC 8037); refresh tokens: opaque, stored hashed.

use std::collections::HashMap;
use std::sync::{Arc, Mutex, PoisonError, RwLock};

use aws_lc_rs::rand::SystemRandom;
use aws_lc_rs::signature::{Ed25519KeyPair, KeyPair};
use aws_lc_rs::{digest, hmac, rand};
use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use chrono::{DateTime, Duration, Utc};
use jsonwebtoken::{Algorithm, DecodingKey, EncodingKey, Header, Validation};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

use super::client::ClientId;
use super::db::{Db, StoreError};
use super::ids::{AccountId, DeviceId};
use super::problem::{Code, Problem};

/// Life of an access token, seconds.
pub const ACCESS_SECONDS: i64 = 900;
/// Life of an unused refresh token, seconds (60 days).
pub const REFRESH_SECONDS: i64 = 60 * 24 * 3600;
/// How long a sign-in lasts however often it is refreshed, days: a season and its winter, so that nobody who trains every
/// week signs in at the track, and a phone that was given away is not signed in for ever.
pub const SIGN_IN_DAYS: i64 = 400;
/// Sign-ins of an account at a time, those of apps among them: more than anybody's phones, few enough to read through.
pub const SIGN_INS: i64 = 50;
const ISSUER: &str = "lanewright";
const AUDIENCE: &str = "lanewright-api";

/// What an access token says.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Claims {
    iss: String,
    aud: String,
    /// The account.
    pub sub: AccountId,
    /// The device (one sign-in).
    pub device: DeviceId,
    /// Granted scopes, separated by spaces (RFC 8693).
    pub scope: String,
    /// The app that it was given to (RFC 9068); none for a person's own sign-in.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub client_id: Option<ClientId>,
    /// When it expires (seconds since 1970).
    pub exp: i64,
    iat: i64,
    jti: Uuid,
}

/// How long a retired key still proves the tokens of the change feed: longer than the log is kept.
const MAC_DAYS: i64 = 100;
/// Bytes of a proof: the key's tag and a truncated HMAC-SHA-256 (RFC 2104).
const TAG: usize = 4;
const PROOF: usize = TAG + 16;

/// How often an instance reads the keys again, seconds.
pub const RELOAD_SECONDS: u64 = 60;
/// How long whoever asks for the key set may keep it, seconds.
pub const KEY_SET_SECONDS: u64 = 300;
/// How long a new key is published before it signs, seconds: every instance has read it by then, and every kept copy of the
/// key set has run out.
const ANNOUNCED_SECONDS: i64 = 600;
/// How long a retired key verifies, seconds: an instance may sign with it until it reads the keys again.
const VERIFIES_SECONDS: i64 = ACCESS_SECONDS + 120;

/// The keys that sign and verify access tokens, and prove what clients hand back unread, as last read.
pub struct Keys(RwLock<Arc<KeySet>>);

struct KeySet {
    kid: String,
    macs: Vec<(Vec<u8>, hmac::Key)>,
    signing: EncodingKey,
    verifying: HashMap<String, DecodingKey>,
    published: Vec<(String, String)>,
    /// What was verified with these keys, by the hash of the token: a signature costs more than a row. It goes with the set,
    /// so it never outlives a key.
    verified: Mutex<HashMap<[u8; 32], Claims>>,
}

/// Most tokens that are known as verified at once, some 3 MB; the rest are verified again.
const VERIFIED: usize = 10_000;

impl std::fmt::Debug for Keys {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Keys").field("kid", &self.set().kid).finish_non_exhaustive()
    }
}

/// Why keys cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum KeyError {
    /// The store.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// A stored key is not an Ed25519 key, or the random source failed.
    #[error("a signing key cannot be made or read; run `lanewright rotate-keys`")]
    Key,
}

impl From<sqlx::Error> for KeyError {
    fn from(error: sqlx::Error) -> Self {
        Self::Store(error.into())
    }
}

impl Keys {
    /// Loads the keys, making the first one when there is none.
    ///
    /// # Errors
    /// When the database is away or a key does not parse.
    pub async fn load(db: &Db) -> Result<Self, KeyError> {
        let mut tx = db.account_tx().await?;
        // Serialises two instances that start on an empty database at once.
        sqlx::query!("lock table signing_keys in share row exclusive mode").execute(tx.conn()).await?;
        let some =
            sqlx::query_scalar!(r#"select exists (select from signing_keys where retired_at is null) as "some!""#)
                .fetch_one(tx.conn())
                .await?;
        if !some {
            insert_new(&mut tx, Utc::now()).await?;
        }
        let set = KeySet::read(&mut tx, Utc::now()).await?;
        tx.commit().await?;
        Ok(Self(RwLock::new(Arc::new(set))))
    }

    /// Reads the keys again: what another instance or an operator made, and who signs at `now`.
    ///
    /// # Errors
    /// When the database is away or a key does not parse; the keys stay as they were then.
    pub async fn reload(&self, db: &Db, now: DateTime<Utc>) -> Result<(), KeyError> {
        let set = Arc::new(KeySet::read(&mut db.account_tx().await?, now).await?);
        *self.0.write().unwrap_or_else(PoisonError::into_inner) = set;
        Ok(())
    }

    /// Makes a new signing key: published at once, signing when everybody can know it; the old one then verifies until its
    /// last token has expired. Answers its id and when it begins to sign.
    ///
    /// # Errors
    /// When the database is away or the random source fails.
    pub async fn rotate(db: &Db) -> Result<(String, DateTime<Utc>), KeyError> {
        let mut tx = db.account_tx().await?;
        let from = Utc::now() + Duration::seconds(ANNOUNCED_SECONDS);
        sqlx::query!("update signing_keys set retired_at = $1 where retired_at is null", from)
            .execute(tx.conn())
            .await?;
        let of_no_use = Utc::now() - Duration::days(MAC_DAYS);
        sqlx::query!("delete from signing_keys where retired_at < $1", of_no_use).execute(tx.conn()).await?;
        let kid = insert_new(&mut tx, from).await?;
        tx.commit().await?;
        Ok((kid, from))
    }

    /// Makes a new signing key in place of all others, which somebody else may know: within a minute nothing they signed or
    /// proved is believed. People's apps refresh their tokens by themselves, phones copy their clubs afresh.
    ///
    /// # Errors
    /// When the database is away or the random source fails.
    pub async fn replace(db: &Db) -> Result<String, KeyError> {
        let mut tx = db.account_tx().await?;
        sqlx::query!("delete from signing_keys").execute(tx.conn()).await?;
        let kid = insert_new(&mut tx, Utc::now()).await?;
        tx.commit().await?;
        Ok(kid)
    }

    fn set(&self) -> Arc<KeySet> {
        self.0.read().unwrap_or_else(PoisonError::into_inner).clone()
    }

    /// Puts a proof before bytes that a client is to hand back unread; `context` is what it is bound to.
    pub fn seal(&self, context: &[u8], payload: &[u8]) -> Vec<u8> {
        let mut sealed = Vec::with_capacity(PROOF + payload.len());
        if let Some((tag, key)) = self.set().macs.first() {
            sealed.extend_from_slice(tag);
            sealed.extend(proof(key, context, payload));
        }
        sealed.extend_from_slice(payload);
        sealed
    }

    /// The bytes behind the proof; none when they were not sealed by us for this context.
    pub fn open<'a>(&self, context: &[u8], sealed: &'a [u8]) -> Option<&'a [u8]> {
        let (head, payload) = sealed.split_at_checked(PROOF)?;
        let (tag, sent) = head.split_at(TAG);
        let set = self.set();
        let (_, key) = set.macs.iter().find(|(known, _)| known == tag)?;
        aws_lc_rs::constant_time::verify_slices_are_equal(&proof(key, context, payload), sent).ok()?;
        Some(payload)
    }

    /// The public keys as a JWK set (RFC 7517, RFC 8037).
    pub fn jwks(&self) -> serde_json::Value {
        let keys: Vec<_> = self
            .set()
            .published
            .iter()
            .map(|(kid, x)| serde_json::json!({"kty": "OKP", "crv": "Ed25519", "alg": "EdDSA", "use": "sig", "kid": kid, "x": x}))
            .collect();
        serde_json::json!({ "keys": keys })
    }

    /// Signs an access token of a person's own sign-in.
    ///
    /// # Errors
    /// 500 when the key is unusable.
    pub fn sign(
        &self,
        account: AccountId,
        device: DeviceId,
        scope: &str,
        now: DateTime<Utc>,
    ) -> Result<String, Problem> {
        self.sign_for(None, (account, device), scope, now)
    }

    /// The same of a sign-in that may be that of an app.
    ///
    /// # Errors
    /// 500 when the key is unusable.
    pub fn sign_for(
        &self,
        client_id: Option<ClientId>,
        (account, device): (AccountId, DeviceId),
        scope: &str,
        now: DateTime<Utc>,
    ) -> Result<String, Problem> {
        let claims = Claims {
            iss: ISSUER.into(),
            aud: AUDIENCE.into(),
            sub: account,
            device,
            scope: scope.into(),
            client_id,
            exp: now.timestamp() + ACCESS_SECONDS,
            iat: now.timestamp(),
            jti: Uuid::now_v7(),
        };
        let mut header = Header::new(Algorithm::EdDSA);
        let set = self.set();
        header.kid = Some(set.kid.clone());
        jsonwebtoken::encode(&header, &claims, &set.signing)
            .map_err(|_| Problem::new(Code::Internal, "The access token could not be signed."))
    }

    /// Verifies an access token: our key, Ed25519 only, our issuer and audience, not expired.
    ///
    /// # Errors
    /// 401.
    pub fn verify(&self, token: &str) -> Result<Claims, Problem> {
        let set = self.set();
        let known = set.verified(token);
        let found = known.or_else(|| set.verify(token)).filter(|claims| claims.exp > Utc::now().timestamp());
        found.ok_or_else(|| {
            Problem::new(Code::Unauthenticated, "The access token is not valid or has expired. Refresh it.")
        })
    }
}

fn digest_of(token: &str) -> Option<[u8; 32]> {
    digest::digest(&digest::SHA256, token.as_bytes()).as_ref().try_into().ok()
}

impl KeySet {
    /// What a token says that these keys verified before, expired or not.
    fn verified(&self, token: &str) -> Option<Claims> {
        self.verified.lock().unwrap_or_else(PoisonError::into_inner).get(&digest_of(token)?).cloned()
    }

    fn verify(&self, token: &str) -> Option<Claims> {
        let kid = jsonwebtoken::decode_header(token).ok()?.kid?;
        let key = self.verifying.get(&kid)?;
        let mut rules = Validation::new(Algorithm::EdDSA);
        rules.leeway = 0;
        rules.set_issuer(&[ISSUER]);
        rules.set_audience(&[AUDIENCE]);
        rules.set_required_spec_claims(&["exp", "iss", "aud", "sub"]);
        let claims = jsonwebtoken::decode::<Claims>(token, key, &rules).ok()?.claims;
        let mut verified = self.verified.lock().unwrap_or_else(PoisonError::into_inner);
        if verified.len() >= VERIFIED {
            verified.clear();
        }
        verified.insert(digest_of(token)?, claims.clone());
        Some(claims)
    }

    async fn read(tx: &mut super::db::AccountTx, now: DateTime<Utc>) -> Result<Self, KeyError> {
        let rows = sqlx::query!(
            r#"
            select kid, private_pkcs8, coalesce(retired_at > $2, true) as "verifies!"
            from signing_keys
            where retired_at is null or retired_at > $1
            order by coalesce(signs_from, created_at) <= $3 desc, created_at desc
            "#,
            now - Duration::days(MAC_DAYS),
            now - Duration::seconds(VERIFIES_SECONDS),
            now
        )
        .fetch_all(tx.conn())
        .await?;
        Self::from_rows(rows.into_iter().map(|row| (row.kid, row.private_pkcs8, row.verifies)).collect())
    }

    /// The first row signs, those that say so verify, all prove.
    fn from_rows(rows: Vec<(String, Vec<u8>, bool)>) -> Result<Self, KeyError> {
        let mut verifying = HashMap::new();
        let mut published = Vec::new();
        let mut macs = Vec::new();
        for (kid, pkcs8, verifies) in &rows {
            // A key of its own for each purpose, so that a proof can never pass for a signature.
            let derived = hmac::sign(&hmac::Key::new(hmac::HMAC_SHA256, pkcs8), b"lanewright change feed 1");
            let tag = sha256(kid.as_bytes()).into_iter().take(TAG).collect();
            macs.push((tag, hmac::Key::new(hmac::HMAC_SHA256, derived.as_ref())));
            if !verifies {
                continue;
            }
            let pair = Ed25519KeyPair::from_pkcs8(pkcs8).map_err(|_| KeyError::Key)?;
            let x = URL_SAFE_NO_PAD.encode(pair.public_key().as_ref());
            let key = DecodingKey::from_ed_components(&x).map_err(|_| KeyError::Key)?;
            verifying.insert(kid.clone(), key);
            published.push((kid.clone(), x));
        }
        let (kid, pkcs8, _) = rows.into_iter().next().ok_or(KeyError::Key)?;
        Ok(Self {
            kid,
            macs,
            signing: EncodingKey::from_ed_der(&pkcs8),
            verifying,
            published,
            verified: Mutex::default(),
        })
    }
}

fn proof(key: &hmac::Key, context: &[u8], payload: &[u8]) -> Vec<u8> {
    let mut signer = hmac::Context::with_key(key);
    signer.update(context);
    signer.update(payload);
    signer.sign().as_ref().iter().copied().take(PROOF - TAG).collect()
}

async fn insert_new(tx: &mut super::db::AccountTx, signs_from: DateTime<Utc>) -> Result<String, KeyError> {
    let pkcs8 = Ed25519KeyPair::generate_pkcs8v1(&SystemRandom::new()).map_err(|_| KeyError::Key)?;
    let kid = Uuid::now_v7().to_string();
    sqlx::query!(
        "insert into signing_keys (kid, private_pkcs8, created_at, signs_from) values ($1, $2, $3, $4)",
        kid,
        pkcs8.as_ref(),
        Utc::now(),
        signs_from
    )
    .execute(tx.conn())
    .await?;
    Ok(kid)
}

/// A secret that carries the id of the record it belongs to, so that it is found without a global index.
#[derive(Debug)]
pub struct Opaque {
    /// The record.
    pub owner: Uuid,
    /// SHA-256 of the whole token, which is all that is stored.
    pub hash: Vec<u8>,
}

impl Opaque {
    /// Makes a token with 256 random bits: the text for the client, and what is stored.
    ///
    /// # Errors
    /// 500 when the random source fails.
    pub fn new(owner: Uuid) -> Result<(String, Self), Problem> {
        let mut secret = [0_u8; 48];
        let (id, random) = secret.split_at_mut(16);
        id.copy_from_slice(owner.as_bytes());
        rand::fill(random).map_err(|_| Problem::new(Code::Internal, "The random source failed."))?;
        let text = URL_SAFE_NO_PAD.encode(secret);
        let hash = sha256(text.as_bytes());
        Ok((text, Self { owner, hash }))
    }

    /// Reads a token from a client; none when it cannot be one of ours.
    pub fn parse(text: &str) -> Option<Self> {
        let bytes = URL_SAFE_NO_PAD.decode(text).ok().filter(|bytes| bytes.len() == 48)?;
        let owner = Uuid::from_slice(bytes.get(..16)?).ok()?;
        Some(Self { owner, hash: sha256(text.as_bytes()) })
    }
}

/// SHA-256.
pub fn sha256(bytes: &[u8]) -> Vec<u8> {
    digest::digest(&digest::SHA256, bytes).as_ref().to_vec()
}
