//! The commands of README do what it says.

use std::path::Path;
use std::process::{Command, Output};

use sqlx::PgPool;

use crate::support::TestApp;

/// The blocks of README for a shell.
fn blocks() -> Vec<String> {
    let text = std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("README.md")).unwrap();
    text.split("```sh\n").skip(1).map(|rest| rest.split("```").next().unwrap().to_owned()).collect()
}

/// Runs a block against the service; none where there is no shell with curl.
async fn run(app: &TestApp, block: &str) -> Option<Output> {
    if Command::new("curl").arg("--version").output().is_err() {
        eprintln!("not run: curl cannot be run");
        return None;
    }
    let (block, api) = (block.replace("http://127.0.0.1:8080", &app.base), app.base.clone());
    let folder = std::env::temp_dir().join(format!("lanewright-readme-{}", uuid::Uuid::now_v7()));
    std::fs::create_dir_all(&folder).unwrap();
    let place = folder.clone();
    let done = tokio::task::spawn_blocking(move || {
        let mut shell = Command::new("sh");
        shell.arg("-eu").arg("-c").arg(block).current_dir(&place);
        shell.env("LANEWRIGHT_API", api).env("TMPDIR", &place).output().unwrap()
    });
    let output = done.await.unwrap();
    std::fs::remove_dir_all(&folder).unwrap();
    Some(output)
}

fn said(output: &Output) -> String {
    format!("{}\n{}", String::from_utf8_lossy(&output.stdout), String::from_utf8_lossy(&output.stderr))
}

#[sqlx::test]
async fn the_tour_of_the_readme_leads_through_a_day_with_a_sentence_for_each_question(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let tour = &blocks()[0];
    let Some(output) = run(&app, tour).await else { return };
    let said = said(&output);
    assert!(output.status.success(), "{said}");
    let lines: Vec<&str> = said.lines().collect();
    for question in tour.lines().filter_map(|line| line.split("say \"").nth(1)?.split('"').next()) {
        let at = lines.iter().position(|line| *line == question).unwrap_or_else(|| panic!("{question}: {said}"));
        let answer = lines[at + 1];
        assert!(answer.starts_with("  ") && answer.trim().len() > 3, "{question}: {answer}");
    }
    let link = lines.iter().find(|line| line.contains("/v1/session-sheets?link=")).unwrap().trim();
    let sheets = app.get(link.strip_prefix(&*app.base).unwrap()).await.expect(200).body;
    assert_eq!(sheets["cards"]["cards"].as_array().unwrap().len(), 3);
    for file in ["set-out.html", "rhythm.wav"] {
        assert!(said.contains(file), "{said}");
    }
    // A step that fails stops it and is shown.
    let broken = tour.replace("\"straight_m\":60", "\"straight_m\":6000");
    let output = run(&app, &broken).await.unwrap();
    assert!(!output.status.success() && self::said(&output).contains("/straight_m"), "{}", self::said(&output));
    assert!(!self::said(&output).contains("What should Mira do next"));
}

#[sqlx::test]
async fn the_calculators_of_the_readme_answer(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    for block in blocks().iter().skip(1).filter(|block| block.contains("/v1")) {
        let Some(output) = run(&app, &block.replace("curl -s ", "curl -s --fail ")).await else { return };
        assert!(output.status.success(), "{}", said(&output));
    }
}
