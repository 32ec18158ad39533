//! Where things live and what may import what.

#![allow(clippy::unwrap_used, clippy::panic, missing_docs)]

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

fn files(folder: &str, extension: &str) -> Vec<(String, String)> {
    fn walk(folder: &Path, extension: &str, found: &mut Vec<PathBuf>) {
        for entry in fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                walk(&path, extension, found);
            } else if path.extension().is_some_and(|end| end == extension) {
                found.push(path);
            }
        }
    }
    let mut found = Vec::new();
    walk(&root().join(folder), extension, &mut found);
    found.sort();
    let name = |path: &PathBuf| path.strip_prefix(root()).unwrap().to_string_lossy().into_owned();
    found.iter().map(|path| (name(path), fs::read_to_string(path).unwrap())).collect()
}

/// The code before its unit tests, without comments.
fn code(text: &str) -> String {
    let text = text.split("#[cfg(test)]").next().unwrap_or_default();
    text.lines().filter(|line| !line.trim_start().starts_with("//")).collect::<Vec<_>>().join("\n")
}

fn refuse(found: &mut Vec<String>, name: &str, text: &str, words: &[&str]) {
    let text = code(text);
    found.extend(words.iter().filter(|word| text.contains(**word)).map(|word| format!("{name}: {word}")));
}

#[test]
fn no_arrow_points_back() {
    let mut found = Vec::new();
    for (name, text) in files("src/compute", "rs") {
        refuse(&mut found, &name, &text, &["std::time"]);
    }
    for (name, text) in files("src", "toml") {
        let what_it_needs = text.split("[dev-dependencies]").next().unwrap();
        refuse(&mut found, &name, what_it_needs, &["serde", "actix", "sqlx", "chrono", "tokio"]);
    }
    for (name, text) in files("src/platform", "rs") {
        refuse(&mut found, &name, &text, &["crate::resources", "crate::compute", "crate::render", "crate::app"]);
    }
    assert!(found.is_empty(), "{found:#?}");
}

#[test]
fn resources_do_not_import_each_other_and_each_file_keeps_to_its_kind() {
    let mut found = Vec::new();
    for (name, text) in files("src/resources", "rs") {
        let Some(folder) = name.split('/').nth(2).filter(|folder| !folder.contains('.')) else { continue };
        let text = code(&text);
        for other in text.split("crate::resources::").skip(1) {
            let other = other.split([':', ';']).next().unwrap_or_default();
            // What advice rests on is read in one place.
            // The change feed carries all of them, and so does an import, which reads what exports write.
            // A rule set is its specifications and its age groups: taking one over writes both.
            let rules = (folder, other) == ("competition_specs", "age_groups");
            // A season turns for groups and their athletes in one transaction.
            let season = (folder, other) == ("groups", "athletes");
            // Who left long ago goes as when an admin deletes them; an account that goes leaves its clubs.
            let ends = [("retention", "athletes"), ("accounts", "members")].contains(&(folder, other));
            let all = ["sync", "imports"].contains(&folder);
            if other != folder && other != "advice" && !all && !rules && !season && !ends {
                found.push(format!("{name}: imports {other}"));
            }
        }
        if !name.ends_with("store.rs") {
            refuse(&mut found, &name, &text, &["sqlx::query", "select ", "insert into "]);
        }
        match name.rsplit(['/', '_']).next().unwrap_or_default() {
            "model.rs" => refuse(&mut found, &name, &text, &["actix", "sqlx", "utoipa", "platform::problem"]),
            "store.rs" => refuse(&mut found, &name, &text, &["actix", "utoipa", "platform::problem"]),
            _ => {}
        }
    }
    assert!(found.is_empty(), "{found:#?}");
}

