//! The attacks of RFC 9700 (IETF, 2025), section 4, one by one; each test begins with the section that it tries.

use reqwest::Method;
use serde_json::{Value, json};
use sqlx::PgPool;

use super::{BACK, Browser, CHALLENGE, Club, Registered, VERIFIER, claims, form};
use crate::support::{Caller, TestApp};

/// A club with an app that the coach may allow, and a browser.
async fn stage(pool: PgPool) -> (Club, Registered, Browser) {
    let club = Club::new(&TestApp::spawn(pool).await).await;
    let app = Registered::by(&club.admin, &["squad.read", "session.write", "sync"]).await;
    let browser = Browser::new(&club.app);
    (club, app, browser)
}

#[track_caller]
fn is_error(answer: &crate::support::Answer, error: &str) {
    assert_eq!((answer.status, &answer.body["error"]), (400, &json!(error)), "{}", answer.body);
}

#[sqlx::test]
async fn section_4_1_no_redirect_address_but_a_registered_one(pool: PgPool) {
    let (club, app, browser) = stage(pool).await;
    for wrong in [
        "https://evil.example/connected",
        "https://cards.example/connected/",
        "https://cards.example/connected?next=https://evil.example",
        "https://cards.example/connected/../evil",
        "https://cards.example.evil.example/connected",
        "https://cards.example@evil.example/connected",
        "https://cards.example/connected#",
        "HTTPS://cards.example/connected",
        "http://cards.example/connected",
        "http://localhost/connected",
        "http://127.0.0.1:80@evil.example/connected",
        "http://127.0.0.1.evil.example/connected",
        "javascript:alert(1)",
        "//evil.example",
        "",
    ] {
        for method in [Method::GET, Method::POST] {
            let sent = (method == Method::POST).then(|| form(&[("email", &club.coach.email), ("password", "x")]));
            let page = browser.ask(method, &app.asks(&[("redirect_uri", wrong)]), &[], sent).await.expect(400);
            assert_eq!(page.header("location"), "", "{wrong}");
            assert!(!page.html.contains("href=\""), "{wrong}: no link leads there: {}", page.html);
        }
    }
    // Twice the parameter, once right: nothing is chosen.
    let twice = format!("{}&redirect_uri=https%3A%2F%2Fevil.example%2F", app.asks(&[]));
    assert_eq!(browser.get(&twice).await.expect(400).header("location"), "");
    // On the person's own device any port will do.
    let port = "http://127.0.0.1:49152/connected";
    let code = app.code_of(&club.coach, &[("redirect_uri", port)]).await;
    is_error(&app.exchange(&code).await, "invalid_grant");
    app.exchange_as(&code, &[("redirect_uri", port)]).await.expect(200);
    // An address that was taken away brings no code.
    let path = format!("/apps/{}", app.id);
    let tag = club.admin.get(&path).await.expect(200).header("etag").to_owned();
    club.admin.patch(&path, &tag, json!({"redirect_uris": ["com.example.cards:/back"]})).await.expect(200);
    browser.get(&app.asks(&[])).await.expect(400);
}

#[sqlx::test]
async fn section_4_2_nothing_is_told_by_a_referer_header(pool: PgPool) {
    let (club, app, browser) = stage(pool).await;
    let page = browser.get(&app.asks(&[])).await.expect(200);
    let consent = browser.sign_in(&app.asks(&[]), &club.coach.email).await.expect(200);
    let back = browser.decide(&consent.ticket(), "allow").await;
    for (page, policy) in [(&page, "same-origin"), (&consent, "same-origin"), (&back, "no-referrer")] {
        assert_eq!(page.header("referrer-policy"), policy);
        // Nothing is loaded from elsewhere, which would be told the address.
        for foreign in ["<img", "<link", "<script", "<iframe", "src=", "url(", "@import"] {
            assert!(!page.html.contains(foreign), "{foreign}");
        }
    }
    assert_eq!(back.html, "", "no page has the code in its address");
}

