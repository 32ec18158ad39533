//! What a password must be, and the one form in which it is hashed.

use std::path::Path;

use precis_profiles::OpaqueString;
use precis_profiles::precis_core::profile::PrecisFastInvocation;
use secrecy::{ExposeSecret, SecretString};
use zxcvbn::Score;

use super::breached;
use super::fault::Faults;
use super::problem::{Code, Problem};

/// Fewest characters of a password, in its normal form.
pub const MIN: usize = 10;
/// Most characters of a password, in its normal form; longer ones only cost hashing time.
pub const MAX: usize = 128;
/// Most bytes that are looked at: the most characters, each taken apart into at most four of at most four bytes.
const MAX_BYTES: usize = MAX * 16;
/// Own words shorter than this are part of too many good passwords to be looked for.
const OWN_MIN: usize = 4;
/// What must be left of a password without its owner's own words.
const REST_MIN: usize = 6;
/// The longest piece whose repetition makes no password.
const PIECE: usize = 4;

/// Characters that the estimate looks at.
const HEAD: usize = 32;
/// Signs that stand for letters, and how many different ones the estimate may try to read.
const LETTER_LIKE: &str = "4@8({[<369&#!1/|0$5+7%2";
const SIGNS: usize = 6;

/// The form in which a password is hashed (RFC 8265, `OpaqueString`): the same whatever way a keyboard or system composes
/// accents and spaces. None when it contains what that profile refuses, or is far too long.
pub fn normal(password: &str) -> Option<String> {
    if password.len() > MAX_BYTES {
        return None;
    }
    OpaqueString::enforce(password).ok().map(std::borrow::Cow::into_owned)
}

/// Whether a password is longer than any that is stored, so that hashing it is useless.
pub fn is_excessive(password: &str) -> bool {
    password.len() > MAX_BYTES
}

/// Whose password it is.
#[derive(Clone, Copy, Debug)]
pub struct Owner<'a> {
    /// The e-mail address.
    pub email: &'a str,
    /// The display name.
    pub name: &'a str,
}

/// Notes why a password cannot be chosen.
///
/// Guessable ones are told by an estimate (Wheeler: zxcvbn, USENIX Security 2016) over lists of common passwords, names and
/// words, keyboard walks, dates and repetitions: it must be beyond the first million guesses.
pub fn check(faults: &mut Faults, pointer: &str, password: &SecretString, owner: Owner<'_>) {
    let given = password.expose_secret();
    let mut note = |code: &str, detail: &str| faults.add(pointer, code, detail);
    if given.chars().all(char::is_whitespace) {
        return note("blank", "must not be blank; use several words");
    }
    let Some(password) = normal(given) else {
        if is_excessive(given) {
            return note("length", &length());
        }
        return note(
            "characters",
            "must not contain control or invisible characters, nor signs newer than Unicode 6.3, which not every device enters alike",
        );
    };
    if !(MIN..=MAX).contains(&password.chars().count()) {
        return note("length", &length());
    }
    let digit = |c: char| c.is_numeric() || c.is_whitespace() || "-./:,_+()".contains(c);
    if password.chars().any(char::is_numeric) && password.chars().all(digit) {
        return note("digits", "must not be made of digits alone; add words");
    }
    if repeats(&password) {
        return note("repeated", "must not repeat one character or a short piece; use several words");
    }
    let words = own_words(owner);
    if is_own(&password, &words) {
        return note(
            "personal",
            "must not be your e-mail address, your name or the name of this service with little else; use other words",
        );
    }
    if is_guessable(&password, &words) {
        note(
            "common",
            "is among the first million that a guesser tries; use several words that do not belong together",
        );
    }
}

/// Notes that a password was stolen somewhere and stands in the list of those, if there is one.
///
/// # Errors
/// 503 when too many are waiting or the list cannot be read.
pub async fn check_breached(
    faults: &mut Faults,
    pointer: &str,
    password: &SecretString,
    list: Option<&Path>,
) -> Result<(), Problem> {
    let (Some(list), Some(password)) = (list.map(Path::to_owned), normal(password.expose_secret())) else {
        return Ok(());
    };
    let looked = tokio::task::spawn_blocking(move || breached::lists(&list, &password)).await;
    let listed = looked.map_err(std::io::Error::other).and_then(|listed| listed).map_err(|error| {
        tracing::error!(%error, "the list of stolen passwords cannot be read");
        Problem::new(Code::Unavailable, "Passwords cannot be checked at the moment; nothing was stored. Try again.")
    })?;
    if listed {
        let detail = "was stolen somewhere and is in lists that guessers try first; use another one, here and wherever else you have it";
        faults.add(pointer, "breached", detail);
    }
    Ok(())
}

/// Whether a password is among the first million guesses.
///
/// The estimate tries every reading of signs that stand for letters, and its time grows with the square of the length and
/// with each further sign: unbounded, one password keeps a core busy for seconds. So it sees the head, and its readings
/// of the first few signs; what a guesser tries first is seen all the same.
fn is_guessable(password: &str, words: &[String]) -> bool {
    let mut signs: Vec<char> = Vec::with_capacity(SIGNS);
    let head: String = password
        .chars()
        .take(HEAD)
        .map(|c| {
            if !LETTER_LIKE.contains(c) || signs.contains(&c) {
                return c;
            }
            if signs.len() == SIGNS {
                return ' ';
            }
            signs.push(c);
            c
        })
        .collect();
    let words: Vec<&str> = words.iter().map(String::as_str).collect();
    zxcvbn::zxcvbn(&head, &words).score() < Score::Two
}