/// Writes that phones need not learn of by themselves: what they belong to is noted in the same transaction.
const NOTED_ELSEWHERE: [&str; 18] = [
    "insert into root_scope",
    "delete from root_scope",
    "insert into club_clock",
    "insert into club_epoch",
    "insert into account_club",
    "delete from account_club",
    "delete from consents",
    "delete from op_receipt",
    "delete from measurements",
    "delete from wellbeing_records",
    "update runs set note",
    "update assessments set note",
    "update race_results set note",
    "update recommendations set reason",
    "update athletes x set status_on",
    "update held_item set data",
    "delete from held_item",
    "delete from refused_edit",
];

#[test]
fn every_write_in_a_club_notes_its_change() {
    let mut found = Vec::new();
    let accounts = [
        "mail_outbox",
        "login_emails",
        "accounts",
        "devices",
        "refresh_tokens",
        "authorizations",
        "mail_links",
        "email_changes",
        "second_factors",
        "recovery_codes",
        "export_queue",
    ];
    // Of a club that is deleted nobody is left to tell, and what has expired of sign-ins belongs to none.
    let untold = ["clubs/ended_store.rs", "accounts/prune_store.rs"];
    let told = |name: &str| name.ends_with("store.rs") && !untold.iter().any(|end| name.ends_with(end));
    for (name, text) in files("src/resources", "rs").into_iter().filter(|(name, _)| told(name)) {
        for call in code(&text).split("sqlx::query").skip(1) {
            let statement: String = call.split_whitespace().collect::<Vec<_>>().join(" ");
            let writes = ["insert into ", "update ", "delete from "].iter().any(|verb| {
                let begins = |marker: &str| statement.contains(&format!("{marker}{verb}"));
                begins("r#\" ") || begins("(\"") || begins("( \"")
            });
            let elsewhere = NOTED_ELSEWHERE.iter().any(|known| statement.contains(known))
                || accounts.iter().any(|table| {
                    ["into", "update", "delete from"].iter().any(|verb| statement.contains(&format!("{verb} {table} ")))
                });
            let noted = ["tx.changing(", "tx.changing_all(", "tx.unsynced("].iter().any(|way| statement.contains(way));
            if writes && !noted && !elsewhere {
                found.push(format!("{name}: {}", statement.chars().take(90).collect::<String>()));
            }
        }
    }
    assert!(found.is_empty(), "{found:#?}");
}

/// Clients choose ids: a query that finds the groups of a root by its id alone would find those of another kind.
#[test]
fn the_groups_of_a_root_are_asked_for_by_kind_and_id() {
    let mut found = Vec::new();
    for (name, text) in files("src", "rs") {
        for query in code(&text).split("sqlx::query").skip(1) {
            let query = query.split(".await").next().unwrap_or_default();
            let groups_of_all = query.contains("select from root_scope where club_id = $1 and scope_id = $2)");
            if query.contains("root_scope") && !query.contains("kind") && !groups_of_all {
                found.push(format!("{name}: {}", query.split_whitespace().take(12).collect::<Vec<_>>().join(" ")));
            }
        }
    }
    assert!(found.is_empty(), "{found:#?}");
}

/// Statements that read every row of runs: file, some words of the statement, and why corrected and withdrawn ones are among them.
const EVERY_RUN: [(&str, &str, &str); 6] = [
    ("retention/drop_store.rs", "as empty", "a session stays while anything hangs from it"),
    ("retention/drop_store.rs", "order by s.held_on, s.id", "the same, when they go"),
    ("rhythm/store.rs", "r.id = $2", "one run, asked for by its id"),
    ("runs/store.rs", "i.one offset 0", "runs, asked for by their ids"),
    ("runs/store.rs", "left join runs later", "what a correction corrects"),
    ("sessions/rests_store.rs", "select 'runs'", "a session stays while anything hangs from it"),
];
/// Who asks how a session is marked. What was recorded counts whatever it says.
const MARKS: [(&str, &str); 3] = [
    ("advice/presence_store.rs", "nobody missed what was cancelled"),
    ("advice/wellbeing_store.rs", "nobody runs on the surface of a session that is cancelled"),
    ("lane_plans/store.rs", "lanes of a session that was cancelled served nobody"),
];