#[sqlx::test]
async fn section_4_3_what_stays_in_the_history_of_a_browser_is_of_no_use(pool: PgPool) {
    let (club, app, browser) = stage(pool).await;
    let consent = browser.sign_in(&app.asks(&[]), &club.coach.email).await.expect(200);
    let ticket = consent.ticket();
    let code = browser.decide(&ticket, "allow").await.brings("code").unwrap();
    let tokens = app.exchange(&code).await.expect(200).body;
    // A code is good once; who finds it and has no verifier cannot even end what it gave.
    is_error(&app.exchange_as(&code, &[("code_verifier", &"a".repeat(43))]).await, "invalid_grant");
    let acting = Registered::acting(&club.coach, &tokens);
    acting.get("/athletes").await.expect(200);
    // Sent a second time with all that belongs to it, it ends what it gave.
    is_error(&app.exchange(&code).await, "invalid_grant");
    acting.get("/athletes").await.expect(401);
    is_error(&app.refresh(&tokens["refresh_token"]).await, "invalid_grant");
    // The page of consent does not answer twice, and neither is kept.
    browser.decide(&ticket, "allow").await.expect(400);
    assert_eq!(consent.header("cache-control"), "no-store");
    // No access token is taken from an address (RFC 9700, 2.6 and 4.3.2).
    let path = club.coach.path(&format!("/athletes?access_token={}", club.coach.token));
    club.app.get(&path).await.expect(400);
}

#[sqlx::test]
async fn section_4_4_what_comes_back_names_who_sent_it(pool: PgPool) {
    let (club, app, browser) = stage(pool).await;
    let consent = browser.sign_in(&app.asks(&[]), &club.coach.email).await.expect(200);
    let allowed = browser.decide(&consent.ticket(), "allow").await;
    let consent = browser.sign_in(&app.asks(&[]), &club.coach.email).await.expect(200);
    let denied = browser.decide(&consent.ticket(), "deny").await;
    let wrong = browser.get(&app.asks(&[("response_type", "token")])).await;
    let metadata = club.app.get("/.well-known/oauth-authorization-server").await.expect(200).body;
    for page in [&allowed, &denied, &wrong] {
        assert_eq!(page.brings("iss").as_deref(), metadata["issuer"].as_str());
        assert_eq!(page.brings("state").as_deref(), Some("s-1"));
        assert_eq!(page.sent_to().0, BACK);
    }
    assert_eq!(denied.brings("error").as_deref(), Some("access_denied"));
    // Another app of the same club gets nothing for the code, nor a third club's.
    let other = Registered::by(&club.admin, &["squad.read"]).await;
    let code = allowed.brings("code").unwrap();
    is_error(&other.exchange(&code).await, "invalid_grant");
    let south = Registered::by(&club.app.admin_of("South").await, &["squad.read"]).await;
    is_error(&south.exchange(&code).await, "invalid_grant");
    app.exchange(&code).await.expect(200);
}

#[sqlx::test]
async fn section_4_5_a_code_that_is_put_into_another_session_is_refused(pool: PgPool) {
    let (club, app, _) = stage(pool).await;
    // The attacker began with a verifier of their own and injects the victim's code.
    let code = app.code_of(&club.coach, &[]).await;
    let own = "attacker-attacker-attacker-attacker-attacker";
    for verifier in [own, CHALLENGE, &VERIFIER.to_lowercase(), &format!("{VERIFIER}A")] {
        is_error(&app.exchange_as(&code, &[("code_verifier", verifier)]).await, "invalid_grant");
    }
    let short = app.exchange_as(&code, &[("code_verifier", "short")]).await;
    is_error(&short, "invalid_request");
    app.exchange(&code).await.expect(200);
    // A code is good for a minute.
    let late = app.code_of(&club.coach, &[]).await;
    sqlx::query("update authorizations set expires_at = now() - interval '1 second' where step = 'code'")
        .execute(&club.app.pool)
        .await
        .unwrap();
    is_error(&app.exchange(&late).await, "invalid_grant");
}

#[sqlx::test]
async fn section_4_6_no_access_token_comes_by_the_browser(pool: PgPool) {
    let (_, app, browser) = stage(pool).await;
    for kind in ["token", "code token", "id_token", "none", "Code"] {
        let page = browser.get(&app.asks(&[("response_type", kind)])).await;
        assert_eq!(page.brings("error").as_deref(), Some("unsupported_response_type"), "{kind}");
        assert_eq!(page.brings("access_token"), None);
    }
    for mode in ["fragment", "form_post"] {
        let page = browser.get(&app.asks(&[("response_mode", mode)])).await;
        assert_eq!(page.brings("error").as_deref(), Some("invalid_request"), "{mode}");
    }
    browser.get(&app.asks(&[("response_mode", "query")])).await.expect(200);
}