fn length() -> String {
    format!("must have {MIN} to {MAX} characters")
}

/// Whether a text is a piece of at most [`PIECE`] characters over and over.
fn repeats(text: &str) -> bool {
    let chars: Vec<char> = text.to_lowercase().chars().collect();
    (1..=PIECE).any(|piece| chars.iter().zip(chars.iter().skip(piece)).all(|(one, next)| one == next))
}

/// Letters and digits alone, in lower case.
fn core(text: &str) -> String {
    text.to_lowercase().chars().filter(|c| c.is_alphanumeric()).collect()
}

/// What everybody knows of the owner, the longest first.
fn own_words(owner: Owner<'_>) -> Vec<String> {
    let parts = owner.email.split(['@', '.', '-', '_', '+']).chain(owner.name.split_whitespace());
    let whole = [owner.email, owner.email.split('@').next().unwrap_or_default(), owner.name, "lanewright"];
    let mut words: Vec<String> = whole.into_iter().chain(parts).map(core).filter(|word| !word.is_empty()).collect();
    words.sort_by_key(|word| std::cmp::Reverse(word.len()));
    words.dedup();
    words
}

/// Whether little is left of a password without its owner's words.
fn is_own(password: &str, words: &[String]) -> bool {
    let mut rest = core(password);
    let before = rest.len();
    for word in words.iter().filter(|word| word.chars().count() >= OWN_MIN) {
        rest = rest.replace(word.as_str(), "");
    }
    rest.len() < before && rest.chars().count() < REST_MIN
}

#[cfg(test)]
mod tests {
    use super::*;

    fn code(password: &str) -> Option<String> {
        let mut faults = Faults::new();
        let owner = Owner { email: "head.coach@harbour.example", name: "Ingrid Vale" };
        check(&mut faults, "/password", &SecretString::from(password), owner);
        let mut found = faults.finish(Some(())).err().unwrap_or_default();
        assert!(found.len() <= 1, "{found:?}");
        found.pop().map(|fault| fault.code)
    }

    #[test]
    fn guessable_passwords_are_refused_with_the_reason() {
        for (password, reason) in [
            ("            ", "blank"),
            ("\u{a0}\u{2003}\u{3000}         ", "blank"),
            ("short", "length"),
            ("1029384756102", "digits"),
            ("2026-11-28 10:00", "digits"),
            ("٠١٢٣٤٥٦٧٨٩١٢", "digits"),
            ("aaaaaaaaaaaa", "repeated"),
            ("............", "repeated"),
            ("haHAhaHAhaha", "repeated"),
            ("head.coach@harbour.example", "personal"),
            ("HEAD COACH 1", "personal"),
            ("Ingrid Vale!", "personal"),
            ("lanewright2026", "personal"),
            ("Lanewright-Ingrid", "personal"),
            ("password123", "common"),
            ("qwertyuiop", "common"),
            ("P@ssw0rd123", "common"),
            ("football2024", "common"),
            ("with\ta tab in it", "characters"),
            ("zero\u{200b}width words", "characters"),
        ] {
            assert_eq!(code(password).as_deref(), Some(reason), "{password:?}");
        }
    }

    #[test]
    fn several_words_will_do_in_any_script() {
        for password in [
            "five wickets in a row",
            "three strides to the next",
            "kolmas rata vasemmalla",
            "Ingrid runs every barrier",
            "шесть барьеров в ряд",
        ] {
            assert_eq!(code(password), None, "{password:?}");
        }
    }

    #[test]
    fn characters_are_counted_in_the_normal_form() {
        // Ten letters, each of two characters before they are composed.
        let accents = "e\u{301}a\u{308}o\u{302}u\u{300}i\u{301}n\u{303}c\u{327}a\u{30a}e\u{302}o\u{303}";
        assert_eq!(code(accents), None);
        assert_eq!(code(&accents[..accents.len() - 3]).as_deref(), Some("length"));
        let most: String = "five wickets in a row, ".chars().cycle().take(MAX).collect();
        assert_eq!(code(&most), None);
        assert_eq!(code(&format!("{most}x")).as_deref(), Some("length"));
        assert_eq!(code(&most.repeat(20)).as_deref(), Some("length"));
    }

    #[test]
    fn many_signs_that_stand_for_letters_are_looked_at_in_bounded_work() {
        assert_eq!(code(&format!("five wickets, {}", LETTER_LIKE.repeat(4))), None);
    }

    #[test]
    fn one_password_has_one_form() {
        assert_eq!(normal("E\u{301}cole\u{a0}du nord"), normal("\u{c9}cole du nord"));
        assert_ne!(normal("Ecole du nord"), normal("ecole du nord"), "case is kept");
        assert_eq!(normal(""), None);
    }
}
