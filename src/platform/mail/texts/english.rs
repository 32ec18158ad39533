//! The letters in English: the model whose gaps every language has.

use super::{Text, Texts};

/// The letters.
pub(super) const LETTERS: Texts = Texts {
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
    app_sign_in: Text {
        subject: "An app acts for you",
        paragraphs: &[
            "Somebody signed in with your password on {when} and let an app act for you. It is called {app}.",
            "If that was you, there is nothing to do.",
            "If it was not, change your password now, which signs out every app and every other device, and look at the list of your apps.",
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
    club_ending: Text {
        subject: "Your club is to be deleted",
        paragraphs: &[
            "An admin asked that the club {club} is deleted. On {day} it goes with everything in it: athletes, sessions, what was recorded, members.",
            "Until then everything goes on as before, and every admin can take it back.",
            "If somebody needs what it holds, ask for an export and download it before that day.",
        ],
    },
    club_stays: Text {
        subject: "Your club stays",
        paragraphs: &["An admin took back that the club {club} is deleted. It goes on as before."],
    },
    club_ended: Text {
        subject: "Your club was deleted",
        paragraphs: &[
            "The club {club}, of which you were an admin, was deleted on {day}, the day that an admin had asked for.",
            "There is no way back. Copies of the database that the people who run this service keep hold it as long as they are kept.",
        ],
    },
    account_ended: Text {
        subject: "Your account was deleted",
        paragraphs: &[
            "Your account was deleted on {when}, by somebody who was signed in to it and knew its password. Every device is signed out, and you are a member of no club any more.",
            "If that was you, there is nothing to do. If it was not, tell the people who run this service and the admins of your clubs: only they can let you in again.",
        ],
    },
};