#[sqlx::test]
async fn section_4_7_nobody_elses_page_answers_for_a_person(pool: PgPool) {
    let (club, app, browser) = stage(pool).await;
    let fields = form(&[("email", &club.coach.email), ("password", crate::support::PASSWORD)]);
    let foreign: [&[(&str, &str)]; 4] = [
        &[("sec-fetch-site", "cross-site"), ("origin", "https://evil.example")],
        &[("sec-fetch-site", "same-site")],
        &[("origin", "https://evil.example")],
        &[("origin", "null")],
    ];
    let consent = browser.sign_in(&app.asks(&[]), &club.coach.email).await.expect(200);
    // No cookie is set, so there is no session that another page could ride on, or fix.
    assert!(!consent.headers.contains_key("set-cookie"));
    let allow = form(&[("ticket", &consent.ticket()), ("decision", "allow")]);
    for marks in foreign {
        browser.ask(Method::POST, &app.asks(&[]), marks, Some(fields.clone())).await.expect(403);
        browser.ask(Method::POST, "/oauth/consent", marks, Some(allow.clone())).await.expect(403);
    }
    // A consent needs the secret of its page: not none, not a guess, not the code of another, not that of a refresh token.
    let code = app.code_of(&club.viewer, &[]).await;
    for ticket in ["", "x", &"A".repeat(64), &code, &club.coach.refresh] {
        browser.decide(ticket, "allow").await.expect(400);
    }
    browser.decide(&consent.ticket(), "perhaps").await.expect(400);
    // By its own page, marked by an older browser with the origin alone.
    let own = [("origin", club.app.base.as_str())];
    let page = browser.ask(Method::POST, "/oauth/consent", &own, Some(allow)).await;
    assert_eq!(page.brings("state").as_deref(), Some("s-1"));
    // Of two answers at once one counts.
    let consent = browser.sign_in(&app.asks(&[]), &club.coach.email).await.expect(200);
    let ticket = consent.ticket();
    let (one, other) = tokio::join!(browser.decide(&ticket, "allow"), browser.decide(&ticket, "allow"));
    let mut both = [one.status, other.status];
    both.sort_unstable();
    assert_eq!(both, [303, 400]);
    // A page that stood open for too long.
    let consent = browser.sign_in(&app.asks(&[]), &club.coach.email).await.expect(200);
    sqlx::query("update authorizations set expires_at = now() - interval '1 second' where step = 'consent'")
        .execute(&club.app.pool)
        .await
        .unwrap();
    browser.decide(&consent.ticket(), "allow").await.expect(400);
}

#[sqlx::test]
async fn section_4_8_the_proof_of_the_one_who_began_cannot_be_left_out(pool: PgPool) {
    let (club, app, browser) = stage(pool).await;
    for instead in [
        [("code_challenge", ""), ("code_challenge_method", "")],
        [("code_challenge", CHALLENGE), ("code_challenge_method", "")],
        [("code_challenge", VERIFIER), ("code_challenge_method", "plain")],
        [("code_challenge", CHALLENGE), ("code_challenge_method", "s256")],
        [("code_challenge", ""), ("code_challenge_method", "S256")],
        [("code_challenge", "short"), ("code_challenge_method", "S256")],
    ] {
        let page = browser.get(&app.asks(&instead)).await;
        assert_eq!(page.brings("error").as_deref(), Some("invalid_request"), "{instead:?}");
        let page = browser.sign_in(&app.asks(&instead), &club.coach.email).await;
        assert_eq!(page.brings("code"), None, "{instead:?}");
    }
    let code = app.code_of(&club.coach, &[]).await;
    is_error(&app.exchange_as(&code, &[("code_verifier", "")]).await, "invalid_request");
    let fields =
        [("grant_type", "authorization_code"), ("client_id", &app.client_id), ("code", &code), ("redirect_uri", BACK)];
    is_error(&app.token(&fields).await, "invalid_request");
}

