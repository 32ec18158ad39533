//! An authenticator of the tests' own (RFC 6238, RFC 4226), without a function of ours.

use aws_lc_rs::hmac;

/// Base32 without padding (RFC 4648).
fn bytes_of(secret: &str) -> Vec<u8> {
    let (mut bytes, mut held, mut bits) = (Vec::new(), 0_u32, 0);
    for letter in secret.bytes() {
        let value = if letter.is_ascii_uppercase() { letter - b'A' } else { letter - b'2' + 26 };
        held = (held << 5) | u32::from(value);
        bits += 5;
        if bits >= 8 {
            bits -= 8;
            bytes.push(u8::try_from((held >> bits) & 0xff).unwrap());
        }
        held &= (1 << bits) - 1;
    }
    bytes
}

/// The code of a moment (seconds since 1970).
pub fn code_at(secret: &str, at: i64) -> String {
    let key = hmac::Key::new(hmac::HMAC_SHA1_FOR_LEGACY_USE_ONLY, &bytes_of(secret));
    let tag = hmac::sign(&key, &at.div_euclid(30).to_be_bytes());
    let at = usize::from(tag.as_ref()[19] & 0x0f);
    let word = u32::from_be_bytes(tag.as_ref()[at..at + 4].try_into().unwrap()) & 0x7fff_ffff;
    format!("{:06}", word % 1_000_000)
}

/// The code of now, so many steps later.
pub fn code(secret: &str, later: i64) -> String {
    code_at(secret, chrono::Utc::now().timestamp() + 30 * later)
}