/// Load, advice, boards, progress, cards and tempo count the same runs: those that are neither withdrawn nor corrected, of sessions in
/// every state.
#[test]
fn whoever_counts_runs_counts_those_that_stand_whatever_their_session_is_marked_as() {
    let mut found = Vec::new();
    for (name, text) in files("src/resources", "rs").into_iter().filter(|(name, _)| name.ends_with("store.rs")) {
        let text = code(&text);
        for query in text.split("sqlx::query").skip(1) {
            let query = query.split(".await").next().unwrap_or_default();
            let reads = ["from runs r", "join runs r"].iter().any(|words| query.contains(words));
            let stands = query.contains("not r.void") && query.contains("later.supersedes = r.id");
            let every = EVERY_RUN.iter().any(|(file, words, _)| name.ends_with(file) && query.contains(words));
            if reads && !stands && !every {
                found.push(format!("{name}: {}", query.split_whitespace().take(12).collect::<Vec<_>>().join(" ")));
            }
        }
        let listed = MARKS.iter().any(|(file, _)| name.ends_with(file));
        if ["s.state", "state = 'held'", "state <> 'cancelled'"].iter().any(|words| text.contains(words)) && !listed {
            found.push(format!("{name}: asks how a session is marked"));
        }
    }
    assert!(found.is_empty(), "{found:#?}");
}

/// Documentation comments do not count: whoever explains more is not to split a file for it.
#[test]
fn no_source_file_outgrows_400_lines_before_its_tests() {
    let long: Vec<String> = files("src", "rs")
        .into_iter()
        .filter_map(|(name, text)| {
            let before = text.split("#[cfg(test)]").next().unwrap_or_default();
            let documents = |line: &&str| ["///", "//!"].iter().any(|mark| line.trim_start().starts_with(mark));
            let lines = before.lines().filter(|line| !documents(line)).count();
            (lines > 400).then(|| format!("{name}: {lines}"))
        })
        .collect();
    assert!(long.is_empty(), "{long:#?}");
}

#[test]
fn every_table_says_where_it_lives_and_clubs_tables_are_walled_off() {
    for (name, text) in files("migrations", "sql") {
        assert!(text.starts_with("-- "), "{name}: the first line says why");
        for statement in text.split("create ").skip(1) {
            let Some(table) = statement.strip_prefix("table ").or_else(|| statement.strip_prefix("unlogged table "))
            else {
                continue;
            };
            let table = table.split_whitespace().next().unwrap_or_default();
            let comment = format!("comment on table {table} is 'scope:");
            let scope = text.split(&comment).nth(1).unwrap_or_else(|| panic!("{name}: {table} has no scope"));
            if scope.starts_with("tenant") && table != "clubs" {
                let walled = text.split("ops.protect(").nth(1).is_some_and(|list| list.contains(&format!("'{table}'")));
                assert!(walled, "{name}: {table} has no row security");
            }
        }
    }
}

/// A year that no standard writes would reach the database, which cannot keep it.
#[test]
fn every_date_of_a_request_is_read_in_one_place() {
    let mut found = Vec::new();
    for (name, text) in files("src/resources", "rs") {
        let text = code(&text);
        let mut reads = false;
        let mut before = "";
        for line in text.lines() {
            if line.starts_with("#[derive(") {
                reads = line.contains("Deserialize");
            }
            let is_date = ["NaiveDate,", "Option<NaiveDate>,", "DateTime<Utc>,", "Option<DateTime<Utc>>,"]
                .iter()
                .any(|kind| line.starts_with("    ") && line.trim_end().ends_with(&format!(": {kind}")));
            if reads && is_date && !before.contains("dates::read") {
                found.push(format!("{name}: {}", line.trim()));
            }
            if line == "}" {
                reads = false;
            }
            before = line;
        }
    }
    assert!(found.is_empty(), "{found:#?}");
}