#[sqlx::test]
async fn section_4_9_a_token_that_leaks_opens_one_club_for_one_app_until_it_is_taken_back(pool: PgPool) {
    let (club, app, _) = stage(pool).await;
    let (acting, _) = app.connect(&club.coach, "squad.read").await;
    let said = claims(&acting.token);
    assert_eq!(said["aud"], "lanewright-api");
    assert!(said["exp"].as_i64().unwrap() - said["iat"].as_i64().unwrap() <= 900, "{said}");
    // The coach belongs to another club as well: the token does not open it.
    let south = club.app.admin_of("South").await;
    let group = south.group("Theirs").await;
    let body = json!({"email": club.coach.email, "role": "coach", "group_ids": [group]});
    let invitation = south.post("/invitations", body).await.expect(201).body["token"].clone();
    let accept = Some(json!({"token": invitation}));
    club.coach.call(Method::POST, "/v1/invitations/accept", &[], accept).await.expect(200);
    let there = Caller { club: south.club.clone(), ..club.coach.clone() };
    there.get("/athletes").await.expect(200);
    Caller { token: acting.token.clone(), ..there }.get("/athletes").await.expect(404);
    acting.get("/athletes").await.expect(200);
}

#[sqlx::test]
async fn section_4_10_a_stolen_token_makes_no_further_one(pool: PgPool) {
    let (club, app, _) = stage(pool).await;
    let (acting, tokens) = app.connect(&club.coach, "squad.read").await;
    // An app's refresh token gives no sign-in of the person's own, nor the other way round.
    let refreshed = club.app.post("/v1/auth/refresh", json!({"refresh_token": tokens["refresh_token"]})).await;
    refreshed.expect(401);
    is_error(&app.refresh(&json!(club.coach.refresh)).await, "invalid_grant");
    is_error(&app.refresh(&json!(acting.token)).await, "invalid_grant");
    // Nor more scopes than were given.
    let wider = [
        ("grant_type", "refresh_token"),
        ("client_id", app.client_id.as_str()),
        ("refresh_token", tokens["refresh_token"].as_str().unwrap()),
        ("scope", "squad.read session.write"),
    ];
    is_error(&app.token(&wider).await, "invalid_scope");
    for account_scope in ["account", "squad.read account"] {
        let page = Browser::new(&club.app).get(&app.asks(&[("scope", account_scope)])).await;
        assert_eq!(page.brings("error").as_deref(), Some("invalid_scope"));
    }
    // Nor a link that would outlive it.
    let planning = Registered::by(&club.admin, &["plan.write", "session.write"]).await;
    let (planner, _) = planning.connect(&club.coach, "plan.write session.write").await;
    let held = json!({"held_on": chrono::Utc::now().date_naive(), "state": "planned", "group_ids": [club.group]});
    let session = planner.post("/sessions", held).await.expect(201).id();
    planner.post(&format!("/sessions/{session}/links"), json!({})).await.expect(403);
    let reading = Registered::by(&club.admin, &["squad.read"]).await;
    let (reader, _) = reading.connect(&club.coach, "squad.read").await;
    reader.post("/calendar-feeds", json!({})).await.expect(403);
    // Nor does it let admins do with less protection.
    let running = super::acting(&club.admin, &["club.admin"]).await;
    running.get("/security").await.expect(200);
    running.put("/security", "", json!({"admins_second_factor": false})).await.expect(403);
    // Nor does it let anybody in, promote or remove them, which would stay when it is revoked.
    let invited = json!({"email": "maker@example.org", "role": "admin", "group_ids": []});
    running.post("/invitations", invited.clone()).await.expect(403);
    let open = club.admin.post("/invitations", invited).await.expect(201).id();
    running.delete(&format!("/invitations/{open}"), "").await.expect(403);
    let member = format!("/members/{}", club.coach.account);
    let tag = running.get(&member).await.expect(200).header("etag").to_owned();
    running.patch(&member, &tag, json!({"role": "admin"})).await.expect(403);
    running.delete(&member, &tag).await.expect(403);
    // Nothing of all this used the token up.
    app.refresh(&tokens["refresh_token"]).await.expect(200);
}

