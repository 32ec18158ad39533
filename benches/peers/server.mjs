// Four routes of the service as a club's developer would write them on Node: fastify, its JWT plugin, pg with a pool and
// named statements, one process a core. The statements are those of the service (spec.json), so are checks and answers.
import cluster from "node:cluster";
import { createHash, createHmac, createPublicKey } from "node:crypto";
import { readFileSync } from "node:fs";
import jwt from "@fastify/jwt";
import fastify from "fastify";
import pg from "pg";

const spec = JSON.parse(readFileSync("spec.json", "utf8"));
const NIL = "00000000-0000-0000-0000-000000000000";

// The statement of a route that holds a piece of text, with a name of its own.
const named = new Map();
function sql(route, piece) {
  const key = `${route} ${piece}`;
  if (!named.has(key)) {
    const text = (spec.statements[route] ?? []).find((one) => one.includes(piece));
    named.set(key, { name: `s${createHash("sha256").update(text).digest("hex").slice(0, 20)}`, text });
  }
  return named.get(key);
}

class Refused extends Error {
  constructor(statusCode, message) {
    super(message);
    this.statusCode = statusCode;
  }
}

const UUID = /^[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}$/;

// Opens a transaction of the club, decides who asks, and does the work.
async function asking(pool, request, scope, route, write, work) {
  const { sub: account, device, scope: scopes } = request.user;
  const club = request.params.club;
  if (!UUID.test(club) || !UUID.test(account)) throw new Refused(404, "no such club");
  // `account`: the token of a person, bounded by their role alone.
  const given = scopes.split(" ");
  if (!given.includes("account") && !given.includes(scope)) throw new Refused(403, "the token lacks the scope");
  const client = await pool.connect();
  try {
    const mode = write ? "" : " ISOLATION LEVEL REPEATABLE READ READ ONLY";
    await client.query(
      `BEGIN${mode}; SET LOCAL ROLE club_app; SET LOCAL app.club_id = '${club}'; SET LOCAL app.account_id = '${account}'`,
    );
    const all = (piece, values) => client.query({ ...sql(route, piece), values }).then((found) => found.rows);
    const [who] = await all("left join devices d", [club, account, null, device]);
    if (!who["signed_in!"]) throw new Refused(401, "the sign-in was ended");
    if (!who["role?"] || who.deleted_at) throw new Refused(404, "no such club");
    const seen = who["scopes!"];
    const everything = seen.includes(NIL);
    const sees = (groups) => everything || groups.some((one) => seen.includes(one));
    const answer = await work({ client, all, club, account, device, sees, everything, role: who["role?"] });
    await client.query(write ? "COMMIT" : "ROLLBACK");
    client.release();
    return answer;
  } catch (error) {
    await client.query("ROLLBACK").catch(() => {});
    client.release();
    throw error;
  }
}

const set = (from, names) => Object.fromEntries(names.filter((name) => from[name] !== null).map((name) => [name, from[name]]));
const when = (date) => date.toISOString().replace(".000Z", "Z");

function athlete(row) {
  return {
    id: row.id,
    rev: row.rev,
    display_name: row.display_name,
    sex: row.sex,
    group_ids: row["groups!"] ?? row.groups,
    experience: row.experience,
    status: row.status,
    ...set(row, ["birth_date", "birth_year", "preferred_lead_leg", "approach_strides", "consent_on"]),
  };
}

function measurement(row) {
  const { id, rev, kind, measured_on } = row;
  const shown = { id, rev, kind, value: row.value_milli / 1000, measured_on };
  if (row.confirmed) shown.confirmed = true;
  if (row.implausible) shown.implausible = true;
  return shown;
}

async function withMeasurements(all, club, rows) {
  const people = new Map(rows.map((row) => [row.id, { ...athlete(row), measurements: [] }]));
  for (const row of await all("from measurements", [club, [...people.keys()]])) {
    people.get(row.athlete_id).measurements.push(measurement(row));
  }
  return [...people.values()];
}

function run(row) {
  const shown = {
    id: row.id,
    rev: row.rev,
    session_id: row.session_id,
    athlete_id: row.athlete_id,
    run_at: when(row.run_at),
    barrier_kind: row.barrier_kind,
    height_m: row.height_mm / 1000,
    spacing_m: row.spacing_mm / 1000,
    barriers: row.barriers,
    intervals: { held: row.held, over_reached: row.over_reached, crowded: row.crowded, broken: row.broken },
    hits: row.hits,
    fell: row.fell,
    void: row.void,
    ...set(row, ["lead_leg", "timing_method", "video_fps", "note", "supersedes"]),
  };
  const times = row["touchdown_times_ms: Vec<Option<i32>>"];
  if (row.approach_mm !== null) shown.approach_m = row.approach_mm / 1000;
  if (times) shown.touchdown_times_s = times.map((ms) => (ms === null ? null : ms / 1000));
  if (row.lane !== null) shown.lane = { lane_plan_id: row.lane_plan_id, lane: row.lane, round: row.round };
  if (row.while_restricted) shown.while_restricted = true;
  return shown;
}