#[test]
fn the_containers_serve_no_demo_and_bring_no_password() {
    let text = fs::read_to_string(root().join("docker-compose.yml")).unwrap();
    assert!(!text.contains("--demo"));
    // Nothing secret comes by the environment: of every setting that is one the file is named, and the file is a mounted secret.
    assert!(!text.contains("${"), "a secret of the environment is seen by whoever inspects the container");
    let settings: Vec<(&str, &str)> = text
        .lines()
        .filter_map(|line| line.trim().split_once(": "))
        .filter(|(name, _)| name.chars().all(|sign| sign.is_ascii_uppercase() || sign == '_'))
        .collect();
    let secret: Vec<&(&str, &str)> = settings
        .iter()
        .filter(|(name, _)| ["PASSWORD", "KEY", "SMTP"].iter().any(|word| name.contains(word)))
        .collect();
    assert_eq!(secret.len(), 3, "{settings:?}");
    for (name, value) in secret {
        assert!(name.ends_with("_FILE") && value.starts_with("/run/secrets/"), "{name}: {value}");
        let file = value.trim_start_matches("/run/secrets/");
        assert!(text.contains(&format!("file: ./secrets/{file}")), "{file} is no secret");
    }
    let url = settings.iter().find(|(name, _)| *name == "DATABASE_URL").unwrap().1;
    let role = url.trim_start_matches("postgres://").split('@').next().unwrap();
    assert!(!role.contains(':'), "a password stands in {url}");
}

#[test]
fn the_containers_forget_nobody_who_was_erased_and_log_no_names() {
    let text = fs::read_to_string(root().join("docker-compose.yml")).unwrap();
    let (database, service) = text.split_once("\n  service:\n").unwrap();
    let setting = |name: &str| {
        let line = service.lines().find_map(|line| line.trim().strip_prefix(&format!("{name}: ")));
        line.unwrap_or_else(|| panic!("{name} is not set")).trim_matches('"').to_owned()
    };
    // The list of erasures is in a volume of its own, which the image makes for the service.
    let list = setting("LANEWRIGHT_ERASURES");
    let folder = list.rsplit_once('/').unwrap().0;
    assert!(service.contains(&format!("\n      - erasures:{folder}\n")) && service.contains("\n  erasures:"), "{list}");
    assert!(!database.contains("erasures:"), "a copy of the database would set it back");
    let image = fs::read_to_string(root().join("Dockerfile")).unwrap();
    assert!(image.contains(&format!("install -d -o lanewright -m 700 {folder}\n")), "{folder} is not the service's");
    // Only the proxy of this machine reaches the service, so what it says of a client counts.
    assert!(service.contains("- \"127.0.0.1:8080:8080\""));
    assert_eq!(setting("LANEWRIGHT_BEHIND_PROXY"), "true");
    // As the private server has it.
    let server = fs::read_to_string(root().join("src/platform/cluster/server.rs")).unwrap();
    let terse = "log_error_verbosity=terse";
    assert!(server.contains(terse) && database.contains(&format!("command: [\"postgres\", \"-c\", \"{terse}\"]")));
}

#[test]
fn each_requirement_that_is_called_met_names_a_test_that_is_there() {
    let table = fs::read_to_string(root().join("tests/hostile/asvs.md")).unwrap();
    let tests: String =
        ["tests", "src"].into_iter().flat_map(|folder| files(folder, "rs")).map(|(_, text)| text).collect();
    let mut counts = BTreeMap::new();
    for line in table.lines() {
        let cells: Vec<&str> = line.split('|').map(str::trim).collect();
        let [_, asked, _, state, _, test, _] = cells[..] else { continue };
        if !["met", "partly", "not", "operator"].contains(&state) {
            continue;
        }
        *counts.entry(state).or_insert(0) += asked.split(',').count();
        let test = test.trim_matches('`');
        assert!(test.is_empty() || tests.contains(&format!("fn {test}(")), "{asked}: there is no test {test}");
    }
    let all: usize = counts.values().sum();
    let said = format!(
        "Of {all} requirements that apply, {} are met, {} partly, {} not, and {} are the operator's.",
        counts["met"], counts["partly"], counts["not"], counts["operator"]
    );
    assert!(table.contains(&said), "{said}");
}
