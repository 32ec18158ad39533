//! The database is replaced by an older copy of itself: what the phones still have comes back.

use lanewright::platform::cluster::Durability;
use lanewright::platform::config::Config;
use lanewright::platform::db::Db;
use lanewright::platform::erasures;
use lanewright::platform::ids::ClubId;
use sqlx::{AssertSqlSafe, PgPool};
use uuid::Uuid;

use super::data::person;
use super::ground::Ground;
use super::knife::{Count, Cut, Knife, places};
use super::squad::{Handset, Squad};
use crate::support::TestApp;

/// How the copy comes to work.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Way {
    /// An operator puts it there, says so, and restarts the service.
    Restored,
    /// It was a standby that lagged behind, and is promoted; nobody tells the service.
    Promoted,
}

async fn work(squad: &Squad, phones: &mut [Handset], rounds: usize) {
    for _ in 0..rounds {
        for handset in phones.iter_mut() {
            squad.record(handset);
            squad.record(handset);
            handset.round().await;
        }
    }
}

async fn replaced(way: Way) {
    let mut ground = Ground::new(Durability::Off).await;
    let app = TestApp::spawn_on(ground.pool(), ground.options(), 4).await;
    let mut squad = Squad::make(&app).await;
    let mut phones = squad.phones(3, 6).await;
    work(&squad, &mut phones, 3).await;
    for handset in &mut phones {
        handset.drain().await;
    }
    let shared = squad.admin.seq().await;
    ground.stop().await;
    ground.copy();
    ground.start().await;
    // Three phones stay at what is shared; the others hand in and fetch what the copy does not know. All are told.
    work(&squad, &mut phones[3..], 4).await;
    for handset in &mut phones[..3] {
        squad.record(handset);
    }
    let told = squad.admin.seq().await;
    assert!(told > shared);
    ground.stop().await;
    ground.restore();
    if way == Way::Promoted {
        ground.promote().await;
    } else {
        ground.start().await;
        Db::lazy(ground.options(), 1).after_restore().await.unwrap();
        let restarted = TestApp::spawn_on(ground.pool(), ground.options(), 4).await;
        squad.before(&restarted, &mut phones);
    }
    let found = squad.check(&ground.pool(), &mut phones).await;
    assert!(found.is_whole(), "{found:?}");
    for handset in &phones {
        // A phone that read only what is shared may have handed in what is lost.
        assert!(handset.answers.contains_key(&410), "every phone is told: {:?}", handset.answers);
    }
    let sql = format!(
        "begin; set local app.club_id = '{}'; do $m$ begin
           assert not exists (select from club_change where seq between {} and {}), 'a number was given twice';
         end $m$; commit",
        squad.admin.club,
        shared + 1,
        shared + (1 << 20)
    );
    sqlx::raw_sql(AssertSqlSafe(sql)).execute(&ground.pool()).await.unwrap();
    assert!(squad.admin.seq().await > shared + (1 << 20));
}

#[tokio::test]
async fn phones_bring_back_what_a_restored_copy_has_lost() {
    replaced(Way::Restored).await;
}

#[tokio::test]
async fn a_promoted_standby_that_lagged_behind_gives_no_number_twice() {
    replaced(Way::Promoted).await;
}

#[sqlx::test]
async fn an_erasure_whose_answer_was_lost_is_in_the_list_and_one_that_was_undone_is_not(pool: PgPool) {
    let options = (*pool.connect_options()).clone();
    let knife = Knife::before(&options);
    let file = std::env::temp_dir().join(format!("lanewright-erasures-{}", Uuid::now_v7()));
    let config = Config {
        workers: 1,
        connections: 1,
        audit_pause: std::time::Duration::MAX,
        erasures: Some(file.clone()),
        ..Config::default()
    };
    let app = TestApp::spawn_with(pool, knife.through(options), config).await;
    let admin = app.admin_of("North").await;
    let group = admin.group("Mine").await;
    let club = ClubId(admin.club.parse().unwrap());
    let shown = async |athlete: &str| {
        let path = format!("/athletes/{athlete}");
        let tag = admin.get(&path).await.expect(200).header("etag").to_owned();
        (path, tag)
    };
    let whole = admin.post("/athletes", person("Whole", &group)).await.expect(201).id();
    let (path, tag) = shown(&whole).await;
    knife.watch();
    admin.delete(&path, &tag).await.expect(204);
    let asked = places(&knife.rest().await.0, Count::Statements);
    let commit = asked.iter().rev().find(|place| place.statement.label.starts_with("COMMIT")).unwrap();
    for (cut, noted) in [(Cut::After, true), (Cut::Before, false)] {
        let athlete = admin.post("/athletes", person("Cut", &group)).await.expect(201).id();
        let (path, tag) = shown(&athlete).await;
        knife.arm(commit.clone(), cut);
        admin.delete(&path, &tag).await.expect(503);
        assert!(knife.rest().await.1, "the knife cut");
        let listed = erasures::read(&file).unwrap()[&club].contains(&athlete.parse().unwrap());
        assert_eq!(listed, noted, "{cut:?}");
        admin.get(&path).await.expect(if noted { 404 } else { 200 });
    }
    std::fs::remove_file(file).unwrap();
}
