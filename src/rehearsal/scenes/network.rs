//! Answers that do not come, come in part, or say that all must wait.

use super::super::stage::{PullPlay, PushPlay};
use super::{DONE, Ends, Scene, Step, athlete, happens, new, run, scene, there_is, venue};

pub(super) fn scenes() -> Vec<Scene> {
    vec![
        answer_lost(),
        answer_cut(),
        page_cut(),
        overloaded(),
        half_stored(),
        unreadable(),
        too_large(),
        signed_out(),
        app_revoked(),
        left(),
    ]
}

/// A run of an athlete who is known, and what becomes of its push.
fn push_of_two(play: PushPlay) -> Vec<Step> {
    let mira = new("athlete");
    vec![
        there_is(&mira, athlete("Mira")),
        DONE,
        Step::Record(new("run"), run(&mira, 0)),
        Step::Record(new("run"), run(&mira, 1)),
        happens(move |stage| stage.pushes.push_back(play)),
    ]
}

fn answer_lost() -> Scene {
    let mut steps = push_of_two(PushPlay::Cut(false));
    steps.extend([Step::Sync(Ends::Later(2)), Step::Show]);
    steps.push(happens(|stage| stage.pushes.push_back(PushPlay::Cut(false))));
    // Twice in a row: it waits longer.
    steps.extend([Step::Sync(Ends::Later(4)), DONE, Step::Show]);
    scene("answer-lost", "a push is carried out, its answer is lost: the same items go again", steps)
}

fn answer_cut() -> Scene {
    let mut steps = push_of_two(PushPlay::Cut(true));
    steps.extend([Step::Sync(Ends::Later(2)), Step::Show, DONE, Step::Show]);
    scene("answer-cut", "the answer to a push breaks off in the middle", steps)
}

fn page_cut() -> Scene {
    let park = new("venue");
    let steps = vec![
        there_is(&park, venue("Park", 4)),
        DONE,
        there_is(&park, venue("Park", 6)),
        happens(|stage| stage.pulls.push_back(PullPlay::Cut(true))),
        Step::Sync(Ends::Later(2)),
        Step::Show,
        DONE,
        Step::Show,
    ];
    scene("page-cut", "a page breaks off in the middle: nothing of it is applied", steps)
}

fn overloaded() -> Scene {
    let mut steps = push_of_two(PushPlay::Refused(429, "too-many", 7));
    steps.extend([Step::Sync(Ends::Later(7)), Step::Show]);
    steps.push(happens(|stage| stage.pulls.push_back(PullPlay::Refused(503, "unavailable", 5))));
    steps.extend([Step::Sync(Ends::Later(5)), DONE, Step::Show]);
    scene("overloaded", "429 and 503 with Retry-After: the phone stops and waits as long", steps)
}

fn half_stored() -> Scene {
    let mut steps = push_of_two(PushPlay::Half(1));
    steps.extend([Step::Sync(Ends::Later(2)), Step::Show, DONE, Step::Show]);
    scene("half-stored", "503 after half of the items were stored: all of them go again", steps)
}

fn unreadable() -> Scene {
    let mira = new("athlete");
    let mut steps = vec![there_is(&mira, athlete("Mira")), DONE];
    steps.extend((0..7).map(|hits| Step::Record(new("run"), run(&mira, hits % 3))));
    steps.push(happens(|stage| stage.poison = Some(4)));
    steps.extend([DONE, Step::Show, DONE]);
    scene(
        "unreadable",
        "400 for a push with one item: halves until it is alone and parked, the others are stored",
        steps,
    )
}

fn too_large() -> Scene {
    let mira = new("athlete");
    let mut steps = vec![there_is(&mira, athlete("Mira")), DONE];
    steps.extend((0..9).map(|hits| Step::Record(new("run"), run(&mira, hits % 3))));
    steps.push(happens(|stage| stage.most = Some(3)));
    steps.extend([DONE, Step::Show]);
    scene("too-large", "413: the phone sends half as many until it fits", steps)
}

fn signed_out() -> Scene {
    let mut steps = push_of_two(PushPlay::Refused(401, "unauthenticated", 0));
    steps.extend([Step::Sync(Ends::SignIn), Step::Show, Step::SignIn, DONE, Step::Show]);
    scene("signed-out", "401: everything is kept until there is another access token", steps)
}

fn app_revoked() -> Scene {
    let mira = new("athlete");
    let steps = vec![
        there_is(&mira, athlete("Mira")),
        DONE,
        Step::Record(new("run"), run(&mira, 0)),
        happens(|stage| stage.pushes.push_back(PushPlay::Refused(401, "app-revoked", 0))),
        Step::Sync(Ends::Forgotten),
        Step::Show,
    ];
    scene("app-revoked", "401 `app-revoked`: the app forgets all that it keeps of the club", steps)
}

fn left() -> Scene {
    let mira = new("athlete");
    let steps = vec![
        Step::Record(mira.clone(), athlete("Mira")),
        DONE,
        Step::Record(new("run"), run(&mira, 0)),
        happens(|stage| stage.pulls.push_back(PullPlay::Refused(404, "not-found", 0))),
        Step::Sync(Ends::Left),
        // All goes in once more, then there is nothing to fetch.
        happens(|stage| stage.pulls.push_back(PullPlay::Refused(404, "not-found", 0))),
        Step::Sync(Ends::Left),
        Step::Show,
    ];
    scene("left", "404: no longer a member; outbox and journal go in once more, the copy is dropped", steps)
}
