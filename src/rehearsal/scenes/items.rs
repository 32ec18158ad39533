//! What becomes of single items.

use serde_json::json;

use super::super::stage::{ItemPlay, PullPlay, Stage};
use super::{DONE, Ends, Scene, Step, athlete, happens, new, run, scene, there_is, venue};

pub(super) fn scenes() -> Vec<Scene> {
    vec![refused(), stale(), waits_for_parent(), held(), no_room(), erased()]
}

fn answers(stage: &mut Stage, at: usize, play: ItemPlay) {
    stage.items.entry(at).or_default().push_back(play);
}

fn refused() -> Scene {
    let mira = new("athlete");
    let mut steps = vec![there_is(&mira, athlete("Mira")), DONE];
    let statuses = [403, 404, 409, 410, 422, 500];
    steps.extend(statuses.iter().map(|_| Step::Record(new("run"), run(&mira, 0))));
    steps.push(Step::Record(new("run"), run(&mira, 1)));
    steps.push(happens(move |stage| {
        statuses.iter().enumerate().for_each(|(at, status)| answers(stage, at, ItemPlay::Status(*status)));
    }));
    steps.extend([DONE, Step::Show, DONE, Step::Show]);
    scene("refused", "403, 404, 409, 410, 422 and 500 are parked and hold up nothing", steps)
}

fn stale() -> Scene {
    let park = new("venue");
    let steps = vec![
        there_is(&park, venue("Park", 4)),
        DONE,
        Step::Change(park, json!({"lanes": 6})),
        happens(|stage| answers(stage, 0, ItemPlay::Stale)),
        DONE,
        Step::Show,
        Step::Insist(0),
        DONE,
        Step::Show,
    ];
    scene("stale", "412 with what is stored: the person insists, and it goes on that rev under a new op_id", steps)
}

fn waits_for_parent() -> Scene {
    let mira = new("athlete");
    let steps = vec![
        there_is(&mira, athlete("Mira")),
        DONE,
        Step::Record(new("run"), run(&mira, 0)),
        Step::Record(new("run"), run(&mira, 1)),
        happens(|stage| answers(stage, 0, ItemPlay::Status(424))),
        DONE,
        DONE,
        Step::Show,
    ];
    scene("waits-for-parent", "424 stays in the outbox and is handed in again", steps)
}

fn held() -> Scene {
    let mira = new("athlete");
    let steps = vec![
        there_is(&mira, athlete("Mira")),
        DONE,
        Step::Record(new("run"), run(&mira, 0)),
        happens(|stage| answers(stage, 0, ItemPlay::Status(202))),
        DONE,
        Step::Show,
        DONE,
    ];
    scene("held", "202 is in the journal and not sent again", steps)
}

fn no_room() -> Scene {
    let mira = new("athlete");
    let steps = vec![
        there_is(&mira, athlete("Mira")),
        DONE,
        Step::Record(new("run"), run(&mira, 0)),
        happens(|stage| answers(stage, 0, ItemPlay::Status(429))),
        DONE,
        Step::Show,
        DONE,
        Step::Show,
    ];
    scene("no-room", "429 for one item: it stays in the outbox, the pull goes on", steps)
}

fn erased() -> Scene {
    let [mira, bea, ada] = [new("athlete"), new("athlete"), new("athlete")];
    let gone = [mira.clone(), bea.clone()];
    let steps = vec![
        there_is(&mira, athlete("Mira")),
        there_is(&bea, athlete("Bea")),
        there_is(&ada, athlete("Ada")),
        DONE,
        // In the journal, parked, and in the outbox for as long as the scene lasts.
        Step::Record(new("run"), run(&mira, 0)),
        Step::Record(new("run"), run(&mira, 1)),
        Step::Record(new("run"), run(&bea, 0)),
        happens(|stage| {
            answers(stage, 1, ItemPlay::Status(422));
            (0..8).for_each(|_| answers(stage, 2, ItemPlay::Status(424)));
        }),
        DONE,
        Step::Show,
        Step::Record(new("run"), run(&mira, 2)),
        Step::Record(new("run"), run(&bea, 1)),
        Step::Record(new("run"), run(&ada, 0)),
        happens(move |stage| {
            // Of one of them the phone learns by the answer to an item, of the other by the feed.
            answers(stage, 3, ItemPlay::Erased);
            answers(stage, 4, ItemPlay::Status(422));
            for athlete in &gone {
                stage.remove(athlete, "deleted");
            }
        }),
        DONE,
        Step::Show,
        // The journal holds nothing of them that could come back.
        happens(|stage| stage.pulls.push_back(PullPlay::Refused(410, "history-diverged", 0))),
        Step::Sync(Ends::Any),
        DONE,
        Step::Show,
    ];
    scene("erased", "two athletes are deleted: nothing about them is kept, sent or shown, of others everything", steps)
}
