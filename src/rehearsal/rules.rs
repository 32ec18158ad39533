//! The rules that a phone is held to: sentences of the guide.

macro_rules! rules {
    ($($name:ident = $sentence:literal;)*) => {
        $(pub(super) const $name: &str = $sentence;)*

        /// All of them, as they stand in the guide.
        pub const ALL: &[&str] = &[$($sentence),*];
    };
}

rules! {
    LOOP = "push send the first 500 items of the outbox; file each result (table below); until the outbox is empty or stuck";
    PULL = "apply the page and store its token in ONE local transaction; until \"more\" is false";
    STOP = "on 429, 503, a time-out or a lost connection: stop, wait (Retry-After, else 2 s doubling to 5 min), start again";
    ORDER = "items in the order they happened, each with an `op_id` (UUID) that never changes";
    AGAIN = "Sending the same items again is always safe, alone or with others: each is carried out once and answered alike, for 90 days.";
    BROKEN_OFF = "A body that breaks off is a lost connection.";
    NAMES = "An edit names the rev of the record as the phone shows it, or of the phone's own confirmed edit of it whose echo has not come yet";
    TOKEN = "the last `sync_token`, stored in the same local transaction as the changes it came with";
    WHOLE = "`data` is the whole current record.";
    REMOVED = "`removed`: drop the record and every record whose parent it is, by type and id.";
    OUTBOX = "Never touch the outbox, but for an erased athlete";
    FROM = "Ignore a page whose `from` is not your stored token: it is a late answer.";
    MEMBERS = "Keep members of `data` that you do not know.";
    AFRESH = "On 410, or 400 `sync-token-invalid`: forget the token, mark every record stale, pull from the start, then delete what is still stale. Keep the outbox.";
    JOURNAL = "Put the journal back into the outbox, before what is there, with the first page of every full copy (`from` is null), in its transaction";
    MONTH = "kept for 30 days by the header `Date` of the answers (the phone's own clock may jump)";
    LIMITS = "Limits: 500 items, 1 MiB as sent, 4 MiB unpacked.";
    WAITS = "An edit of a record whose creation is still in the outbox waits for the next push: only the answer tells the rev that it must name.";
    ENVELOPE = "`device_id` is the phone's own id of its installation; `sent_at` its clock now, right or wrong";
    CONTENT = "`data` is what the ordinary create takes, without `id`";
    CONFIRMED = "move to the journal; give the returned `rev` to later outbox items of that id which name the same version";
    HELD = "move to the journal, show a note";
    PARK = "park, let the person correct it";
    INSIST = "rebase on it, send again with a new `op_id`";
    STAYS = "leave it in the outbox";
    LATER = "After 503 some items may be stored: send all of them again.";
    HALVE = "After 400 or 413 nothing was stored: send half as many; an item that is refused alone is parked.";
    GROUPS = "Send one `PATCH` for each field group";
    FORGET = "forget all that is kept of the club at once, records, outbox, journal, parked items and tokens, and say so";
    ERASED = "Learning it either way, the phone drops from outbox, journal, parked items and notes every edit of that athlete and every item whose `data` has them as `athlete_id`, in the same local transaction";
    SIGN_IN = "refresh the access token.";
    LEFT = "keep the outbox, put the journal back into it, push once more (30 days), then drop the copy";
}
