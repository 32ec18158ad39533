//! The outbox and the journal: order, versions, what comes back when the service has lost it.

use serde_json::json;

use super::super::stage::{ItemPlay, PullPlay};
use super::{DONE, Ends, Scene, Step, athlete, happens, new, run, scene, there_is, venue};

/// A day in the thirties, far from any phone's clock (seconds since 1970), and a day's seconds.
const FAR: i64 = 1_988_150_400;
const DAY: i64 = 86_400;

pub(super) fn scenes() -> Vec<Scene> {
    vec![
        in_order(),
        edit_waits(),
        follow_up(),
        own_edit(),
        field_groups(),
        batches(),
        expired(),
        diverged(),
        new_epoch(),
        journal_month(),
    ]
}

fn in_order() -> Scene {
    let mira = new("athlete");
    let mut steps = vec![Step::Record(mira.clone(), athlete("Mira"))];
    steps.extend((0..5).map(|hits| Step::Record(new("run"), run(&mira, hits % 3))));
    steps.extend([Step::Show, DONE, Step::Show, DONE]);
    scene("in-order", "what was done offline is handed in in the order it happened, once", steps)
}

fn edit_waits() -> Scene {
    let park = new("venue");
    let steps = vec![
        Step::Record(park.clone(), venue("Park", 4)),
        Step::Change(park.clone(), json!({"lanes": 6})),
        DONE,
        Step::Show,
        Step::Delete(park),
        DONE,
        Step::Show,
    ];
    scene("edit-waits", "a record is created and edited offline: the edit names the rev of the answer", steps)
}

fn follow_up() -> Scene {
    let park = new("venue");
    let steps = vec![
        there_is(&park, venue("Park", 4)),
        DONE,
        Step::Change(park.clone(), json!({"lanes": 5})),
        Step::Change(park.clone(), json!({"lanes": 6})),
        // Only the first is answered, so that the second goes alone.
        happens(|stage| {
            stage.items.entry(1).or_default().push_back(ItemPlay::Status(424));
        }),
        DONE,
        DONE,
        Step::Show,
    ];
    scene("follow-up", "of two edits one is answered: the other names the rev that it led to", steps)
}

fn own_edit() -> Scene {
    let park = new("venue");
    let steps = vec![
        there_is(&park, venue("Park", 4)),
        DONE,
        Step::Change(park.clone(), json!({"lanes": 5})),
        happens(|stage| stage.pulls.push_back(PullPlay::Refused(503, "unavailable", 2))),
        Step::Sync(Ends::Later(2)),
        Step::Change(park, json!({"lanes": 6})),
        DONE,
        Step::Show,
    ];
    scene("own-edit", "an edit is confirmed, its echo has not come: the next edit names the rev of the journal", steps)
}

fn field_groups() -> Scene {
    let mira = new("athlete");
    let steps = vec![
        there_is(&mira, athlete("Mira")),
        DONE,
        Step::Change(mira.clone(), json!({"display_name": "Mira Osei", "preferred_lead_leg": "left"})),
        Step::Change(mira.clone(), json!({"preferred_lead_leg": "right"})),
        happens(|stage| {
            stage.items.entry(1).or_default().push_back(ItemPlay::Status(424));
            stage.items.entry(2).or_default().push_back(ItemPlay::Status(424));
        }),
        // The name is stored; the rev it led to says nothing about the leg.
        DONE,
        DONE,
        Step::Show,
    ];
    scene("field-groups", "an athlete's field groups go one by one, and a rev speaks for its own group alone", steps)
}

fn batches() -> Scene {
    let mira = new("athlete");
    let mut steps = vec![there_is(&mira, athlete("Mira")), DONE];
    steps.extend((0..620).map(|hits: u16| Step::Record(new("run"), run(&mira, u8::try_from(hits % 3).unwrap_or(0)))));
    steps.extend([happens(|stage| stage.page = 500), DONE, Step::Show]);
    scene("batches", "620 items go in pushes of at most 500", steps)
}

fn expired() -> Scene {
    let [park, hall, mira] = [new("venue"), new("venue"), new("athlete")];
    let gone = hall.clone();
    let steps = vec![
        there_is(&park, venue("Park", 4)),
        there_is(&hall, venue("Hall", 2)),
        Step::Record(mira.clone(), athlete("Mira")),
        DONE,
        Step::Record(new("run"), run(&mira, 0)),
        happens(move |stage| {
            stage.remove(&gone, "deleted");
            // It stays in the outbox, so that the full copy finds something there.
            stage.items.entry(1).or_default().extend([ItemPlay::Status(424); 2]);
            stage.pulls.push_back(PullPlay::Refused(410, "sync-token-expired", 0));
        }),
        // The journal is in the outbox again after this round, and goes in with the next.
        Step::Sync(Ends::Any),
        DONE,
        Step::Show,
    ];
    scene("expired", "410 sync-token-expired: a full copy, what is stale goes, outbox and journal are handed in", steps)
}

fn diverged() -> Scene {
    let [mira, first, second, later] = [new("athlete"), new("run"), new("run"), new("run")];
    let steps = vec![
        Step::Record(mira.clone(), athlete("Mira")),
        Step::Record(first, run(&mira, 0)),
        Step::Record(second, run(&mira, 1)),
        DONE,
        DONE,
        Step::Record(later, run(&mira, 2)),
        happens(|stage| {
            stage.forget(&[1, 2]);
            // The latest run waits in the outbox when the journal comes back.
            stage.items.entry(3).or_default().push_back(ItemPlay::Status(424));
            stage.pulls.push_back(PullPlay::Refused(410, "history-diverged", 0));
            stage.pulls.push_back(PullPlay::Empty);
            stage.pulls.push_back(PullPlay::Refused(503, "unavailable", 2));
        }),
        Step::Sync(Ends::Later(2)),
        Step::Show,
        DONE,
        Step::Show,
    ];
    scene(
        "history-diverged",
        "the service lost two runs: the journal goes back before the newer item, and hands them in",
        steps,
    )
}

fn new_epoch() -> Scene {
    let [park, mira] = [new("venue"), new("athlete")];
    let steps = vec![
        there_is(&park, venue("Park", 4)),
        DONE,
        Step::Change(park.clone(), json!({"lanes": 6})),
        Step::Record(mira, athlete("Mira")),
        DONE,
        happens(move |stage| {
            stage.forget(&[1]);
            stage.pulls.push_back(PullPlay::Refused(410, "history-diverged", 0));
        }),
        Step::Sync(Ends::Any),
        DONE,
        DONE,
        Step::Show,
    ];
    scene("new-epoch", "numbers jump and tokens are of another history: edits that are kept are answered alike", steps)
}

fn journal_month() -> Scene {
    let mira = new("athlete");
    let park = new("venue");
    let steps = vec![
        happens(|stage| stage.date = Some(FAR)),
        Step::Record(mira, athlete("Mira")),
        DONE,
        happens(|stage| stage.date = Some(FAR + 20 * DAY)),
        there_is(&park, venue("Park", 4)),
        DONE,
        happens(|stage| {
            stage.forget(&[0]);
            stage.pulls.push_back(PullPlay::Refused(410, "history-diverged", 0));
        }),
        Step::Sync(Ends::Any),
        DONE,
        Step::Show,
    ];
    scene(
        "journal-month",
        "20 days later by the header Date, in a year that the phone's clock does not know, the journal is there",
        steps,
    )
}