#[sqlx::test]
async fn section_4_11_the_service_sends_browsers_nowhere_but_to_apps(pool: PgPool) {
    let (club, app, browser) = stage(pool).await;
    // What is wrong before it is sure whose request it is stays here.
    for wrong in ["nobody", "", &"A".repeat(43), &format!("{}A", app.client_id)] {
        let page = browser.get(&app.asks(&[("client_id", wrong), ("response_type", "token")])).await.expect(400);
        assert_eq!(page.header("location"), "", "{wrong}");
    }
    // Nobody is sent on before they have signed in and answered, but by a link that they can read (4.11.2).
    let page = browser.get(&app.asks(&[])).await.expect(200);
    assert_eq!(page.header("location"), "");
    assert_eq!(page.html.matches("href=\"").count(), 1);
    assert!(page.html.contains("href=\"https://cards.example/connected?error=access_denied&amp;"), "{}", page.html);
    // A state cannot break out of the query.
    let nasty = "a&code=evil#x\" onload=\"x ";
    let page = browser.get(&app.asks(&[("state", nasty), ("response_type", "token")])).await;
    assert_eq!((page.brings("state").as_deref(), page.brings("code")), (Some(nasty), None));
    let split = browser.get(&app.asks(&[("state", "a\r\nset-cookie: b=c")])).await;
    assert_eq!((split.brings("error").as_deref(), split.brings("state")), (Some("invalid_request"), None));
    assert!(!split.headers.contains_key("set-cookie"));
    let denied = browser.sign_in(&app.asks(&[("state", nasty)]), &club.coach.email).await.expect(200);
    assert_eq!(browser.decide(&denied.ticket(), "deny").await.brings("state").as_deref(), Some(nasty));
}

#[sqlx::test]
async fn section_4_12_a_redirect_carries_no_form_on(pool: PgPool) {
    let (club, app, browser) = stage(pool).await;
    let consent = browser.sign_in(&app.asks(&[]), &club.coach.email).await;
    assert_eq!(consent.status, 200, "the password is answered here");
    for decision in ["allow", "deny"] {
        let consent = browser.sign_in(&app.asks(&[]), &club.coach.email).await.expect(200);
        assert_eq!(browser.decide(&consent.ticket(), decision).await.status, 303);
    }
    assert_eq!(browser.sign_in(&app.asks(&[("response_type", "x")]), &club.coach.email).await.status, 303);
}

#[sqlx::test]
async fn section_4_13_headers_of_a_stranger_say_nothing_about_the_service(pool: PgPool) {
    let (club, app, browser) = stage(pool).await;
    let spoofed = [
        ("host", "evil.example"),
        ("x-forwarded-host", "evil.example"),
        ("x-forwarded-proto", "https"),
        ("forwarded", "host=evil.example;proto=https"),
    ];
    let page = browser.ask(Method::GET, "/.well-known/oauth-authorization-server", &spoofed, None).await.expect(200);
    let metadata: Value = serde_json::from_str(&page.html).unwrap();
    assert_eq!(metadata["issuer"], json!(club.app.base));
    let page = browser.ask(Method::GET, &app.asks(&[("response_type", "token")]), &spoofed, None).await;
    assert_eq!(page.brings("iss"), Some(club.app.base.clone()));
    let page = browser.ask(Method::GET, &app.asks(&[]), &spoofed, None).await.expect(200);
    assert!(!page.html.contains("evil.example"), "{}", page.html);
}

#[sqlx::test]
async fn section_4_14_a_refresh_token_that_is_used_twice_ends_the_sign_in_of_the_app(pool: PgPool) {
    let (club, app, _) = stage(pool).await;
    let (_, tokens) = app.connect(&club.coach, "squad.read sync").await;
    let (other, _) = app.connect(&club.coach, "squad.read").await;
    let second = app.refresh(&tokens["refresh_token"]).await.expect(200).body;
    assert_ne!(second["refresh_token"], tokens["refresh_token"]);
    let third = app.refresh(&second["refresh_token"]).await.expect(200).body;
    let acting = Registered::acting(&club.coach, &third);
    acting.get("/athletes").await.expect(200);
    is_error(&app.refresh(&tokens["refresh_token"]).await, "invalid_grant");
    acting.get("/athletes").await.expect(401);
    is_error(&app.refresh(&third["refresh_token"]).await, "invalid_grant");
    // Another device of the same app goes on, and so does the person.
    other.get("/athletes").await.expect(200);
    club.coach.get("/athletes").await.expect(200);
    // A refresh token is the app's to which it was given.
    let stranger = Registered::by(&club.admin, &["squad.read"]).await;
    let (mine, _) = app.connect(&club.coach, "squad.read").await;
    is_error(&stranger.refresh(&json!(mine.refresh)).await, "invalid_grant");
    app.refresh(&json!(mine.refresh)).await.expect(200);
    // A new password ends the sign-ins of apps too, and what was on its way to one.
    let code = app.code_of(&club.coach, &[]).await;
    let consent = Browser::new(&club.app).sign_in(&app.asks(&[]), &club.coach.email).await.expect(200);
    let change = json!({"current": crate::support::PASSWORD, "new": "seven wickets and a half"});
    club.coach.call(Method::POST, "/v1/me/password", &[], Some(change)).await.expect(204);
    other.get("/athletes").await.expect(401);
    is_error(&app.exchange(&code).await, "invalid_grant");
    Browser::new(&club.app).decide(&consent.ticket(), "allow").await.expect(400);
}

