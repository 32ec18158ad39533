//! What people are shown.

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use reqwest::Method;
use serde_json::json;
use sqlx::PgPool;

use super::{BACK, Browser, CHALLENGE, Club, Page, Registered};
use crate::support::TestApp;

/// The value of an attribute of each element that has it.
fn attributes<'a>(html: &'a str, name: &str) -> Vec<&'a str> {
    html.split(&format!(" {name}=\"")).skip(1).map(|rest| rest.split('"').next().unwrap()).collect()
}

/// What a screen reader and a keyboard need: a language, one heading, a label for each field, buttons with words.
fn is_reachable(page: &Page) {
    let html = &page.html;
    assert!(html.starts_with("<!doctype html><html lang=\"en\">"), "{html}");
    assert!(html.contains("<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">"));
    assert_eq!(
        (html.matches("<h1>").count(), html.matches("<main>").count(), html.matches("<title>").count()),
        (1, 1, 1)
    );
    let fields = html.matches("<input ").count() - html.matches("type=\"hidden\"").count();
    let labels = attributes(html, "for");
    assert_eq!(fields, labels.len(), "{html}");
    for label in labels {
        assert_eq!(html.matches(&format!(" id=\"{label}\"")).count(), 1, "{label}");
    }
    for described in attributes(html, "aria-describedby") {
        assert_eq!(html.matches(&format!(" id=\"{described}\"")).count(), 1, "{described}");
    }
    // The order of the page is the order of the keys, and what is focused is seen.
    assert!(!html.contains("tabindex") && !html.contains("autofocus") && !html.contains("outline:0"));
    assert!(html.contains(":focus-visible{outline:") && html.contains("prefers-color-scheme:dark"));
    assert!(html.split("<button ").skip(1).all(|rest| !rest.split('>').nth(1).unwrap().starts_with('<')), "{html}");
}

#[sqlx::test]
async fn the_pages_are_plain_and_can_be_reached_by_everybody(pool: PgPool) {
    let club = Club::new(&TestApp::spawn(pool).await).await;
    let app = Registered::by(&club.admin, &["squad.read", "session.write", "sync"]).await;
    let browser = Browser::new(&club.app);
    let sign_in = browser.get(&app.asks(&[])).await.expect(200);
    let failed = browser.post(&app.asks(&[]), &[("email", &club.coach.email), ("password", "x")]).await.expect(401);
    let consent =
        browser.sign_in(&app.asks(&[("scope", "squad.read session.write")]), &club.coach.email).await.expect(200);
    let over = browser.decide("x", "allow").await.expect(400);
    for page in [&sign_in, &failed, &consent, &over] {
        is_reachable(page);
        assert_eq!(page.header("content-type"), "text/html; charset=utf-8");
        assert_eq!((page.header("cache-control"), page.header("x-content-type-options")), ("no-store", "nosniff"));
        assert!(!page.headers.contains_key("set-cookie"));
    }
    assert!(
        sign_in.html.contains("Trackside Cards")
            && sign_in.html.contains("North")
            && sign_in.html.contains(&club.app.base)
    );
    assert_eq!(attributes(&sign_in.html, "autocomplete"), ["username", "current-password", "one-time-code"]);
    assert!(failed.html.contains("role=\"alert\"") && failed.html.contains("aria-invalid=\"true\""));
    // Who is asked, by whom, for what and where it leads.
    for said in [
        "Cora Coach",
        &club.coach.email,
        "Trackside Cards",
        "North",
        "See what you see",
        "Keep athletes",
        "cards.example",
    ] {
        assert!(consent.html.contains(said), "{said}: {}", consent.html);
    }
    assert!(!consent.html.contains("Run the club") && !consent.html.contains("Keep a copy"));
    assert_eq!(consent.html.matches("<li>").count(), 2);
    // The form may lead on to the app and nowhere else: browsers hold the redirect after it to that.
    let leads = |page: &Page| {
        let policy = page.header("content-security-policy").to_owned();
        policy.split("; ").find_map(|one| one.strip_prefix("form-action ").map(str::to_owned)).unwrap()
    };
    assert_eq!((leads(&sign_in), leads(&consent)), ("'self'".to_owned(), "'self' https://cards.example".to_owned()));
    // One style, known by its hash.
    let style = sign_in.html.split("<style>").nth(1).unwrap().split("</style>").next().unwrap();
    let hash = STANDARD.encode(lanewright::platform::token::sha256(style.as_bytes()));
    assert!(sign_in.header("content-security-policy").contains(&format!("style-src 'sha256-{hash}'")));
    assert!(!sign_in.html.contains(" style=\""));
}

#[sqlx::test]
async fn a_name_is_text_and_not_part_of_the_page(pool: PgPool) {
    let club = Club::new(&TestApp::spawn(pool).await).await;
    let name = "<b>Cards</b> & \"Co\" <script>alert(1)</script>";
    let body = json!({"name": name, "redirect_uris": [BACK], "scopes": ["squad.read"]});
    let registered = club.admin.post("/apps", body).await.expect(201).body;
    let app = Registered {
        app: club.app.clone(),
        id: registered["id"].as_str().unwrap().to_owned(),
        client_id: registered["client_id"].as_str().unwrap().to_owned(),
    };
    let browser = Browser::new(&club.app);
    let asks = app.asks(&[("scope", "squad.read")]);
    let shown = "&lt;b&gt;Cards&lt;/b&gt; &amp; &quot;Co&quot; &lt;script&gt;";
    let typed = "\"><script>alert(2)</script>";
    for page in [
        browser.get(&asks).await.expect(200),
        browser.sign_in(&asks, &club.coach.email).await.expect(200),
        browser.post(&asks, &[("email", typed), ("password", "x")]).await.expect(401),
    ] {
        assert!(
            page.html.contains(shown) && !page.html.contains("<script") && !page.html.contains("<b>"),
            "{}",
            page.html
        );
    }
}

#[sqlx::test]
async fn who_reads_no_html_is_told_by_a_problem_and_unknown_parameters_are_left_aside(pool: PgPool) {
    let club = Club::new(&TestApp::spawn(pool).await).await;
    let app = Registered::by(&club.admin, &["squad.read"]).await;
    let browser = Browser::new(&club.app);
    let plain = [("accept", "application/json")];
    let page = browser.ask(Method::GET, &app.asks(&[("client_id", "x")]), &plain, None).await.expect(400);
    assert_eq!(page.header("content-type"), "application/problem+json");
    assert!(page.html.contains("\"parameter\":\"client_id\""), "{}", page.html);
    let page = browser.ask(Method::POST, "/oauth/consent", &plain, Some(b"ticket=x&decision=allow".to_vec())).await;
    assert_eq!(page.expect(400).header("content-type"), "application/problem+json");
    let page = browser.ask(Method::POST, "/oauth/consent", &plain, None).await.expect(415);
    assert_eq!(page.header("content-type"), "application/problem+json");
    // RFC 6749, section 3.1.
    browser.get(&app.asks(&[("nonce", "1"), ("prompt", "login"), ("scope", "")])).await.expect(200);
    for twice in ["state", "scope", "code_challenge"] {
        let page = browser.get(&format!("{}&{twice}=x", app.asks(&[]))).await;
        assert_eq!(page.brings("error").as_deref(), Some("invalid_request"), "{twice}");
    }
    // What is broken in every way leads to an answer of ours.
    let long = "x".repeat(5_000);
    for value in [
        "%00",
        "%ff%fe",
        "<script>",
        "%0d%0aset-cookie:a",
        "'; drop table apps; --",
        "\u{202e}",
        long.as_str(),
        "[]",
        "null",
    ] {
        for name in
            ["client_id", "redirect_uri", "scope", "state", "code_challenge", "response_type", "code_challenge_method"]
        {
            let path = format!(
                "/oauth/authorize?{name}={}&client_id={}&code_challenge={CHALLENGE}",
                form_urlencoded::byte_serialize(value.as_bytes()).collect::<String>(),
                app.client_id
            );
            let page = browser.get(&path).await;
            assert!(matches!(page.status, 303 | 400), "{name}={value}: {} {}", page.status, page.html);
            let page = browser.post(&path, &[("email", value), ("password", value)]).await;
            assert!(matches!(page.status, 303 | 400), "{name}={value}: {} {}", page.status, page.html);
        }
        let page = browser.post(&app.asks(&[("scope", "")]), &[("email", value), ("password", value)]).await;
        assert!(matches!(page.status, 400 | 401), "{value}: {}", page.status);
        browser.decide(value, value).await.expect(400);
    }
}

#[sqlx::test]
async fn who_is_not_of_the_club_gets_no_further(pool: PgPool) {
    let club = Club::new(&TestApp::spawn(pool).await).await;
    let app = Registered::by(&club.admin, &["squad.read"]).await;
    let south = club.app.admin_of("South").await;
    let browser = Browser::new(&club.app);
    let page = browser.sign_in(&app.asks(&[]), &south.email).await.expect(403);
    assert!(page.html.contains("does not belong to the club"), "{}", page.html);
    // Who leaves between the page and its answer neither.
    let consent = browser.sign_in(&app.asks(&[]), &club.viewer.email).await.expect(200);
    let path = format!("/members/{}", club.viewer.account);
    let tag = club.admin.get(&path).await.expect(200).header("etag").to_owned();
    club.admin.delete(&path, &tag).await.expect(204);
    let page = browser.decide(&consent.ticket(), "allow").await.expect(403);
    assert!(page.html.contains("you have left the club"), "{}", page.html);
}
