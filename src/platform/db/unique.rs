//! What it means that something is there already.

/// Every unique index that is no primary key, and what a violation of it means.
///
/// Stores see most of them coming: names are mapped where they are written, ids are inserted `on conflict do nothing` and
/// read back. What is left is another request at the same moment; the request is carried out again and meets what that
/// one stored. Only when it keeps coming back is the sentence answered, with 409.
const MEANINGS: [(&str, &str); 11] = [
    ("groups_name", "Another group of the club, perhaps an archived one, has this name. Choose a different one."),
    ("venues_name", "Another venue of the club has this name. Choose a different one."),
    ("barrier_configurations_name", "Another barrier configuration of the club has this name. Choose a different one."),
    ("runs_supersedes", "This run was corrected before. Correct the later run."),
    ("assessments_supersedes", "This assessment was corrected before. Correct the later assessment."),
    ("wellbeing_records_supersedes", "This well-being record was corrected before. Correct the later record."),
    ("race_results_supersedes", "This result was corrected before. Correct the later result."),
    ("attendance_pair", "This athlete's attendance of the session was noted at the same moment. Read it again."),
    ("race_entries_id", "The entries of this race test were set at the same moment. Read them again."),
    ("race_entries_pkey", "This athlete was entered at the same moment. Read the race test again."),
    ("scope_grant_active", "This member's groups were changed at the same moment. Read the member again."),
];

/// The sentence for ids.
const TAKEN: &str = "A record with this id was stored at the same moment. Read it and send what still differs.";

/// The constraint that an error says was violated: none when it is another error, none inside when it is not named.
///
/// A database that is spread over servers names the part of a table in the message alone, with a number at the end.
pub fn violated(error: &sqlx::Error) -> Option<Option<String>> {
    let error = error.as_database_error()?;
    if error.code().as_deref() != Some("23505") {
        return None;
    }
    let named = error.constraint().or_else(|| error.message().split('"').nth(1));
    Some(named.map(|name| {
        let (plain, number) = name.rsplit_once('_').unwrap_or((name, ""));
        let part = !number.is_empty() && number.bytes().all(|byte| byte.is_ascii_digit());
        (if part { plain } else { name }).to_owned()
    }))
}

/// What the violation of a constraint means, with the remedy; none when nobody thought of it.
pub fn meaning(constraint: &str) -> Option<&'static str> {
    let known = MEANINGS.iter().find(|(name, _)| *name == constraint).map(|(_, sentence)| *sentence);
    known.or_else(|| constraint.ends_with("_pkey").then_some(TAKEN))
}

/// The same for an error that may not name the constraint.
pub fn sentence(constraint: Option<&str>) -> &'static str {
    constraint
        .and_then(meaning)
        .unwrap_or("The same was stored at the same moment. Read it and send what still differs.")
}