#[sqlx::test]
async fn section_4_15_an_app_is_never_taken_for_a_person(pool: PgPool) {
    let (club, app, _) = stage(pool).await;
    for kind in ["client_credentials", "password", "urn:ietf:params:oauth:grant-type:token-exchange", "implicit"] {
        let fields = [
            ("grant_type", kind),
            ("client_id", app.client_id.as_str()),
            ("username", club.coach.email.as_str()),
            ("password", crate::support::PASSWORD),
        ];
        is_error(&app.token(&fields).await, "unsupported_grant_type");
    }
    let (acting, _) = app.connect(&club.coach, "squad.read").await;
    let said = claims(&acting.token);
    assert_eq!((&said["sub"], &said["client_id"]), (&json!(club.coach.account), &json!(app.client_id)));
}

#[sqlx::test]
async fn section_4_16_no_page_shows_ours_inside_its_own(pool: PgPool) {
    let (club, app, browser) = stage(pool).await;
    let pages = [
        browser.get(&app.asks(&[])).await.expect(200),
        browser.sign_in(&app.asks(&[]), &club.coach.email).await.expect(200),
        browser.get(&app.asks(&[("client_id", "x")])).await.expect(400),
        browser.decide("x", "allow").await.expect(400),
        browser.post(&app.asks(&[]), &[("email", "x"), ("password", "y")]).await.expect(401),
    ];
    for page in pages {
        assert_eq!(page.header("x-frame-options"), "DENY");
        let policy = page.header("content-security-policy");
        assert!(policy.contains("frame-ancestors 'none'") && policy.starts_with("default-src 'none'"), "{policy}");
        assert!(
            policy.contains("base-uri 'none'") && !policy.contains("script-src") && !policy.contains("unsafe"),
            "{policy}"
        );
    }
}

#[sqlx::test]
async fn section_4_17_nothing_is_handed_over_between_windows(pool: PgPool) {
    let (club, app, browser) = stage(pool).await;
    let page = browser.get(&app.asks(&[("response_mode", "web_message")])).await;
    assert_eq!(page.brings("error").as_deref(), Some("invalid_request"));
    for page in [browser.get(&app.asks(&[])).await, browser.sign_in(&app.asks(&[]), &club.coach.email).await] {
        for script in ["<script", "postMessage", "opener", "onload", "onclick"] {
            assert!(!page.html.contains(script), "{script}");
        }
    }
}

#[sqlx::test]
async fn guesses_at_codes_are_put_off(pool: PgPool) {
    let app = TestApp::spawn_behind_proxy(pool).await;
    let club = Club::new(&app).await;
    let registered = Registered::by(&club.admin, &["squad.read"]).await;
    let guess = "A".repeat(64);
    let fields = form(&[
        ("grant_type", "authorization_code"),
        ("client_id", &registered.client_id),
        ("code", &guess),
        ("redirect_uri", BACK),
        ("code_verifier", VERIFIER),
    ]);
    let headers = [("content-type", "application/x-www-form-urlencoded"), ("x-forwarded-for", "192.0.2.7")];
    for _ in 0..60 {
        is_error(&app.send(Method::POST, "/oauth/token", &headers, Some(fields.clone())).await, "invalid_grant");
    }
    let put_off = app.send(Method::POST, "/oauth/token", &headers, Some(fields)).await.expect(429);
    assert_eq!(put_off.header("content-type"), "application/problem+json");
    // From elsewhere the app goes on.
    registered.connect(&club.coach, "squad.read").await;
}
