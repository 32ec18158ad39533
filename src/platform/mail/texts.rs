//! The words of every letter in every language. A new language is one more table; a test holds its gaps to those of English.
//!
//! `{gaps}` are filled when a letter is sent. A paragraph that is `{link}` or `{code}` alone becomes a link or stands apart.

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
    /// This is to be the address of an account.
    MoveTo,
    /// The same, where another account has it.
    MoveTaken,
    /// An account is to have another address.
    MoveFrom,
    /// What protects the account changed.
    Security(Event),
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
    move_to: Text,
    move_taken: Text,
    move_from: Text,
    password: Text,
    address: Text,
    factor_on: Text,
    factor_off: Text,
}

impl Texts {
    /// The letters of a language.
    pub const fn of(language: Language) -> &'static Self {
        match language {
            Language::En => &ENGLISH,
            Language::De => &GERMAN,
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
            Said::MoveTo => &self.move_to,
            Said::MoveTaken => &self.move_taken,
            Said::MoveFrom => &self.move_from,
            Said::Security(Event::Password) => &self.password,
            Said::Security(Event::Address) => &self.address,
            Said::Security(Event::SecondFactorOn) => &self.factor_on,
            Said::Security(Event::SecondFactorOff) => &self.factor_off,
        }
    }
}

const ENGLISH: Texts = Texts {
    hello: "Hello,",
    close: "Lanewright sent this because of {address}. Nobody reads answers to it.",
    confirm: Text {
        subject: "Confirm your e-mail address",
        paragraphs: &[
            "An account of {name} was made with this address. Is it yours? Then confirm it within three days:",
            "{link}",
            "Or enter this code in the app:",
            "{code}",
            "If you did not sign up, do nothing: without your confirmation the address stays yours to use.",
        ],
    },
    confirm_instead: Text {
        subject: "Confirm your e-mail address",
        paragraphs: &[
            "An account of {name} was made with this address. Is it yours? Then confirm it within three days:",
            "{link}",
            "Or enter this code in the app:",
            "{code}",
            "There is an earlier account at this address, made on {day}, that nobody confirmed. Confirming the new one ends every sign-in of the earlier one for good, and nothing of it comes over. If the earlier one is yours, do not confirm: ask for a new password instead, and it is yours again with all that it holds.",
            "If you did not sign up, do nothing: without your confirmation the address stays yours to use.",
        ],
    },
    taken: Text {
        subject: "You have an account already",
        paragraphs: &[
            "Somebody signed up with this address. It has an account that you confirmed, so the new one cannot be used with it.",
            "If that was you, sign in to the account that you have; if you forgot its password, ask for a new one.",
            "If it was not you, do nothing: nobody got into your account.",
        ],
    },
    reset: Text {
        subject: "A new password",
        paragraphs: &[
            "A new password was asked for. Choose it within one hour:",
            "{link}",
            "Or enter this code in the app:",
            "{code}",
            "Every device that is signed in will have to sign in again. A second factor stays as it is.",
            "If you did not ask for it, do nothing: your password stays as it is.",
        ],
    },
    reset_unproven: Text {
        subject: "A new password",
        paragraphs: &[
            "A new password was asked for, of the account that {name} made with this address on {day}. Nobody confirmed that address yet; choosing a password does. Choose it within one hour:",
            "{link}",
            "Or enter this code in the app:",
            "{code}",
            "Whoever made the account is signed out of it everywhere, and their password and second factor are gone. What is in the account stays, also its clubs.",
            "If you did not make that account, do not take it over: sign up anew and confirm, and the address is yours with an empty account.",
        ],
    },
    reset_unknown: Text {
        subject: "There is no account at this address",
        paragraphs: &[
            "A new password was asked for, but no account has this address. Perhaps you signed up with another one; or sign up now.",
            "If you did not ask for it, do nothing.",
        ],
    },
    invitation: Text {
        subject: "An invitation to a club",
        paragraphs: &[
            "{inviter} invites you to the club {club} on Lanewright. The invitation is for this address and stands until {day}.",
            "Sign in, or sign up, with this address in the app that your club uses, and enter this code:",
            "{code}",
            "What to do is also here:",
            "{link}",
            "If you do not know the club, do nothing.",
        ],
    },
    sign_in: Text {
        subject: "A new device signed in",
        paragraphs: &[
            "A device that your account did not know signed in on {when}. It calls itself {device}.",
            "If that was you, there is nothing to do.",
            "If it was not, change your password now, which signs out every other device, and look at the list of your devices.",
        ],
    },
    move_to: Text {
        subject: "Confirm your new e-mail address",
        paragraphs: &[
            "The account of {name} is to have this address from now on. Is that right? Then confirm it within one day:",
            "{link}",
            "Or enter this code in the app:",
            "{code}",
            "If you do not know of this, do nothing.",
        ],
    },
    move_taken: Text {
        subject: "You have an account already",
        paragraphs: &[
            "Somebody wants to move their account to this address. It has an account that you confirmed, so that cannot be.",
            "If that was you, sign in to the account that you have, or move yours to another address.",
            "If it was not you, do nothing: nobody got into your account.",
        ],
    },
    move_from: Text {
        subject: "Your account is to have another e-mail address",
        paragraphs: &[
            "Somebody who is signed in to your account and knows its password asked that it has another address than this one. It changes when both addresses agree. Is that right? Then confirm it within one day:",
            "{link}",
            "Or enter this code in the app:",
            "{code}",
            "If it was not you, do not confirm, and change your password now.",
        ],
    },
    password: Text {
        subject: "Your password was changed",
        paragraphs: &[
            "The password of your account was changed on {when}.",
            "If that was you, there is nothing to do. If it was not, ask for a new password now: that signs out everybody else.",
        ],
    },
    address: Text {
        subject: "Your account has another e-mail address",
        paragraphs: &[
            "Since {when} your account has another address than this one; both addresses agreed.",
            "If you did not want that, tell the people who run this service.",
        ],
    },
    factor_on: Text {
        subject: "Your account has a second factor",
        paragraphs: &[
            "Since {when} your account asks for a code at every sign-in.",
            "If that was you, keep the recovery codes where the authenticator is not. If it was not, tell the people who run this service.",
        ],
    },
    factor_off: Text {
        subject: "Your account has no second factor any more",
        paragraphs: &[
            "Since {when} your account asks for no code at sign-in.",
            "If that was you, there is nothing to do. If it was not, ask for a new password now: that signs out everybody else.",
        ],
    },
};

