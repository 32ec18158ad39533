//! The numbers that the guide's sentences say: a changed one means that the tests which hold the sentence are to be looked at.

use super::sentences::sentences;

/// How a sentence with numbers in it begins, and all of them.
#[rustfmt::skip]
const FIGURES: &[(&str, &str)] = &[
    ("The records are those of the ordinary routes: `data`", "1"),
    ("Standards used: HTTP semantics (RFC 9110), merge", "9110 7396 9457 7240 9562"),
    ("**journal**: items that were answered 2xx, with", "2 30"),
    ("Sending the same items again is always safe, alone", "90"),
    ("That holds for refusals too: an edit that was refused", "403 404 409 410 412 422 428"),
    ("So does a recorded fact that was broken (422):", "422"),
    ("Of somebody who left, the last refusals beyond", "2,000"),
    ("What you send again after a refusal, changed or", "409"),
    ("`GET /v1/clubs/{club_id}/changes?types=athlete,session,run&schema=1&sync_token=st1...&limit=500`", "1 1 1 500"),
    ("`types` | the types to carry, by commas; all when", "5"),
    ("`groups` | the ids of up to 20 groups, by commas:", "20"),
    ("`schema` | version of the records' shapes: 1", "1"),
    ("`limit` | 1 to 2000 changes, 500 when absent; a", "1 2000 500 1"),
    ("header `Prefer: wait=N` | waits up to N seconds", "25"),
    ("All limits, as numbers: `GET /v1/limits`, without", "1"),
    ("On 410, or 400 `sync-token-invalid`: forget the", "410 400"),
    ("So the `session_id` of a run, assessment or attendance", "404"),
    ("200 | | apply", "200"),
    ("400 | `malformed` | a parameter is wrong: `errors`", "400"),
    ("400 | `sync-token-invalid` | rule 5; the token", "400 5"),
    ("401 | `unauthenticated` | refresh the access token.", "401 60 409"),
    ("401 | `app-revoked` | an app of a third party may", "401"),
    ("403, 404 | | no scope `sync`, or no longer a member:", "403 404 30"),
    ("410 | `sync-token-expired` | rule 5; `current.retained_since`", "410 5"),
    ("410 | `history-diverged` | rule 5; the service", "410 5"),
    ("503 | `unavailable` | later", "503"),
    ("`POST /v1/clubs/{club_id}/changes`, `Content-Type:", "1"),
    ("Limits: 500 items, 1 MiB as sent, 4 MiB unpacked.", "500 1 4"),
    ("`data` is what the ordinary create takes, without", "422"),
    ("200, 201 | stored, now or earlier (`replayed`)", "200 201"),
    ("202 | stored in the holding area; `held` says why", "202"),
    ("403, 404 | an edit of something you may not edit,", "403 404"),
    ("409 | some field groups were not applied (`conflicts`);", "409"),
    ("410 | the record was deleted, or its id is used", "410"),
    ("410 with an error `erased` | a fact about an athlete", "410"),
    ("412 | another version is stored: `current` | rebase", "412"),
    ("422 | broken: `problem.errors` has JSON pointers", "422"),
    ("424 | what it belongs to failed in this push, or", "424"),
    ("428 | no `if_match` or `base_rev` | a bug of the", "428"),
    ("429 | the holding area has no room: 2,000 facts", "429 2,000 10,000 2,000"),
    ("500 | this item broke something on our side; the", "500"),
    ("The push as a whole is answered 400 (cannot be", "400 401 403 404 413 415 429 503"),
    ("After 503 some items may be stored: send all of", "503"),
    ("After 400 or 413 nothing was stored: send half", "400 413"),
    ("Somebody who left the club may still push for 30", "30 202 2,000 403"),
    ("An item that repeats an `op_id` of the same push", "409"),
    ("Nothing is ever put into an answer that you could", "422"),
    ("An id that is taken by what you do not see cannot", "410"),
    ("A recorded fact is held (202) in the words of a", "202"),
    ("`run`, `assessment`, `decision`, `race_result`", "200 409"),
    ("`race_test` | optimistic | the same; `name`, `state`", "422"),
    ("`attendance` | set | id = UUID version 5 of the", "5 16"),
    ("`athlete` | merge | `PUT` with `if_none_match` creates;", "422"),
    ("`group_membership` | set | push only; its effect", "5 16 422"),
    ("The name of a version 5 is the 16 bytes themselves,", "5 16 9562"),
    ("A `PATCH` of `group_ids` is then answered 409 with", "409 412"),
    ("A `read_only` record is changed by its ordinary", "422"),
    ("The published specifications and age groups are", "1 1"),
    ("A `session` of several groups is deleted or cancelled", "403"),
    ("A `session` with attendance, runs, assessments", "409"),
    ("Say what stood there as well, as the plan said", "202"),
    ("What was decided is kept for 90 days.", "90"),
    ("Somebody who left may do this for 30 days.", "30"),
    ("A `decision` is judged as by its own route when", "422"),
    ("A `measurement` that was deleted by mistake is", "410"),
    ("A `lane_plan` names equipment of the club in `stock_used`;", "422"),
    ("A lane with more barriers than its athletes may", "422"),
    ("Edit what you see: others stay in their lanes,", "422 403"),
    ("The plan's rev also rises when one of its people", "412"),
    ("An `athlete` is deleted by who has all of the athlete's", "403"),
    ("An app deletes nobody", "403"),
    ("Edits and facts that come later are answered 410,", "410"),
    ("The id of an erased athlete is used up (410), so", "410"),
    ("From then on it is answered 404 by every route,", "404 404"),
    ("viewer | nothing: an edit is answered 403, a recorded", "403"),
    ("`group`, `venue`, `equipment`, `age_group` and", "403"),
    ("Deliver each page twice and late: rule 3 drops", "3"),
    ("`lanewright rehearse-phone` plays the service for", "410"),
    ("It judges what arrives, prints each scene with", "1"),
];

/// The numbers of a text, in order.
fn figures(text: &str) -> String {
    let parts = text.split(|sign: char| !sign.is_ascii_digit() && sign != ',').map(|part| part.trim_matches(','));
    parts.filter(|part| !part.is_empty()).collect::<Vec<_>>().join(" ")
}

#[test]
fn every_number_of_the_guide_is_the_one_that_its_tests_were_written_for() {
    let mut wrong = Vec::new();
    let said: Vec<(String, String)> =
        sentences().into_iter().map(|one| (figures(&one), one)).filter(|(figures, _)| !figures.is_empty()).collect();
    for (figures, sentence) in &said {
        let rows = FIGURES.iter().filter(|(begin, held)| sentence.starts_with(begin) && held == figures).count();
        if rows != 1 {
            wrong.push(format!("{rows} rows with {figures:?} for: {sentence}"));
        }
    }
    for (begin, _) in FIGURES {
        if !said.iter().any(|(_, sentence)| sentence.starts_with(begin)) {
            wrong.push(format!("the guide has no sentence with numbers: {begin}"));
        }
    }
    assert!(wrong.is_empty(), "look at the tests of these (sentences.rs), then write the numbers here: {wrong:#?}");
}