const RATINGS = ["lead_leg", "trail_leg", "walkover", "take_off", "landing", "posture", "rhythm", "arms"];

function assessment(row) {
  return {
    id: row.id,
    rev: row.rev,
    athlete_id: row.athlete_id,
    assessed_at: when(row.assessed_at),
    ratings: set(row, RATINGS),
    void: row.void,
    ...set(row, ["session_id", "note", "supersedes"]),
  };
}

function session(row) {
  const { id, rev, held_on, state } = row;
  const rest = set(row, ["venue_id", "weather_note", "surface", "note"]);
  return { id, rev, held_on, state, group_ids: row["groups!"] ?? row.groups, blocks: row.blocks ?? [], ...rest };
}

// Which statement reads records of a type, and how they are shown.
const RECORDS = {
  athlete: ["from athletes a\n", athlete],
  session: ["x.blocks", session],
  run: ["from runs\n", run],
  assessment: ["from assessments\n", assessment],
};
const RANK = { group: 0, venue: 1, equipment: 2, barrier_configuration: 3, athlete: 4, session: 5 };
const TYPES = Array.from({ length: 19 }, (_, at) => at);

const SECRET = createHash("sha256").update(JSON.stringify(spec.jwks)).digest();
function seal(club, account, seq) {
  const said = Buffer.from(`${seq}`).toString("base64url");
  return `${said}.${createHmac("sha256", SECRET).update(`${club}${account}${said}`).digest("base64url")}`;
}

// The log after a token: what changed and is seen, as it is now.
async function page({ all, club, account, device, sees, everything }, token, limit) {
  const [said] = token.split(".");
  let seq = Number(Buffer.from(said, "base64url").toString());
  if (seal(club, account, seq) !== token) throw new Refused(400, "the token is not ours");
  const [clock] = await all("from club_clock", [club, device]);
  if (seq > clock.seq || seq + 1 < clock.oldest_seq) throw new Refused(410, "the token is too old");
  await all("case when revoked then to_seq", [club, account]);
  const items = [];
  while (seq < clock.seq && items.length < limit) {
    const rows = await all("from club_change\n", [club, seq, 500]);
    if (rows.length === 0) break;
    const asRoot = (row) => (row.kind in RANK ? [row.kind, row.entity_id] : [row.root_kind, row.root_id]);
    const wanted = rows.map(asRoot).filter(([kind]) => kind in RANK);
    const roots = new Map();
    for (const one of await all("from groups where", [club, wanted.map(([, id]) => id)])) {
      roots.set(`${one["rank!"]} ${one["id!"]}`, { rev: one["rev!"], alive: one["alive!"], groups: [] });
    }
    const grouped = wanted.filter(([kind]) => kind === "athlete" || kind === "session");
    const kinds = grouped.map(([kind]) => kind);
    for (const one of await all("root_scope x", [club, kinds, grouped.map(([, id]) => id)])) {
      const root = roots.get(`${RANK[one["kind!"]]} ${one["root_id!"]}`);
      if (root && !root.groups.includes(one.scope_id)) root.groups.push(one.scope_id);
    }
    for (const row of rows) {
      if (row.seq > clock.seq || items.length >= limit) break;
      const [kind, id] = asRoot(row);
      const root = roots.get(`${RANK[kind]} ${id}`);
      if (root?.alive && (root.groups.length === 0 ? everything : sees(root.groups))) {
        const entered = row.kind === kind && row.before_scopes?.length === 0 && row.after_scopes?.length > 0;
        if (entered) items.push({ type: row.kind, id: row.entity_id, rev: root.rev, removed: { reason: "changed" } });
        items.push({ type: row.kind, id: row.entity_id });
        if (entered) {
          const below = [club, [id], TYPES, id, 0, NIL, limit - items.length, null, [RANK[kind]], RANK[kind]];
          if ((await all("recent_tests", below)).length > 0) throw new Refused(501, "a root that came with records");
        }
      }
      seq = row.seq;
    }
  }
  const found = new Map();
  for (const [type, [piece, shown]] of Object.entries(RECORDS)) {
    const ids = items.filter((item) => item.type === type && !item.removed).map((item) => item.id);
    if (ids.length === 0) continue;
    for (const row of await all(piece, [club, ids])) found.set(`${type} ${row.id}`, shown(row));
  }
  for (const item of items.filter((one) => !one.removed)) {
    item.data = found.get(`${item.type} ${item.id}`);
    item.rev = item.data.rev;
  }
  return { from: token, sync_token: seal(club, account, seq), more: seq < clock.seq, changes: items };
}

