//! Every code that a broken field can have, with its meaning; resources add the walls of an athlete's region.

use super::words::words;

words! {
    /// Stable code of a broken field, for programs. A code never changes its meaning.
    FaultCode {
        /// Goes with `accepted` only, or not with it.
        Accepted = "accepted",
        /// Is no address to which a browser may be sent back.
        Address = "address",
        /// The first day lies after the last.
        AfterTo = "after_to",
        /// Several fit: say which.
        Ambiguous = "ambiguous",
        /// Two who must not meet cannot be kept apart.
        Apart = "apart",
        /// Is recorded once: correct it with a new record that supersedes it.
        AppendOnly = "append_only",
        /// Is no archive of an export, or not as its manifest says.
        Archive = "archive",
        /// Holds nothing that can be read.
        Blank = "blank",
        /// The body ends early or cannot be unpacked.
        Body = "body",
        /// Is a password that was stolen somewhere.
        Breached = "breached",
        /// Holds characters that cannot be kept or read.
        Characters = "characters",
        /// Is among the passwords that are guessed first.
        Common = "common",
        /// Can be, but hardly ever is: look again, and send it with `confirmed` true if it is right.
        Confirm = "confirm",
        /// Was changed by somebody else meanwhile.
        Conflict = "conflict",
        /// Two wishes exclude each other.
        Contradiction = "contradiction",
        /// Is no CSV.
        Csv = "csv",
        /// Is no cursor of this list.
        Cursor = "cursor",
        /// Is no day of the calendar.
        Date = "date",
        /// Must be the id that follows from what it joins.
        DerivedId = "derived_id",
        /// Is made of digits alone.
        Digits = "digits",
        /// Stands twice in what was sent.
        Duplicate = "duplicate",
        /// The column stands twice.
        DuplicateColumn = "duplicate_column",
        /// The row stands twice, or is on file.
        DuplicateRow = "duplicate_row",
        /// Is no e-mail address.
        Email = "email",
        /// Is not UTF-8.
        Encoding = "encoding",
        /// Is about an athlete who was deleted: nothing about them is kept.
        Erased = "erased",
        /// Cannot change any more.
        Fixed = "fixed",
        /// There is no place left.
        Full = "full",
        /// Does not fit the role: admins have no groups, others need one.
        Groups = "groups",
        /// Is guessed too soon.
        Guessable = "guessable",
        /// The entrants do not make so many heats.
        Heats = "heats",
        /// Cannot be at the age of the athlete.
        Implausible = "implausible",
        /// Is no JSON.
        Json = "json",
        /// Is the last one, which has to stay.
        Last = "last",
        /// Too short or too long, too few or too many.
        Length = "length",
        /// Is needed.
        Missing = "missing",
        /// The column is needed.
        MissingColumn = "missing_column",
        /// An override says what is run instead.
        NeedsChoice = "needs_choice",
        /// There is no schedule to compare with.
        NoSchedule = "no_schedule",
        /// The fact needs a session.
        NoSession = "no_session",
        /// The times are those of no run.
        NotARun = "not_a_run",
        /// Does not go with a clearance, or only with one.
        NotClearance = "not_clearance",
        /// The athlete is not ready; a coach may accept it.
        NotReady = "not_ready",
        /// Does not go with a report, or only with one.
        NotReport = "not_report",
        /// Does not go with a restriction, or only with one.
        NotRestriction = "not_restriction",
        /// Is not used together with another field.
        NotUsed = "not_used",
        /// Goes with video only.
        NotVideo = "not_video",
        /// Is no number.
        Number = "number",
        /// Exactly one of several fields is needed.
        OneOf = "one_of",
        /// Stands in the wrong order: the earlier is later, the smaller larger.
        Order = "order",
        /// Belongs to another athlete.
        OtherAthlete = "other_athlete",
        /// Lies on another day.
        OtherDay = "other_day",
        /// Names another record than the path or the item.
        OtherId = "other_id",
        /// Is of another kind.
        OtherKind = "other_kind",
        /// Belongs to another session.
        OtherSession = "other_session",
        /// Concerns athletes whom you do not see.
        Others = "others",
        /// Lies outside the bounds.
        OutOfRange = "out_of_range",
        /// The query cannot be read.
        Parameter = "parameter",
        /// Is not the password.
        Password = "password",
        /// Holds what is known of the person.
        Personal = "personal",
        /// A quote is open.
        Quotes = "quotes",
        /// Goes with those who ran only.
        Ran = "ran",
        /// Is read only here.
        ReadOnly = "read_only",
        /// Repeats itself: a header that came twice, a password of one short piece.
        Repeated = "repeated",
        /// The id is kept for the club.
        ReservedId = "reserved_id",
        /// Is the same as it was.
        Same = "same",
        /// The parts do not make the whole.
        Sum = "sum",
        /// Was corrected before: correct the later record.
        Superseded = "superseded",
        /// Is no time zone of the IANA list.
        TimeZone = "time_zone",
        /// Goes with a time only.
        Timed = "timed",
        /// The way of timing is not said.
        Timing = "timing",
        /// Several fields go together.
        Together = "together",
        /// Is finer than can be kept.
        TooFine = "too_fine",
        /// The period is too long.
        TooLong = "too_long",
        /// There are too many.
        TooMany = "too_many",
        /// Stands twice in a list, of lanes, athletes or heights; to be treated like `duplicate`.
        Twice = "twice",
        /// Is of the wrong type.
        Type = "type",
        /// There is no such thing.
        Unknown = "unknown",
        /// There is no such column.
        UnknownColumn = "unknown_column",
        /// The event is not run over such a course.
        UnknownCourse = "unknown_course",
        /// There is no such event.
        UnknownEvent = "unknown_event",
        /// There is no such field.
        UnknownField = "unknown_field",
        /// There is no such group.
        UnknownGroup = "unknown_group",
        /// There is no such record, or it is not yours to see.
        UnknownId = "unknown_id",
        /// There is no such parameter.
        UnknownParameter = "unknown_parameter",
        /// There is no such specification.
        UnknownSpec = "unknown_spec",
        /// Needs a confirmed e-mail address first.
        Unproven = "unproven",
        /// Nobody should run over this.
        Unsafe = "unsafe",
        /// Goes without a time only.
        Untimed = "untimed",
        /// Something on file about the athlete cannot be used.
        UnusableRecord = "unusable_record",
        /// Cannot be kept.
        Value = "value",
        /// Goes with a withdrawal only, or not with it.
        Void = "void",
        /// Is not one of the words there are.
        Word = "word",
        /// Is no XLSX workbook.
        Xlsx = "xlsx"
    }
}
