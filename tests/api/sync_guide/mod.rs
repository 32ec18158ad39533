//! `api-spec/sync-guide.md`, sentence by sentence: what it says is read from the file and held against the service.

mod claims;
mod examples;
mod figures;
mod limits;
mod people;
mod sentences;

/// The guide as it is served.
const GUIDE: &str = include_str!("../../../api-spec/sync-guide.md");

/// Text with single spaces.
fn plain(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// Fails unless the guide says this; each test below begins with the sentence it holds.
#[track_caller]
fn says(sentence: &str) {
    assert!(plain(GUIDE).contains(&plain(sentence)), "the guide does not say: {sentence}");
}

/// The lines of the guide from the one that begins with `first`, as long as they are indented as a block is.
#[track_caller]
fn block(first: &str) -> Vec<&'static str> {
    let indented = |line: &&str| line.starts_with("    ");
    let lines: Vec<&str> = GUIDE.lines().skip_while(|line| !line.trim_start().starts_with(first)).collect();
    assert!(lines.first().is_some_and(&indented), "the guide has no block that begins with {first}");
    lines.into_iter().take_while(indented).collect()
}

/// What stands in backquotes.
fn quoted(text: &str) -> Vec<String> {
    text.split('`').skip(1).step_by(2).map(str::to_owned).collect()
}

/// The cells of the row of a table whose first cell is this.
#[track_caller]
fn row(first: &str) -> Vec<&'static str> {
    let cells = |line: &'static str| line.trim_matches('|').split(" | ").map(str::trim).collect::<Vec<_>>();
    let rows = GUIDE.lines().filter(|line| line.starts_with('|')).map(cells);
    rows.into_iter().find(|cells| cells[0] == first).unwrap_or_else(|| panic!("the guide has no row {first}"))
}
