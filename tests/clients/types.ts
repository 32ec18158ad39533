// The main job through openapi-fetch with the types that openapi-typescript generates: paths and methods as they are.

import createClient from "openapi-fetch";
import type { components, paths } from "./types/schema";
import { XLSX, api, check, good, is, person, roster, secret, tag, today } from "./job";

type FeedChange = components["schemas"]["FeedChange"];
type PushItem = components["schemas"]["PushItem"];

const client = createClient<paths>({ baseUrl: api });
const signedUp = good(await client.POST("/v1/auth/sign-up", { body: person("types") }));
client.use({
  onRequest({ request }) {
    request.headers.set("authorization", `Bearer ${signedUp.tokens.access_token}`);
    return request;
  },
});
check(signedUp.club, "the club comes with the sign-up");
const path = { club_id: signedUp.club.id };
const params = { path };
const CLUB = "/v1/clubs/{club_id}";

// The tour: what athletes race over, group, venue, barriers, roster, session, runs, advice, lanes, tape.
good(await client.POST(`${CLUB}/competition-specs/adopt`, { params, body: { from: "UKA-2024", valid_from: today } }));
const group = good(await client.POST(`${CLUB}/groups`, { params, body: { name: "Squad" } }));
const venue = await client.POST(`${CLUB}/venues`, {
  params,
  body: { name: "Track", environment: "outdoor", straight_m: 60, lanes: 6 },
});
const venueId = good(venue).id;
for (const [barrier_kind, heights_m] of [["wicket", [0.3]], ["low_barrier", [0.4, 0.5, 0.6]]] as const) {
  good(await client.POST(`${CLUB}/equipment`, { params, body: { barrier_kind, heights_m: [...heights_m], count: 20 } }));
}
const csv = { body: roster, bodySerializer: (text: string) => text, headers: { "content-type": "text/csv" } };
const dry = good(await client.POST(`${CLUB}/athletes/import`, { params: { path, query: { dry_run: true } }, ...csv }));
check(dry.created === 2 && dry.rejected === 0, "the roster is fine");
const imported = good(await client.POST(`${CLUB}/athletes/import`, { params, ...csv }));
const ids = imported.rows.flatMap((row) => row.athlete_id ?? []);
check(ids.length === 2 && ids[0], "both athletes have an id");
const athlete_id = ids[0];
const ofAthlete = { params: { path: { ...path, athlete_id } } };
const session = good(
  await client.POST(`${CLUB}/sessions`, {
    params,
    body: { held_on: today, state: "held", group_ids: [group.id], venue_id: venueId },
  }),
);
const session_id = session.id;
const runs = good(
  await client.POST(`${CLUB}/runs`, {
    params,
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
const advice = good(await client.GET(`${CLUB}/athletes/{athlete_id}/recommendation`, ofAthlete));
check(advice.reasons.length > 0 && advice.decision.kind.length > 0, "advice has reasons");
const ofSession = { params: { path: { ...path, session_id } } };
good(await client.PUT(`${CLUB}/sessions/{session_id}/attendance`, { ...ofSession, body: { present: ids } }));
const plan = good(
  await client.POST(`${CLUB}/sessions/{session_id}/lane-plans`, {
    ...ofSession,
    body: { lanes: 2, capacity: 4, barriers: { min: 4, max: 6 } },
  }),
);
const ofPlan = { params: { path: { ...path, session_id, lane_plan_id: plan.id } } };
const PLAN = `${CLUB}/sessions/{session_id}/lane-plans/{lane_plan_id}` as const;
check(good(await client.GET(`${PLAN}/set-out`, ofPlan)).lanes.length > 0, "the sheet has lanes");
const text = { parseAs: "text" } as const;
check(good(await client.GET(`${PLAN}/set-out.csv`, { ...ofPlan, ...text })).includes("lane"), "a CSV comes as text");
check(good(await client.GET(`${PLAN}/set-out.svg`, { ...ofPlan, ...text })).includes("<svg"), "an SVG comes as text");
good(await client.GET(`${CLUB}/athletes/{athlete_id}/progression`, ofAthlete));
const table = good(await client.GET(`${CLUB}/athletes/{athlete_id}/progression.csv`, { ...ofAthlete, ...text }));
check(table.includes(","), "progression comes as CSV");

// Files: documents, tables, a sound and a calendar; the roster goes out as a workbook and comes in again.
const file = { parseAs: "blob" } as const;
check(await is("pdf", good(await client.GET(`${PLAN}/set-out.pdf`, { ...ofPlan, ...file }))), "a PDF comes as a file");
const cards = good(await client.GET(`${CLUB}/sessions/{session_id}/cards.html`, { ...ofSession, ...text }));
check(await is("html", cards), "a page comes as text");
check(await is("xlsx", good(await client.GET(`${CLUB}/runs.xlsx`, { params, ...file }))), "runs come as a workbook");
const beat = { params: { query: { interval_time_s: 1.1, intervals: 4 } } };
check(await is("wav", good(await client.GET("/v1/rhythm/cue.wav", { ...beat, ...file }))), "a beat comes as a sound");
const feed = good(await client.POST(`${CLUB}/calendar-feeds`, { params, body: {} }));
const ofFeed = { params: { query: { link: secret(feed.href) } } };
const calendar = good(await client.GET("/v1/calendar.ics", { ...ofFeed, ...text }));
check((await is("calendar", calendar)) && calendar.includes(session_id), "the calendar has the session");
const listed = good(await client.GET(`${CLUB}/athletes/export.csv`, { params, ...text }));
check(listed.includes("Mira Osei"), "the roster comes as CSV");
const book = good(await client.GET(`${CLUB}/athletes/export.xlsx`, { params, ...file }));
check(await is("xlsx", book), "and as a workbook");
// The types call a file of bytes a text; what is sent is the file.
const back = { body: "", bodySerializer: () => book, headers: { "content-type": XLSX } };
const again = good(await client.POST(`${CLUB}/athletes/import.xlsx`, { params, ...back }));
check(again.unchanged === 2 && again.rejected === 0, `which comes in again unchanged: ${JSON.stringify(again)}`);

// A change of one field, on the version that was read; a second one on the same version is refused with what is stored.
const change = (lanes: number) =>
  client.PATCH(`${CLUB}/venues/{venue_id}`, {
    params: { path: { ...path, venue_id: venueId }, header: { "If-Match": tag(venue) } },
    body: { lanes },
    headers: { "content-type": "application/merge-patch+json" },
  });
check(good(await change(8)).lanes === 8, "a patch changes one field");
const stale = await change(4);
check(stale.response.status === 412 && stale.error?.type === "/problems/stale", "a stale change is a problem");

// One sync round: everything, a push of what happened offline, the echo.
const copy = new Map<string, FeedChange>();
let sync_token: string | undefined;
async function pull(): Promise<void> {
  for (let more = true; more; ) {
    const page = good(
      await client.GET(`${CLUB}/changes`, { params: { path, query: sync_token ? { sync_token } : {} } }),
    );
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
    await client.POST(`${CLUB}/changes`, {
      params,
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
console.log("types: the main job is done");
