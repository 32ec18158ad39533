// A club whose days lie in the past for good, so that its pages are the same whenever they are looked at: ids, names, days and all
// that was run are given, and nothing asks what day it is.
import { randomUUID } from "node:crypto";
import { Caller } from "./api.js";

const NAMES = [
  "Mira Osei",
  "Wolfeschlegelsteinhausenbergerdorffmeyer",
  "مريم عبد الرحمن الخالدي",
  "נועה לוי-כהן",
  "高橋 さくら",
  "欧阳娜娜",
  "김민서",
  "Анастасия Вознесенская",
  "Zoë O'Neil-Fitzgerald",
  "Jon Bell",
];
const DAYS = ["2026-09-05", "2026-09-12", "2026-09-19", "2026-09-26", "2026-10-10", "2026-10-17", "2026-10-31", "2026-11-07", "2026-11-14"];
const TODAY = "2026-11-21";

/** An id that is the same each time and follows those before, so that what is ordered by id is as well. */
let ids = 0;
const id = () => `0199f000-0000-7000-8000-${String((ids += 1)).padStart(12, "0")}`;

/** Makes the club; answers its admin and its pages: a name, a path, and what stands behind the path. */
export async function story() {
  const club = { name: "Northfield Harriers", time_zone: "Europe/London", ruleset: "UKA" };
  const account = { email: `pages-${randomUUID()}@club.example`, password: "five wickets in a row", display_name: "Ada Admin", club };
  const founded = await new Caller().post("/v1/auth/sign-up", account);
  const admin = new Caller(founded.tokens.access_token);
  const home = `/v1/clubs/${founded.club.id}`;
  const post = async (path, body) => admin.post(home + path, { id: id(), ...body });
  const facts = (path, kind, list) => admin.post(home + path, { [kind]: list.map((one) => ({ id: id(), ...one })) });

  const group = await post("/groups", { name: "Sparks", season: "Autumn" });
  const venue = await post("/venues", { name: "Main track", environment: "outdoor", straight_m: 110, lanes: 6, surface: "synthetic" });
  await post("/equipment", { barrier_kind: "wicket", heights_m: [0.15, 0.2, 0.3], count: 40 });
  await post("/equipment", { barrier_kind: "foam", heights_m: [0.3, 0.4, 0.5], count: 12, note: "Two are torn." });
  await post("/equipment", { barrier_kind: "low_barrier", heights_m: [0.4, 0.5, 0.6], count: 24 });
  await post("/equipment", { barrier_kind: "hurdle", heights_m: [0.6, 0.686, 0.762], count: 10, note: "Shed behind the stand, key with Ada." });
  const athletes = [];
  for (const [n, display_name] of NAMES.entries()) {
    const made = await post("/athletes", {
      display_name,
      sex: n % 2 ? "F" : "M",
      birth_date: `201${2 + (n % 3)}-0${1 + (n % 8)}-17`,
      group_ids: [group.id],
      experience: n % 3 ? "novice" : "trained",
      consent_on: "2026-08-01",
      measurements: [
        { id: id(), kind: "stature_m", value: 1.42 + n / 50, measured_on: "2026-09-05" },
        { id: id(), kind: "sprint_50m_s", value: 7.9 - n / 20, measured_on: "2026-09-05" },
      ],
    });
    athletes.push(made.id);
  }
  for (const [k, held_on] of DAYS.entries()) {
    const session = await post("/sessions", { held_on, state: "held", group_ids: [group.id], venue_id: venue.id });
    // The last came to nothing so far, and the one before only twice.
    const came = athletes.filter((_, n) => n < 8 || (n === 8 && k > 6));
    await admin.put(`${home}/sessions/${session.id}/attendance`, { present: came });
    const runs = came.flatMap((athlete_id, n) => {
      const raised = n > 4 && k > 3;
      return [0, 1, 2].map((run) => ({
        session_id: session.id,
        athlete_id,
        run_at: `${held_on}T09:${String(10 + run * 12).padStart(2, "0")}:00Z`,
        barrier_kind: raised ? "low_barrier" : "wicket",
        height_m: raised ? 0.4 : 0.3,
        spacing_m: 5.25 + 0.25 * Math.min(4, Math.floor((k + n) / 3)),
        approach_m: 12,
        barriers: 5,
        intervals: (n + k + run) % 4 ? { held: 4 } : { held: 3, over_reached: 1 },
        hits: (n + k) % 7 ? 0 : 1,
      }));
    });
    await facts("/runs", "runs", runs);
    if (k === 0 || k === 6) {
      const ratings = came.map((athlete_id, n) => ({
        athlete_id,
        session_id: session.id,
        assessed_at: `${held_on}T10:00:00Z`,
        ratings: { lead_leg: n === 3 ? 1 : k ? 3 : 2, trail_leg: k ? 2 + (n % 2) : 1, walkover: 3, rhythm: k ? 2 + (n % 2) : 2 },
        ...(n === 0 && { note: "Looks at the barrier: eyes to the end of the lane." }),
      }));
      await facts("/assessments", "assessments", ratings);
    }
  }
  await facts("/wellbeing-records", "wellbeing_records", [
    { athlete_id: athletes[7], kind: "restriction", reported_on: TODAY, reported_by: "guardian", until: "2026-11-30" },
  ]);
  const session = await post("/sessions", { held_on: TODAY, state: "planned", group_ids: [group.id], venue_id: venue.id });
  const present = athletes.slice(0, 9);
  await admin.put(`${home}/sessions/${session.id}/attendance`, { present });
  const plan = await post(`/sessions/${session.id}/lane-plans`, { lanes: 4, capacity: 3, barriers: { min: 4, max: 6 } });

  const over = { race_distance_m: 60, barriers: 6, height_m: 0.6, approach_m: 11.5, spacing_m: 7, discounted: true };
  const test = await post("/race-tests", { session_id: session.id, name: "Autumn test", timing_method: "hand", dimensions: over });
  const path = `${home}/race-tests/${test.id}`;
  const entered = [0, 1, 2, 3, 4, 5, 6].map((n) => athletes[n]);
  const tag = (await admin.send("GET", path)).tag;
  const entries = await admin.send("PUT", `${path}/entries`, { athlete_ids: entered, coach_accepts: entered }, { "if-match": tag });
  await admin.send("POST", `${path}/heats`, { seed: 7 }, { "if-match": entries.tag });
  const raced = await post("/sessions", { held_on: "2026-11-18", state: "held", group_ids: [group.id], venue_id: venue.id });
  const spring = await post("/race-tests", {
    session_id: raced.id, name: "Trial of the Grüße cup", state: "held", timing_method: "video", dimensions: over,
  });
  const results = entered.map((athlete_id, n) => ({
    athlete_id,
    heat: 1 + (n % 2),
    lane: 1 + Math.floor(n / 2),
    status: n === 6 ? "did_not_finish" : "finished",
    ...(n === 6 ? { fell: true, note: "Stopped at the third." } : { final_time_s: 10.6 + 0.17 * n, video_fps: 60 }),
    ...(n < 3 && { touchdown_times_s: [2.61, 3.84, 5.02, n === 1 ? null : 6.25, 7.44, 8.68].map((s) => s && s + 0.15 * n) }),
    hits: n === 2 ? 1 : 0,
  }));
  await facts(`/race-tests/${spring.id}/results`, "results", results);

  const period = "?from=2026-09-01&to=2026-11-21";
  return {
    admin,
    club: home,
    group: group.id,
    session: session.id,
    pages: [
      ["set-out", `${home}/sessions/${session.id}/lane-plans/${plan.id}/set-out`],
      ["cards", `${home}/sessions/${session.id}/cards`],
      ["board", `${home}/groups/${group.id}/board`, period],
      ["squad", `${home}/groups/${group.id}/progression`, period],
      ["progress", `${home}/athletes/${athletes[0]}/progression`, period],
      ["one-point", `${home}/athletes/${athletes[8]}/progression`, "?from=2026-11-01&to=2026-11-10"],
      ["no-data", `${home}/athletes/${athletes[9]}/progression`, period],
      ["start-list", `${path}/heats`],
      ["results", `${home}/race-tests/${spring.id}/results`],
      ["touchdowns", `${home}/rhythm/schedule`, "?event_code=100H&final_time_s=15"],
      ["equipment", `${home}/equipment`],
    ],
  };
}