function lock(club, record) {
  return createHash("sha1").update(club + record).digest().readBigInt64BE();
}

const integer = (value, least, most) => Number.isInteger(value) && value >= least && value <= most;
const WORDS = {
  barrier_kind: ["wicket", "foam", "low_barrier", "hurdle"],
  lead_leg: ["left", "right"],
  timing_method: ["hand", "tap", "video", "gate"],
};
function milli(name, value, least, most) {
  const ms = Math.round(value * 1000);
  if (!(ms >= least && ms <= most) || Math.abs(value * 1000 - ms) > 1e-6) throw new Refused(422, name);
  return ms;
}

// Checks a run and gives it the units of the tables.
function parsed(id, data) {
  const { intervals = {}, barriers, hits = 0, fell = false } = data;
  const { held = 0, over_reached = 0, crowded = 0, broken = 0 } = intervals;
  const wrong = (name) => new Refused(422, name);
  if (!UUID.test(id) || !UUID.test(data.session_id) || !UUID.test(data.athlete_id)) throw wrong("id");
  const at = new Date(data.run_at);
  if (!(at.getUTCFullYear() >= 2000 && at - Date.now() < 86_400_000)) throw wrong("run_at");
  for (const [name, words] of Object.entries(WORDS)) {
    if (data[name] !== undefined && !words.includes(data[name])) throw wrong(name);
  }
  if (!integer(barriers, 1, 20) || !integer(hits, 0, barriers)) throw wrong("barriers");
  const counts = [held, over_reached, crowded, broken];
  if (!counts.every((one) => integer(one, 0, 19)) || counts.reduce((a, b) => a + b) !== barriers - 1) throw wrong("intervals");
  let last = 0;
  const times = data.touchdown_times_s?.map((time) => {
    if (time === null) return null;
    last = milli("touchdown_times_s", time, last + 1, 120_000);
    return last;
  });
  if (times && times.length !== barriers) throw wrong("touchdown_times_s");
  return {
    id,
    session_id: data.session_id,
    athlete_id: data.athlete_id,
    run_at: data.run_at,
    barrier_kind: data.barrier_kind,
    height_mm: milli("height_m", data.height_m, 0, 1_100),
    spacing_mm: milli("spacing_m", data.spacing_m, 1_000, 12_000),
    approach_mm: data.approach_m === undefined ? null : milli("approach_m", data.approach_m, 0, 50_000),
    barriers,
    held,
    over_reached,
    crowded,
    broken,
    hits,
    fell,
    lead_leg: data.lead_leg ?? null,
    touchdown_times_ms: times ?? null,
    timing_method: data.timing_method ?? null,
    video_fps: data.video_fps ?? null,
    note: data.note ?? null,
    supersedes: data.supersedes ?? null,
    void: data.void ?? false,
    while_restricted: false,
    lane_plan_id: null,
    lane: null,
    round: null,
  };
}

