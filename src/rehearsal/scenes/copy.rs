//! Pages: what the phone shows.

use serde_json::json;

use super::super::stage::{ItemPlay, PullPlay};
use super::{DONE, Ends, Scene, Step, athlete, happens, new, run, scene, session, there_is, venue};

pub(super) fn scenes() -> Vec<Scene> {
    vec![full_copy(), unknown_members(), late_page(), sent_again(), removed_root(), other_tokens()]
}

fn full_copy() -> Scene {
    let [mira, track] = [new("athlete"), new("session")];
    let steps = vec![
        // A reference dangles until its page has come.
        there_is(&new("run"), run(&mira, 0)),
        there_is(&new("venue"), venue("Park", 4)),
        there_is(&mira, athlete("Mira")),
        there_is(&track, session()),
        there_is(&new("lane_plan"), json!({"session_id": track.1, "lanes": []})),
        there_is(&new("venue"), venue("Hall", 2)),
        there_is(&new("venue"), venue("Hill", 1)),
        happens(|stage| stage.pulls.push_back(PullPlay::Empty)),
        DONE,
        Step::Show,
        there_is(&mira, athlete("Mira Osei")),
        DONE,
        Step::Show,
    ];
    scene("full-copy", "a copy over several pages, an empty one among them, then one change", steps)
}

fn unknown_members() -> Scene {
    let mira = new("athlete");
    let mut data = athlete("Mira");
    data["shoe"] = json!({"size": 38.5, "spikes": [6, 6, 7], "notes": "x".repeat(20_000)});
    let steps = vec![
        there_is(&mira, data),
        DONE,
        Step::Show,
        Step::Change(mira, json!({"preferred_lead_leg": "left"})),
        DONE,
        Step::Show,
    ];
    scene("unknown-members", "a record has members that the phone does not know, some of them large", steps)
}

fn late_page() -> Scene {
    let park = new("venue");
    let steps = vec![
        there_is(&park, venue("Park", 4)),
        DONE,
        there_is(&park, venue("Park", 6)),
        happens(|stage| stage.pulls.push_back(PullPlay::Late)),
        Step::Sync(Ends::Any),
        DONE,
        Step::Show,
    ];
    scene("late-page", "a page comes that answers another token than the stored one", steps)
}

fn sent_again() -> Scene {
    let [mira, park] = [new("athlete"), new("venue")];
    let again = mira.clone();
    let steps = vec![
        there_is(&mira, athlete("Mira")),
        DONE,
        // Both rows of the log carry what is stored at the time of the page.
        there_is(&mira, athlete("Mira O.")),
        there_is(&park, venue("Park", 4)),
        there_is(&mira, athlete("Mira Osei")),
        happens(move |stage| stage.say_again(again.clone())),
        DONE,
        Step::Show,
    ];
    scene("sent-again", "the same record comes several times, newer than its place in the feed", steps)
}

fn removed_root() -> Scene {
    let [mira, other, track] = [new("athlete"), new("athlete"), new("session")];
    // Phones choose ids, so a venue may have the id of an athlete.
    let same = ("venue".to_owned(), mira.1);
    let below = [new("run"), new("assessment")];
    let (root, unknown, shared) = (mira.clone(), new("athlete"), track.clone());
    let steps = vec![
        there_is(&mira, athlete("Mira")),
        there_is(&other, athlete("Ada")),
        there_is(&track, session()),
        there_is(&same, venue("Park", 4)),
        there_is(&below[0], run(&mira, 0)),
        there_is(&below[1], json!({"athlete_id": mira.1, "ratings": {"arms": 2}})),
        there_is(&new("run"), run(&other, 1)),
        there_is(&new("lane_plan"), json!({"session_id": track.1, "lanes": []})),
        DONE,
        Step::Show,
        Step::Record(new("run"), run(&mira, 2)),
        happens(move |stage| {
            // It waits in the outbox while what it belongs to goes.
            stage.items.entry(0).or_default().push_back(ItemPlay::Status(424));
            stage.remove(&root, "changed");
            stage.remove(&unknown, "deleted");
            stage.remove(&shared, "deleted");
        }),
        DONE,
        Step::Show,
        DONE,
        Step::Show,
    ];
    scene(
        "removed-root",
        "an athlete and a session are removed with what lies below, others and the outbox stay",
        steps,
    )
}

fn other_tokens() -> Scene {
    let [park, hall] = [new("venue"), new("venue")];
    let gone = hall.clone();
    let steps = vec![
        there_is(&park, venue("Park", 4)),
        there_is(&hall, venue("Hall", 2)),
        DONE,
        Step::Show,
        happens(move |stage| {
            stage.remove(&gone, "deleted");
            stage.pulls.push_back(PullPlay::Refused(400, "sync-token-invalid", 0));
        }),
        DONE,
        Step::Show,
    ];
    scene("token-refused", "400 sync-token-invalid: the copy begins afresh, and what is stale goes", steps)
}
