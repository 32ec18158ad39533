//! The database is replaced by an older copy of itself: what the phones still have comes back.

use lanewright::platform::cluster::Durability;
use lanewright::platform::db::Db;
use sqlx::AssertSqlSafe;

use super::ground::Ground;
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