// Files a push of runs.
async function push({ client, all, club, account, device, role }, sent, agent) {
  if (role === "viewer") throw new Refused(403, "viewers record nothing");
  const skew = Math.round(Date.now() - new Date(sent.sent_at));
  await client.query(`select pg_advisory_xact_lock_shared(${lock(club, "all")}); select pg_advisory_xact_lock(${lock(club, device)})`);
  const runs = sent.items.map((item) => parsed(item.id, item.data));
  const locks = runs.map((one) => lock(club, one.id)).sort((a, b) => (a < b ? -1 : a > b ? 1 : 0));
  await client.query(locks.map((one) => `select pg_advisory_xact_lock(${one})`).join("; "));
  const ids = runs.map((one) => one.id);
  const held = await all("from held_item", [club, account, "run", [...sent.items.map((item) => item.op_id), ...ids]]);
  const known = await all("from runs\n", [club, ids]);
  if (held.length > 0 || known.length > 0) throw new Refused(501, "sent before");
  const people = new Map((await all("x.display_name from athletes", [club, runs.map((one) => one.athlete_id)])).map((one) => [one.id, one]));
  const sessions = new Map((await all("x.held_on from sessions", [club, runs.map((one) => one.session_id)])).map((one) => [one.id, one.held_on]));
  const days = new Map();
  for (const one of runs) {
    const day = sessions.get(one.session_id);
    if (!day || !people.has(one.athlete_id)) throw new Refused(422, "unknown athlete or session");
    if (Math.abs(new Date(one.run_at.slice(0, 10)) - new Date(day)) > 2 * 86_400_000) throw new Refused(422, "run_at");
    days.set(day, (days.get(day) ?? new Set()).add(one.athlete_id));
  }
  for (const [day, athletes] of days) {
    const stands = await all("from wellbeing_records w", [club, [...athletes], day]);
    for (const one of runs) {
      const rests = (row) => row.athlete_id === one.athlete_id && !(row["cleared_on?"] && row.confirmed_on) && !(row.until && row.until < day);
      if (sessions.get(one.session_id) === day && stands.some(rests)) one.while_restricted = true;
    }
  }
  const now = new Date().toISOString();
  await all("insert into runs", [club, JSON.stringify(runs), account, now, skew]);
  await all("insert into sync_device", [club, device, account, agent, skew, now]);
  const [{ seq }] = await all("update club_clock", [club, runs.length, 1]);
  const revs = runs.map((_, at) => seq - runs.length + 1 + at);
  const each = (value) => runs.map(() => value);
  await all("update runs x set rev", [club, ids, revs]);
  const root = runs.map((one) => one.athlete_id);
  await all("insert into club_change", [club, revs, each("run"), each("put"), ids, each("athlete"), root, each(null), each(null), now]);
  return { results: sent.items.map((item, at) => ({ op_id: item.op_id, status: 201, rev: revs[at] })) };
}

function serve() {
  pg.types.setTypeParser(20, Number);
  pg.types.setTypeParser(1082, String);
  const { sockets: host, user, database } = spec;
  const options = Object.entries(spec.planning).map(([name, value]) => `-c ${name}=${value}`).join(" ");
  const pool = new pg.Pool({ host, user, database, options, port: 5432, max: 10 });
  const app = fastify({ bodyLimit: 2 * 1024 * 1024 });
  const key = createPublicKey({ key: spec.jwks.keys[0], format: "jwk" }).export({ type: "spki", format: "pem" });
  app.register(jwt, { secret: { public: key }, verify: { algorithms: ["EdDSA"], allowedIss: spec.issuer, allowedAud: spec.audience } });
  app.register(async (club) => {
    club.addHook("onRequest", (request) => request.jwtVerify());
    club.get("/athletes/:athlete", (request) =>
      asking(pool, request, "squad.read", "one", false, async ({ all, club, sees }) => {
        const { athlete: id } = request.params;
        if (!UUID.test(id)) throw new Refused(404, "no such athlete");
        const rows = await all("from athletes a", [club, [id]]);
        if (rows.length === 0 || !sees(rows[0]["groups!"])) throw new Refused(404, "no such athlete");
        return (await withMeasurements(all, club, rows))[0];
      }),
    );
    club.get("/athletes", (request) =>
      asking(pool, request, "squad.read", "fifty", false, async ({ all, club, everything }) => {
        const limit = Number(request.query.limit ?? 50);
        if (!integer(limit, 1, 200)) throw new Refused(400, "limit");
        if (!everything) throw new Refused(501, "the list along groups");
        const rows = await all("from athletes a", [club, NIL, limit + 1]);
        const items = await withMeasurements(all, club, rows.slice(0, limit));
        const next = rows.length > limit ? { next_cursor: Buffer.from(JSON.stringify(items[limit - 1].id)).toString("base64url") } : {};
        return { items, ...next };
      }),
    );
    club.get("/changes", (request) =>
      asking(pool, request, "sync", "page", false, (who) => page(who, request.query.sync_token, Number(request.query.limit ?? 500))),
    );
    club.post("/changes", (request) =>
      asking(pool, request, "session.write", "push", true, (who) => push(who, request.body, request.headers["user-agent"] ?? "")),
    );
  }, { prefix: "/v1/clubs/:club" });
  app.get("/token/:club/:account/:seq", async ({ params }) => JSON.stringify(seal(params.club, params.account, Number(params.seq))));
  app.listen({ port: Number(process.env.PORT), host: "127.0.0.1" });
}

if (cluster.isPrimary) {
  for (let at = 0; at < Number(process.env.PROCESSES); at += 1) cluster.fork();
} else {
  serve();
}
