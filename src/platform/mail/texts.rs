//! The words of every letter in every language. A new language is one more table; a test holds its gaps to those of English.
//!
//! `{gaps}` are filled when a letter is sent. A paragraph that is `{link}` or `{code}` alone becomes a link or stands apart.

mod english;
mod german;

use serde::{Deserialize, Serialize};

use super::Language;

/// The words of one letter.
#[derive(Clone, Copy, Debug)]
pub struct Text {
    /// What stands in the list of mails.
    pub subject: &'static str,
    /// Its paragraphs.
    pub paragraphs: &'static [&'static str],
}

/// What changed about the protection of an account.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Event {
    /// Another password.
    Password,
    /// Another e-mail address.
    Address,
    /// A second factor from now on.
    SecondFactorOn,
    /// None any more.
    SecondFactorOff,
}

/// Which words a letter has.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Said {
    /// Confirm your address.
    Confirm,
    /// The same, where an account that nobody confirmed has the address.
    ConfirmInstead,
    /// Somebody signed up with an address that has an account.
    Taken,
    /// A new password.
    Reset,
    /// The same, of an account that nobody confirmed.
    ResetUnproven,
    /// A new password was asked for where there is no account.
    ResetUnknown,
    /// A place in a club.
    Invitation,
    /// A new device signed in.
    SignIn,
    /// An app signed in for the person.
    AppSignIn,
    /// This is to be the address of an account.
    MoveTo,
    /// The same, where another account has it.
    MoveTaken,
    /// An account is to have another address.
    MoveFrom,
    /// What protects the account changed.
    Security(Event),
    /// A club is to be deleted.
    ClubEnding,
    /// A club is not to be deleted any more.
    ClubStays,
    /// A club was deleted.
    ClubEnded,
    /// The account was deleted.
    AccountEnded,
}

/// All letters of a language.
#[derive(Debug)]
pub struct Texts {
    hello: &'static str,
    close: &'static str,
    confirm: Text,
    confirm_instead: Text,
    taken: Text,
    reset: Text,
    reset_unproven: Text,
    reset_unknown: Text,
    invitation: Text,
    sign_in: Text,
    app_sign_in: Text,
    move_to: Text,
    move_taken: Text,
    move_from: Text,
    password: Text,
    address: Text,
    factor_on: Text,
    factor_off: Text,
    club_ending: Text,
    club_stays: Text,
    club_ended: Text,
    account_ended: Text,
}

impl Texts {
    /// The letters of a language.
    pub const fn of(language: Language) -> &'static Self {
        match language {
            Language::En => &english::LETTERS,
            Language::De => &german::LETTERS,
        }
    }

    /// How every letter begins and ends.
    pub const fn frame(&self) -> (&'static str, &'static str) {
        (self.hello, self.close)
    }

    /// The words of one letter.
    pub const fn text(&self, said: Said) -> &Text {
        match said {
            Said::Confirm => &self.confirm,
            Said::ConfirmInstead => &self.confirm_instead,
            Said::Taken => &self.taken,
            Said::Reset => &self.reset,
            Said::ResetUnproven => &self.reset_unproven,
            Said::ResetUnknown => &self.reset_unknown,
            Said::Invitation => &self.invitation,
            Said::SignIn => &self.sign_in,
            Said::AppSignIn => &self.app_sign_in,
            Said::MoveTo => &self.move_to,
            Said::MoveTaken => &self.move_taken,
            Said::MoveFrom => &self.move_from,
            Said::Security(Event::Password) => &self.password,
            Said::Security(Event::Address) => &self.address,
            Said::Security(Event::SecondFactorOn) => &self.factor_on,
            Said::Security(Event::SecondFactorOff) => &self.factor_off,
            Said::ClubEnding => &self.club_ending,
            Said::ClubStays => &self.club_stays,
            Said::ClubEnded => &self.club_ended,
            Said::AccountEnded => &self.account_ended,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const ALL: [Said; 20] = [
        Said::Confirm,
        Said::ConfirmInstead,
        Said::Taken,
        Said::Reset,
        Said::ResetUnproven,
        Said::ResetUnknown,
        Said::Invitation,
        Said::SignIn,
        Said::AppSignIn,
        Said::MoveTo,
        Said::MoveTaken,
        Said::MoveFrom,
        Said::Security(Event::Password),
        Said::Security(Event::Address),
        Said::Security(Event::SecondFactorOn),
        Said::Security(Event::SecondFactorOff),
        Said::ClubEnding,
        Said::ClubStays,
        Said::ClubEnded,
        Said::AccountEnded,
    ];

    fn gaps(text: &str) -> Vec<&str> {
        let mut gaps: Vec<&str> = text.split('{').skip(1).filter_map(|rest| rest.split('}').next()).collect();
        gaps.sort_unstable();
        gaps
    }

    #[test]
    fn every_language_has_every_letter_with_the_same_gaps_and_words_of_its_own() {
        let english = Texts::of(Language::En);
        for language in Language::ALL {
            let texts = Texts::of(language);
            assert_eq!(gaps(texts.frame().1), ["address"]);
            for said in ALL {
                let (own, model) = (texts.text(said), english.text(said));
                let own_gaps: Vec<_> = own.paragraphs.iter().map(|one| gaps(one)).collect();
                let model_gaps: Vec<_> = model.paragraphs.iter().map(|one| gaps(one)).collect();
                assert_eq!(own_gaps, model_gaps, "{language:?} {said:?}");
                assert!(!own.subject.is_empty() && gaps(own.subject).is_empty(), "{language:?} {said:?}");
                if language != Language::En {
                    assert_ne!(own.subject, model.subject, "{said:?}");
                    for (own, model) in own.paragraphs.iter().zip(model.paragraphs) {
                        assert!(own != model || gaps(own).len() == 1, "{language:?} {said:?}: {own}");
                    }
                }
            }
        }
    }
}