const GERMAN: Texts = Texts {
    hello: "Guten Tag,",
    close: "Lanewright hat das wegen {address} geschickt. Antworten darauf liest niemand.",
    confirm: Text {
        subject: "Bestätige deine E-Mail-Adresse",
        paragraphs: &[
            "Mit dieser Adresse wurde ein Konto für {name} angelegt. Ist es deines? Dann bestätige es innerhalb von drei Tagen:",
            "{link}",
            "Oder gib diesen Code in der App ein:",
            "{code}",
            "Wenn du dich nicht angemeldet hast, musst du nichts tun: Ohne deine Bestätigung bleibt die Adresse für dich frei.",
        ],
    },
    confirm_instead: Text {
        subject: "Bestätige deine E-Mail-Adresse",
        paragraphs: &[
            "Mit dieser Adresse wurde ein Konto für {name} angelegt. Ist es deines? Dann bestätige es innerhalb von drei Tagen:",
            "{link}",
            "Oder gib diesen Code in der App ein:",
            "{code}",
            "An dieser Adresse gibt es ein früheres Konto vom {day}, das niemand bestätigt hat. Wenn du das neue bestätigst, wird das frühere überall und für immer abgemeldet, und nichts daraus kommt mit. Wenn das frühere deines ist, bestätige nicht: Verlange stattdessen ein neues Passwort, dann gehört es wieder dir mit allem, was darin ist.",
            "Wenn du dich nicht angemeldet hast, musst du nichts tun: Ohne deine Bestätigung bleibt die Adresse für dich frei.",
        ],
    },
    taken: Text {
        subject: "Du hast schon ein Konto",
        paragraphs: &[
            "Jemand hat sich mit dieser Adresse neu angemeldet. Sie gehört zu einem Konto, das du bestätigt hast; das neue kann sie nicht bekommen.",
            "Wenn du das warst, melde dich an dem Konto an, das du hast; wenn du das Passwort vergessen hast, verlange ein neues.",
            "Wenn du es nicht warst, musst du nichts tun: Niemand ist in dein Konto gelangt.",
        ],
    },
    reset: Text {
        subject: "Ein neues Passwort",
        paragraphs: &[
            "Ein neues Passwort wurde verlangt. Wähle es innerhalb einer Stunde:",
            "{link}",
            "Oder gib diesen Code in der App ein:",
            "{code}",
            "Jedes angemeldete Gerät muss sich danach neu anmelden. Ein zweiter Faktor bleibt, wie er ist.",
            "Wenn du das nicht verlangt hast, musst du nichts tun: Dein Passwort bleibt, wie es ist.",
        ],
    },
    reset_unproven: Text {
        subject: "Ein neues Passwort",
        paragraphs: &[
            "Ein neues Passwort wurde verlangt, und zwar für das Konto, das {name} am {day} mit dieser Adresse angelegt hat. Niemand hat die Adresse bisher bestätigt; ein neues Passwort bestätigt sie. Wähle es innerhalb einer Stunde:",
            "{link}",
            "Oder gib diesen Code in der App ein:",
            "{code}",
            "Wer das Konto angelegt hat, wird überall abgemeldet; das alte Passwort und ein zweiter Faktor sind weg. Was im Konto ist, bleibt, auch seine Vereine.",
            "Wenn du dieses Konto nicht angelegt hast, übernimm es nicht: Melde dich neu an und bestätige, dann gehört die Adresse dir mit einem leeren Konto.",
        ],
    },
    reset_unknown: Text {
        subject: "An dieser Adresse gibt es kein Konto",
        paragraphs: &[
            "Ein neues Passwort wurde verlangt, aber kein Konto hat diese Adresse. Vielleicht hast du eine andere verwendet; oder lege jetzt ein Konto an.",
            "Wenn du das nicht verlangt hast, musst du nichts tun.",
        ],
    },
    invitation: Text {
        subject: "Einladung in einen Verein",
        paragraphs: &[
            "{inviter} lädt dich auf Lanewright in den Verein {club} ein. Die Einladung gilt für diese Adresse und bis {day}.",
            "Melde dich in der App, die dein Verein verwendet, mit dieser Adresse an oder lege dort ein Konto an, und gib diesen Code ein:",
            "{code}",
            "Was zu tun ist, steht auch hier:",
            "{link}",
            "Wenn du den Verein nicht kennst, musst du nichts tun.",
        ],
    },
    sign_in: Text {
        subject: "Ein neues Gerät hat sich angemeldet",
        paragraphs: &[
            "Ein Gerät, das dein Konto nicht kannte, hat sich angemeldet: {when}. Es nennt sich {device}.",
            "Wenn du das warst, ist nichts zu tun.",
            "Wenn nicht, ändere jetzt dein Passwort, was jedes andere Gerät abmeldet, und sieh die Liste deiner Geräte an.",
        ],
    },
    move_to: Text {
        subject: "Bestätige deine neue E-Mail-Adresse",
        paragraphs: &[
            "Das Konto von {name} soll von jetzt an diese Adresse haben. Stimmt das? Dann bestätige es innerhalb eines Tages:",
            "{link}",
            "Oder gib diesen Code in der App ein:",
            "{code}",
            "Wenn du davon nichts weißt, musst du nichts tun.",
        ],
    },
    move_taken: Text {
        subject: "Du hast schon ein Konto",
        paragraphs: &[
            "Jemand will ein Konto zu dieser Adresse umziehen. Sie gehört zu einem Konto, das du bestätigt hast; das geht also nicht.",
            "Wenn du das warst, melde dich an dem Konto an, das du hast, oder zieh deines zu einer anderen Adresse um.",
            "Wenn du es nicht warst, musst du nichts tun: Niemand ist in dein Konto gelangt.",
        ],
    },
    move_from: Text {
        subject: "Dein Konto soll eine andere E-Mail-Adresse bekommen",
        paragraphs: &[
            "Jemand, der an deinem Konto angemeldet ist und das Passwort kennt, will ihm eine andere Adresse als diese geben. Sie ändert sich, wenn beide Adressen zustimmen. Stimmt das? Dann bestätige es innerhalb eines Tages:",
            "{link}",
            "Oder gib diesen Code in der App ein:",
            "{code}",
            "Wenn du das nicht warst, bestätige nicht, und ändere jetzt dein Passwort.",
        ],
    },
    password: Text {
        subject: "Dein Passwort wurde geändert",
        paragraphs: &[
            "Das Passwort deines Kontos wurde geändert: {when}.",
            "Wenn du das warst, ist nichts zu tun. Wenn nicht, verlange jetzt ein neues Passwort: Das meldet alle anderen ab.",
        ],
    },
    address: Text {
        subject: "Dein Konto hat eine andere E-Mail-Adresse",
        paragraphs: &[
            "Dein Konto hat jetzt eine andere Adresse als diese ({when}); beide Adressen haben zugestimmt.",
            "Wenn du das nicht wolltest, sag es denen, die diesen Dienst betreiben.",
        ],
    },
    factor_on: Text {
        subject: "Dein Konto hat einen zweiten Faktor",
        paragraphs: &[
            "Dein Konto verlangt jetzt bei jeder Anmeldung einen Code ({when}).",
            "Wenn du das warst, bewahre die Ersatzcodes anderswo auf als den Codegeber. Wenn nicht, sag es denen, die diesen Dienst betreiben.",
        ],
    },
    factor_off: Text {
        subject: "Dein Konto hat keinen zweiten Faktor mehr",
        paragraphs: &[
            "Dein Konto verlangt bei der Anmeldung keinen Code mehr ({when}).",
            "Wenn du das warst, ist nichts zu tun. Wenn nicht, verlange jetzt ein neues Passwort: Das meldet alle anderen ab.",
        ],
    },
};

#[cfg(test)]
mod tests {
    use super::*;

    const ALL: [Said; 15] = [
        Said::Confirm,
        Said::ConfirmInstead,
        Said::Taken,
        Said::Reset,
        Said::ResetUnproven,
        Said::ResetUnknown,
        Said::Invitation,
        Said::SignIn,
        Said::MoveTo,
        Said::MoveTaken,
        Said::MoveFrom,
        Said::Security(Event::Password),
        Said::Security(Event::Address),
        Said::Security(Event::SecondFactorOn),
        Said::Security(Event::SecondFactorOff),
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
