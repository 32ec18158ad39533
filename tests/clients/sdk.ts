// The main job through the client that @hey-api/openapi-ts generates: a function for each operation.

import { client } from "./sdk/client.gen";
import * as lanewright from "./sdk/sdk.gen";
import type { FeedChange, PushItem } from "./sdk/types.gen";
import { api, check, good, is, person, roster, secret, tag, today } from "./job";

client.setConfig({ baseUrl: api });
const signedUp = good(await lanewright.signUp({ body: person("sdk") }));
client.setConfig({ auth: () => signedUp.tokens.access_token });
check(signedUp.club, "the club comes with the sign-up");
const path = { club_id: signedUp.club.id };

// The tour: what athletes race over, group, venue, barriers, roster, session, runs, advice, lanes, tape.
good(await lanewright.adoptCompetitionSpecs({ path, body: { from: "UKA-2024", valid_from: today } }));
const group = good(await lanewright.createGroup({ path, body: { name: "Squad" } }));
const venue = await lanewright.createVenue({
  path,
  body: { name: "Track", environment: "outdoor", straight_m: 60, lanes: 6 },
});
const venueId = good(venue).id;
for (const [barrier_kind, heights_m] of [["wicket", [0.3]], ["low_barrier", [0.4, 0.5, 0.6]]] as const) {
  good(await lanewright.createEquipment({ path, body: { barrier_kind, heights_m: [...heights_m], count: 20 } }));
}
const dry = good(await lanewright.importAthletes({ path, query: { dry_run: true }, body: new Blob([roster]) }));
check(dry.created === 2 && dry.rejected === 0, "the roster is fine");
const imported = good(await lanewright.importAthletes({ path, body: new Blob([roster]) }));
const ids = imported.rows.flatMap((row) => row.athlete_id ?? []);
check(ids.length === 2 && ids[0], "both athletes have an id");
const athlete_id = ids[0];
const session = good(
  await lanewright.createSession({
    path,
    body: { held_on: today, state: "held", group_ids: [group.id], venue_id: venueId },
  }),
);
const session_id = session.id;
const runs = good(
  await lanewright.createRuns({
    path,
    body: {
      runs: [
        {
          id: crypto.randomUUID(), session_id, athlete_id, run_at: `${today}T00:10:00Z`, barrier_kind: "wicket",
          height_m: 0.3, spacing_m: 6, barriers: 5, intervals: { held: 4 },
        },
      ],
    },
  }),
);
check(runs.results[0]?.status === "created", "the run is stored");
const advice = good(await lanewright.getRecommendation({ path: { ...path, athlete_id } }));
check(advice.reasons.length > 0 && advice.decision.kind.length > 0, "advice has reasons");
good(await lanewright.setAttendance({ path: { ...path, session_id }, body: { present: ids } }));
const plan = good(
  await lanewright.createLanePlan({
    path: { ...path, session_id },
    body: { lanes: 2, capacity: 4, barriers: { min: 4, max: 6 } },
  }),
);
const sheet = { ...path, session_id, lane_plan_id: plan.id };
check(good(await lanewright.getSetOut({ path: sheet })).lanes.length > 0, "the sheet has lanes");
check(good(await lanewright.getSetOutCsv({ path: sheet })).includes("lane"), "a CSV comes as text");
const picture = good(await lanewright.getSetOutSvg({ path: sheet }));
check((await picture.text()).includes("<svg"), "an SVG comes as a file");
good(await lanewright.getAthleteProgression({ path: { ...path, athlete_id } }));
const table = good(await lanewright.getAthleteProgressionCsv({ path: { ...path, athlete_id } }));
check(table.includes(","), "progression comes as CSV");

// Files: documents, tables, a sound and a calendar; the roster goes out as a workbook and comes in again.
check(await is("pdf", good(await lanewright.getSetOutPdf({ path: sheet }))), "a PDF comes as a file");
check(await is("html", good(await lanewright.getSessionCardsHtml({ path: { ...path, session_id } }))), "a page comes as text");
check(await is("xlsx", good(await lanewright.listRunsXlsx({ path }))), "runs come as a workbook");
const beat = { interval_time_s: 1.1, intervals: 4 };
check(await is("wav", good(await lanewright.getRhythmCueWav({ query: beat }))), "a beat comes as a sound");
const feed = good(await lanewright.createCalendarFeed({ path, body: {} }));
const calendar = good(await lanewright.getCalendar({ query: { link: secret(feed.href) } }));
check((await is("calendar", calendar)) && calendar.includes(session_id), "the calendar has the session");
check(good(await lanewright.exportAthletesCsv({ path })).includes("Mira Osei"), "the roster comes as CSV");
const book = good(await lanewright.exportAthletesXlsx({ path }));
check(await is("xlsx", book), "and as a workbook");
const again = good(await lanewright.importAthletesXlsx({ path, body: book }));
check(again.unchanged === 2 && again.rejected === 0, `which comes in again unchanged: ${JSON.stringify(again)}`);

// A change of one field, on the version that was read; a second one on the same version is refused with what is stored.
const change = (lanes: number) =>
  lanewright.updateVenue({ path: { ...path, venue_id: venueId }, headers: { "If-Match": tag(venue) }, body: { lanes } });
check(good(await change(8)).lanes === 8, "a patch changes one field");
const stale = await change(4);
check(stale.response?.status === 412 && stale.error?.type === "/problems/stale", "a stale change is a problem");

// One sync round: everything, a push of what happened offline, the echo.
const copy = new Map<string, FeedChange>();
let sync_token: string | undefined;
async function pull(): Promise<void> {
  for (let more = true; more; ) {
    const page = good(await lanewright.listChanges({ path, query: sync_token ? { sync_token } : {} }));
    for (const one of page.changes) copy.set(`${one.type} ${one.id}`, one);
    ({ sync_token, more } = page);
  }
}
await pull();
const shown = copy.get(`athlete ${athlete_id}`);
check(shown?.type === "athlete" && shown.data?.display_name === "Mira Osei", "the feed has the athlete, and its type");
const made = crypto.randomUUID();
const items: PushItem[] = [
  {
    op_id: crypto.randomUUID(), method: "PUT", type: "venue", id: made, if_none_match: "*",
    data: { name: "Hall", environment: "indoor", straight_m: 40, lanes: 3 },
  },
  {
    op_id: crypto.randomUUID(), method: "PATCH", type: "athlete", id: athlete_id, base_rev: shown.rev,
    data: { preferred_lead_leg: "left" },
  },
];
const push = async () =>
  good(
    await lanewright.pushChanges({
      path,
      body: { device_id: crypto.randomUUID(), schema: 1, sent_at: new Date().toISOString(), items },
    }),
  ).results;
const results = await push();
check(results[0]?.status === 201 && results[1]?.status === 200, `both are stored: ${JSON.stringify(results)}`);
check((await push()).every((one) => one.replayed), "sent again, both are answered as before");
await pull();
const echo = copy.get(`athlete ${athlete_id}`);
check(echo?.type === "athlete" && echo.rev === results[1].rev, "the echo has the version that the push returned");
check(echo.data?.preferred_lead_leg === "left", "and what was changed");
console.log("sdk: the main job is done");
