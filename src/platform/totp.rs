//! Time-based codes (RFC 6238 over RFC 4226): HMAC-SHA-1, six digits, steps of 30 seconds, which every authenticator knows.

use aws_lc_rs::{constant_time, hmac};

/// Seconds of a step.
const STEP: i64 = 30;
/// Digits of a code.
const DIGITS: u32 = 6;
/// How many steps a clock may be off in either direction (RFC 6238, section 5.2, asks for one at most).
const SKEW: i64 = 1;
/// Bytes of a secret (RFC 4226, section 4, recommends 160 bits).
pub const SECRET: usize = 20;

/// The code of a step.
fn code(secret: &[u8], step: i64, digits: u32) -> String {
    let key = hmac::Key::new(hmac::HMAC_SHA1_FOR_LEGACY_USE_ONLY, secret);
    let tag = hmac::sign(&key, &step.to_be_bytes());
    let bytes = tag.as_ref();
    let at = usize::from(bytes.last().copied().unwrap_or_default() & 0x0f);
    let word = bytes.get(at..at + 4).and_then(|word| <[u8; 4]>::try_from(word).ok()).unwrap_or_default();
    let number = (u32::from_be_bytes(word) & 0x7fff_ffff) % 10_u32.pow(digits);
    format!("{number:0width$}", width = digits as usize)
}

/// The step whose code this is, around a moment (seconds since 1970); none when it is none.
pub fn step_of(secret: &[u8], given: &str, at: i64) -> Option<i64> {
    let now = at.div_euclid(STEP);
    // All of them, so that the time says nothing about which.
    let fits = |step: i64| {
        constant_time::verify_slices_are_equal(code(secret, step, DIGITS).as_bytes(), given.as_bytes()).is_ok()
    };
    (now - SKEW..=now + SKEW).fold(None, |found, step| if fits(step) { Some(step) } else { found })
}

/// Bytes in base32 without padding (RFC 4648), as authenticators take secrets.
pub fn base32(bytes: &[u8]) -> String {
    const LETTERS: &[u8; 32] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZ234567";
    let (mut text, mut held, mut bits) = (String::new(), 0_u32, 0);
    for byte in bytes {
        held = (held << 8) | u32::from(*byte);
        bits += 8;
        while bits >= 5 {
            bits -= 5;
            let letter = LETTERS.get((held >> bits) as usize & 31).copied().unwrap_or_default();
            text.push(char::from(letter));
        }
        held &= (1 << bits) - 1;
    }
    if bits > 0 {
        let letter = LETTERS.get((held << (5 - bits)) as usize & 31).copied().unwrap_or_default();
        text.push(char::from(letter));
    }
    text
}

/// The address that an authenticator reads from a picture.
pub fn uri(secret: &[u8], email: &str) -> String {
    let account: String = form_urlencoded::byte_serialize(email.as_bytes()).collect();
    format!(
        "otpauth://totp/Lanewright:{}?secret={}&issuer=Lanewright&algorithm=SHA1&digits={DIGITS}&period={STEP}",
        account.replace('+', "%20"),
        base32(secret)
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    /// RFC 6238, appendix B.
    #[test]
    fn codes_are_those_of_the_standard() {
        let secret = b"12345678901234567890";
        for (at, expected) in [
            (59, "94287082"),
            (1_111_111_109, "07081804"),
            (1_111_111_111, "14050471"),
            (1_234_567_890, "89005924"),
            (2_000_000_000, "69279037"),
            (20_000_000_000, "65353130"),
        ] {
            assert_eq!(code(secret, at / STEP, 8), expected, "{at}");
            let short = &expected[2..];
            assert_eq!(step_of(secret, short, at), Some(at / STEP));
            assert_eq!(step_of(secret, short, at + STEP), Some(at / STEP), "one step late");
            assert_eq!(step_of(secret, short, at - STEP), Some(at / STEP), "one step early");
            assert_eq!(step_of(secret, short, at + 2 * STEP), None);
            assert_eq!(step_of(b"another secret......", short, at), None);
        }
        for wrong in ["", "28708", "2870820", "abcdef", "\u{0662}87082"] {
            assert_eq!(step_of(secret, wrong, 59), None, "{wrong}");
        }
    }

    /// RFC 4648, section 10.
    #[test]
    fn base32_is_that_of_the_standard() {
        for (bytes, text) in [
            ("", ""),
            ("f", "MY"),
            ("fo", "MZXQ"),
            ("foo", "MZXW6"),
            ("foob", "MZXW6YQ"),
            ("fooba", "MZXW6YTB"),
            ("foobar", "MZXW6YTBOI"),
        ] {
            assert_eq!(base32(bytes.as_bytes()), text);
        }
        let uri = uri(b"foobar", "o'brien+x@club.example");
        assert!(uri.starts_with("otpauth://totp/Lanewright:o%27brien%2Bx%40club.example?secret=MZXW6YTBOI&"), "{uri}");
    }
}
