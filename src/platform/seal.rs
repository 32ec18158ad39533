//! Sealing what is kept in the database but must not be read from a copy of it: the key is a file.

use std::io::Write;
use std::os::unix::fs::{DirBuilderExt, OpenOptionsExt, PermissionsExt};
use std::path::Path;
use std::sync::Arc;

use aws_lc_rs::aead::{AES_256_GCM, Aad, NONCE_LEN, Nonce, RandomizedNonceKey};
use aws_lc_rs::rand;
use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;

/// Bytes of a key.
const KEY: usize = 32;
/// Where container engines mount secrets, with modes of their own.
const SECRETS: &str = "/run/secrets/";

/// A key for sealing (AES-256-GCM with a random nonce each time).
#[derive(Clone)]
pub struct Seal(Arc<Option<RandomizedNonceKey>>);

impl std::fmt::Debug for Seal {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Seal")
    }
}

/// A key that this process alone has, for as long as it runs.
impl Default for Seal {
    fn default() -> Self {
        let mut key = [0_u8; KEY];
        Self(Arc::new(rand::fill(&mut key).ok().and_then(|()| RandomizedNonceKey::new(&AES_256_GCM, &key).ok())))
    }
}

impl Seal {
    /// No key: nothing can be sealed.
    pub fn none() -> Self {
        Self(Arc::new(None))
    }

    /// The key of a file, which is made when there is none.
    ///
    /// # Errors
    /// When it cannot be read or made, is no key, or others than its owner may read it.
    pub fn of_file(path: &Path) -> std::io::Result<Self> {
        let wrong = |what: &str| std::io::Error::other(format!("{}: {what}", path.display()));
        if !path.exists() {
            make(path)?;
        }
        if is_open(path)? {
            return Err(wrong("others than its owner may read it: chmod 600"));
        }
        let text = std::fs::read_to_string(path)?;
        let key = URL_SAFE_NO_PAD.decode(text.trim()).ok().filter(|key| key.len() == KEY);
        let key = key.ok_or_else(|| wrong("is no key: 32 random bytes in base64url without padding"))?;
        let key = RandomizedNonceKey::new(&AES_256_GCM, &key).map_err(|_| wrong("is no key"))?;
        Ok(Self(Arc::new(Some(key))))
    }

    /// Seals bytes; `context` is what they are bound to. None without a key.
    pub fn seal(&self, context: &[u8], bytes: &[u8]) -> Option<Vec<u8>> {
        let mut sealed = bytes.to_vec();
        let key = Option::as_ref(&self.0)?;
        let nonce = key.seal_in_place_append_tag(Aad::from(context), &mut sealed).ok()?;
        Some([nonce.as_ref().as_slice(), sealed.as_slice()].concat())
    }

    /// The bytes behind a seal; none when another key or context sealed them, or somebody changed them.
    pub fn open(&self, context: &[u8], sealed: &[u8]) -> Option<Vec<u8>> {
        let (nonce, sealed) = sealed.split_at_checked(NONCE_LEN)?;
        let nonce = Nonce::try_assume_unique_for_key(nonce).ok()?;
        let mut bytes = sealed.to_vec();
        let opened = Option::as_ref(&self.0)?.open_in_place(nonce, Aad::from(context), &mut bytes).ok()?;
        Some(opened.to_vec())
    }
}

/// Whether others than its owner may read a file; where container engines mount secrets, the engine says who may.
///
/// # Errors
/// When there is no such file.
pub fn is_open(path: &Path) -> std::io::Result<bool> {
    let open = std::fs::metadata(path)?.permissions().mode() & 0o077 != 0;
    Ok(open && !path.starts_with(SECRETS))
}

/// Makes a key file for its owner's eyes; another process that makes it at the same moment wins.
fn make(path: &Path) -> std::io::Result<()> {
    let mut key = [0_u8; KEY];
    rand::fill(&mut key).map_err(|_| std::io::Error::other("the random source failed"))?;
    if let Some(folder) = path.parent() {
        // Others may pass, as in the folder of the private database, but neither list nor write.
        std::fs::DirBuilder::new().recursive(true).mode(0o711).create(folder)?;
    }
    let part = path.with_extension(format!("{}.part", uuid::Uuid::now_v7()));
    let mut file = std::fs::OpenOptions::new().write(true).create_new(true).mode(0o600).open(&part)?;
    writeln!(file, "{}", URL_SAFE_NO_PAD.encode(key))?;
    file.sync_all()?;
    // A link that is there already stays.
    let linked = std::fs::hard_link(&part, path);
    std::fs::remove_file(&part)?;
    match linked {
        Err(error) if error.kind() != std::io::ErrorKind::AlreadyExists => Err(error),
        _ => Ok(()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_the_same_key_and_context_open_what_nobody_changed() {
        let (one, other) = (Seal::default(), Seal::default());
        let sealed = one.seal(b"ada", b"secret").unwrap();
        assert_eq!(one.open(b"ada", &sealed).as_deref(), Some(&b"secret"[..]));
        assert_ne!(sealed, one.seal(b"ada", b"secret").unwrap(), "never twice the same");
        assert_eq!(
            (one.open(b"eve", &sealed), other.open(b"ada", &sealed), one.open(b"ada", b"short")),
            (None, None, None)
        );
        for at in 0..sealed.len() {
            let mut changed = sealed.clone();
            changed[at] ^= 1;
            assert_eq!(one.open(b"ada", &changed), None);
        }
    }

    #[test]
    fn a_key_file_is_made_once_for_its_owner_and_refused_when_others_read_it() {
        let folder = std::env::temp_dir().join(format!("lanewright-seal-{}", uuid::Uuid::now_v7()));
        let path = folder.join("inside").join("seal.key");
        let sealed = Seal::of_file(&path).unwrap().seal(b"", b"secret").unwrap();
        assert_eq!(std::fs::metadata(&path).unwrap().permissions().mode() & 0o777, 0o600);
        assert_eq!(Seal::of_file(&path).unwrap().open(b"", &sealed).as_deref(), Some(&b"secret"[..]));
        std::fs::set_permissions(&path, std::fs::Permissions::from_mode(0o640)).unwrap();
        assert!(Seal::of_file(&path).unwrap_err().to_string().contains("chmod 600"));
        std::fs::write(&path, "short").unwrap();
        std::fs::set_permissions(&path, std::fs::Permissions::from_mode(0o600)).unwrap();
        assert!(Seal::of_file(&path).unwrap_err().to_string().contains("is no key"));
        std::fs::remove_dir_all(folder).unwrap();
    }
}
