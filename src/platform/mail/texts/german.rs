//! The letters in German.

use super::{Text, Texts};

/// The letters.
pub(super) const LETTERS: Texts = Texts {
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
    app_sign_in: Text {
        subject: "Eine App handelt für dich",
        paragraphs: &[
            "Jemand hat sich mit deinem Passwort angemeldet und eine App für dich handeln lassen: {when}. Sie heißt {app}.",
            "Wenn du das warst, ist nichts zu tun.",
            "Wenn nicht, ändere jetzt dein Passwort, was jede App und jedes andere Gerät abmeldet, und sieh die Liste deiner Apps an.",
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
    club_ending: Text {
        subject: "Dein Verein soll gelöscht werden",
        paragraphs: &[
            "Jemand aus der Vereinsverwaltung hat verlangt, dass der Verein {club} gelöscht wird. Am {day} verschwindet er mit allem, was darin ist: Sportlerinnen und Sportler, Einheiten, Aufzeichnungen, Mitglieder.",
            "Bis dahin geht alles weiter wie bisher, und wer den Verein verwaltet, kann es zurücknehmen.",
            "Wenn jemand braucht, was darin ist, verlange vor diesem Tag einen Export und lade ihn herunter.",
        ],
    },
    club_stays: Text {
        subject: "Dein Verein bleibt",
        paragraphs: &["Die Löschung des Vereins {club} wurde zurückgenommen. Es geht weiter wie bisher."],
    },
    club_ended: Text {
        subject: "Dein Verein wurde gelöscht",
        paragraphs: &[
            "Der Verein {club}, den du mitverwaltet hast, wurde am {day} gelöscht, an dem Tag, der verlangt worden war.",
            "Es gibt keinen Weg zurück. Kopien der Datenbank, die die Betreiber dieses Dienstes aufbewahren, enthalten ihn, solange es sie gibt.",
        ],
    },
    account_ended: Text {
        subject: "Dein Konto wurde gelöscht",
        paragraphs: &[
            "Dein Konto wurde gelöscht ({when}), von jemandem, der darin angemeldet war und das Passwort kannte. Alle Geräte sind abgemeldet, und du bist in keinem Verein mehr Mitglied.",
            "Wenn du das warst, ist nichts zu tun. Wenn nicht, sag es denen, die diesen Dienst betreiben, und der Verwaltung deiner Vereine: Nur sie können dich wieder aufnehmen.",
        ],
    },
};
