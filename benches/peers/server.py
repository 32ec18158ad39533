"""Four routes of the service as a club's developer would write them in Python: Starlette on uvicorn (uvloop, httptools),
asyncpg with a pool, PyJWT, one process a core. The statements are those of the service (spec.json), so are checks and
answers."""

import base64
import contextlib
import hashlib
import hmac
import json
import os
import re
import time
from datetime import date, datetime, timedelta, timezone

import asyncpg
import jwt
import orjson
import uvicorn
from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.responses import Response
from starlette.routing import Route

with open("spec.json", encoding="utf-8") as file:
    SPEC = json.load(file)
KEY = jwt.PyJWK(SPEC["jwks"]["keys"][0]).key
SECRET = hashlib.sha256(json.dumps(SPEC["jwks"]).encode()).digest()
NIL = "00000000-0000-0000-0000-000000000000"
UUID = re.compile(r"[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}")
NAMED: dict = {}


def sql(route, piece):
    """The statement of a route that holds a piece of text."""
    key = (route, piece)
    if key not in NAMED:
        NAMED[key] = next(one for one in SPEC["statements"].get(route, []) if piece in one)
    return NAMED[key]


def is_id(value):
    return isinstance(value, str) and UUID.fullmatch(value) is not None


def answer(value):
    return Response(orjson.dumps(value), media_type="application/json")


def verified(request):
    scheme, _, token = request.headers.get("authorization", "").partition(" ")
    if scheme.lower() != "bearer":
        raise HTTPException(401, "a token is needed")
    try:
        return jwt.decode(token, KEY, algorithms=["EdDSA"], audience=SPEC["audience"], issuer=SPEC["issuer"])
    except jwt.PyJWTError as error:
        raise HTTPException(401, "the token is not valid") from error


class Asking:
    """A transaction of the club with what its caller may."""

    def __init__(self, connection, route, club, claims):
        self.connection, self.route, self.club = connection, route, club
        self.account, self.device = claims["sub"], claims["device"]

    async def all(self, piece, *values):
        return await self.connection.fetch(sql(self.route, piece), *values)

    def sees(self, groups):
        return self.everything or any(one in self.seen for one in groups)

    async def decide(self):
        who = (await self.all("left join devices d", self.club, self.account, None, self.device))[0]
        if not who["signed_in!"]:
            raise HTTPException(401, "the sign-in was ended")
        if not who["role?"] or who["deleted_at"]:
            raise HTTPException(404, "no such club")
        self.role, self.seen = who["role?"], set(who["scopes!"])
        self.everything = NIL in self.seen


@contextlib.asynccontextmanager
async def asking(request, scope, route, write=False):
    claims, club = verified(request), request.path_params["club"]
    if not is_id(club) or not is_id(claims["sub"]):
        raise HTTPException(404, "no such club")
    # `account`: the token of a person, bounded by their role alone.
    if not {"account", scope} & set(claims["scope"].split(" ")):
        raise HTTPException(403, "the token lacks the scope")
    async with request.app.state.pool.acquire() as connection:
        mode = "" if write else " ISOLATION LEVEL REPEATABLE READ READ ONLY"
        await connection.execute(
            f"BEGIN{mode}; SET LOCAL ROLE club_app; SET LOCAL app.club_id = '{club}'; "
            f"SET LOCAL app.account_id = '{claims['sub']}'"
        )
        try:
            who = Asking(connection, route, club, claims)
            await who.decide()
            yield who
        except BaseException:
            await connection.execute("ROLLBACK")
            raise
        await connection.execute("COMMIT" if write else "ROLLBACK")


def put(shown, row, names):
    for name in names:
        if row[name] is not None:
            shown[name] = row[name]
    return shown


def when(at):
    text = at.astimezone(timezone.utc).replace(tzinfo=None)
    spec = "seconds" if text.microsecond == 0 else "milliseconds" if text.microsecond % 1000 == 0 else "microseconds"
    return text.isoformat(timespec=spec) + "Z"


def athlete(row):
    shown = {
        "id": row["id"],
        "rev": row["rev"],
        "display_name": row["display_name"],
        "sex": row["sex"],
        "group_ids": row.get("groups!") or row.get("groups") or [],
        "experience": row["experience"],
        "status": row["status"],
    }
    return put(shown, row, ("birth_date", "birth_year", "preferred_lead_leg", "approach_strides", "consent_on"))


def measurement(row):
    shown = {"id": row["id"], "rev": row["rev"], "kind": row["kind"]}
    shown |= {"value": row["value_milli"] / 1000, "measured_on": row["measured_on"]}
    for name in ("confirmed", "implausible"):
        if row[name]:
            shown[name] = True
    return shown


async def with_measurements(who, rows):
    people = {row["id"]: athlete(row) | {"measurements": []} for row in rows}
    for row in await who.all("from measurements", who.club, list(people)):
        people[row["athlete_id"]]["measurements"].append(measurement(row))
    return list(people.values())


def run(row):
    shown = {
        "id": row["id"],
        "rev": row["rev"],
        "session_id": row["session_id"],
        "athlete_id": row["athlete_id"],
        "run_at": when(row["run_at"]),
        "barrier_kind": row["barrier_kind"],
        "height_m": row["height_mm"] / 1000,
        "spacing_m": row["spacing_mm"] / 1000,
        "barriers": row["barriers"],
        "intervals": {name: row[name] for name in ("held", "over_reached", "crowded", "broken")},
        "hits": row["hits"],
        "fell": row["fell"],
        "void": row["void"],
    }
    put(shown, row, ("lead_leg", "timing_method", "video_fps", "note", "supersedes"))
    times = row["touchdown_times_ms: Vec<Option<i32>>"]
    if row["approach_mm"] is not None:
        shown["approach_m"] = row["approach_mm"] / 1000
    if times is not None:
        shown["touchdown_times_s"] = [None if ms is None else ms / 1000 for ms in times]
    if row["lane"] is not None:
        shown["lane"] = {name: row[name] for name in ("lane_plan_id", "lane", "round")}
    if row["while_restricted"]:
        shown["while_restricted"] = True
    return shown


RATINGS = ("lead_leg", "trail_leg", "walkover", "take_off", "landing", "posture", "rhythm", "arms")


def assessment(row):
    shown = {name: row[name] for name in ("id", "rev", "athlete_id", "void")}
    shown |= {"assessed_at": when(row["assessed_at"]), "ratings": put({}, row, RATINGS)}
    return put(shown, row, ("session_id", "note", "supersedes"))


def session(row):
    shown = {name: row[name] for name in ("id", "rev", "held_on", "state")}
    shown |= {"group_ids": row["groups!"], "blocks": orjson.loads(row["blocks"]) if row["blocks"] else []}
    return put(shown, row, ("venue_id", "weather_note", "surface", "note"))


async def one_athlete(request):
    async with asking(request, "squad.read", "one") as who:
        id = request.path_params["athlete"]
        if not is_id(id):
            raise HTTPException(404, "no such athlete")
        rows = await who.all("from athletes a", who.club, [id])
        if not rows or not who.sees(rows[0]["groups!"]):
            raise HTTPException(404, "no such athlete")
        shown = (await with_measurements(who, rows))[0]
    return answer(shown)


async def athletes(request):
    async with asking(request, "squad.read", "fifty") as who:
        limit = int(request.query_params.get("limit", "50"))
        if not 1 <= limit <= 200:
            raise HTTPException(400, "limit")
        if not who.everything:
            raise HTTPException(501, "the list along groups")
        rows = await who.all("from athletes a", who.club, NIL, limit + 1)
        page = {"items": await with_measurements(who, rows[:limit])}
    if len(rows) > limit:
        last = json.dumps(page["items"][-1]["id"]).encode()
        page["next_cursor"] = base64.urlsafe_b64encode(last).rstrip(b"=").decode()
    return answer(page)


# Which statement reads records of a type, and how they are shown.
RECORDS = {
    "athlete": ("from athletes a\n", athlete),
    "session": ("x.blocks", session),
    "run": ("from runs\n", run),
    "assessment": ("from assessments\n", assessment),
}
RANK = {"group": 0, "venue": 1, "equipment": 2, "barrier_configuration": 3, "athlete": 4, "session": 5}
TYPES = list(range(19))


def seal(club, account, seq):
    proof = hmac.new(SECRET, f"{club}{account}{seq}".encode(), "sha256").hexdigest()
    return f"{seq}.{proof}"


async def changes(request):
    """The log after a token: what changed and is seen, as it is now."""
    async with asking(request, "sync", "page") as who:
        club, token = who.club, request.query_params["sync_token"]
        limit, seq = int(request.query_params.get("limit", "500")), int(token.partition(".")[0])
        if not hmac.compare_digest(seal(club, who.account, seq), token):
            raise HTTPException(400, "the token is not ours")
        clock = (await who.all("from club_clock", club, who.device))[0]
        if seq > clock["seq"] or seq + 1 < clock["oldest_seq"]:
            raise HTTPException(410, "the token is too old")
        await who.all("case when revoked then to_seq", club, who.account)
        items = []
        while seq < clock["seq"] and len(items) < limit:
            rows = await who.all("from club_change\n", club, seq, 500)
            if not rows:
                break
            seq = await expand(who, rows, items, limit, seq, clock["seq"])
        await fill(who, items)
        page = {"from": token, "sync_token": seal(club, who.account, seq), "more": seq < clock["seq"], "changes": items}
    return answer(page)


def as_root(row):
    return (row["kind"], row["entity_id"]) if row["kind"] in RANK else (row["root_kind"], row["root_id"])


async def expand(who, rows, items, limit, seq, head):
    """What each row of the log sends; the last row that was read."""
    wanted = [root for root in map(as_root, rows) if root[0] in RANK]
    roots = {}
    for one in await who.all("from groups where", who.club, [id for _, id in wanted]):
        roots[one["rank!"], one["id!"]] = (one["rev!"], one["alive!"], set())
    grouped = [root for root in wanted if root[0] in ("athlete", "session")]
    kinds, ids = [kind for kind, _ in grouped], [id for _, id in grouped]
    for one in await who.all("root_scope x", who.club, kinds, ids):
        root = roots.get((RANK[one["kind!"]], one["root_id!"]))
        if root:
            root[2].add(one["scope_id"])
    for row in rows:
        if row["seq"] > head or len(items) >= limit:
            break
        kind, id = as_root(row)
        rev, alive, groups = roots.get((RANK.get(kind, -1), id), (0, False, ()))
        if alive and (who.sees(groups) if groups else who.everything):
            entered = row["kind"] == kind and row["before_scopes"] == [] and row["after_scopes"]
            if entered:
                items.append({"type": kind, "id": id, "rev": rev, "removed": {"reason": "changed"}})
            items.append({"type": row["kind"], "id": row["entity_id"]})
            if entered:
                room, rank = limit - len(items), RANK[kind]
                below = (who.club, [id], TYPES, id, 0, NIL, room, None, [rank], rank)
                if await who.all("recent_tests", *below):
                    raise HTTPException(501, "a root that came with records")
        seq = row["seq"]
    return seq


async def fill(who, items):
    found = {}
    for type, (piece, shown) in RECORDS.items():
        ids = [item["id"] for item in items if item["type"] == type and "removed" not in item]
        if ids:
            found |= {(type, row["id"]): shown(row) for row in await who.all(piece, who.club, ids)}
    for item in items:
        if "removed" not in item:
            data = found[item["type"], item["id"]]
            item |= {"data": data, "rev": data["rev"]}


def lock(club, record):
    return int.from_bytes(hashlib.sha1(f"{club}{record}".encode()).digest()[:8], "big", signed=True)


WORDS = {
    "barrier_kind": ("wicket", "foam", "low_barrier", "hurdle"),
    "lead_leg": ("left", "right"),
    "timing_method": ("hand", "tap", "video", "gate"),
}


def milli(name, value, least, most):
    ms = round(value * 1000)
    if not least <= ms <= most or abs(value * 1000 - ms) > 1e-6:
        raise HTTPException(422, name)
    return ms


def parsed(id, data):
    """Checks a run and gives it the units of the tables."""
    counts = {name: data.get("intervals", {}).get(name, 0) for name in ("held", "over_reached", "crowded", "broken")}
    barriers, hits, at = data["barriers"], data.get("hits", 0), datetime.fromisoformat(data["run_at"])
    if not all(map(is_id, (id, data["session_id"], data["athlete_id"]))):
        raise HTTPException(422, "id")
    if at.year < 2000 or at - datetime.now(timezone.utc) > timedelta(days=1):
        raise HTTPException(422, "run_at")
    for name, words in WORDS.items():
        if data.get(name) is not None and data[name] not in words:
            raise HTTPException(422, name)
    if not 1 <= barriers <= 20 or not 0 <= hits <= barriers:
        raise HTTPException(422, "barriers")
    if not all(0 <= one <= 19 for one in counts.values()) or sum(counts.values()) != barriers - 1:
        raise HTTPException(422, "intervals")
    times, last = data.get("touchdown_times_s"), 0
    if times is not None:
        if len(times) != barriers:
            raise HTTPException(422, "touchdown_times_s")
        for place, time_s in enumerate(times):
            if time_s is not None:
                last = milli("touchdown_times_s", time_s, last + 1, 120_000)
            times[place] = None if time_s is None else last
    approach = data.get("approach_m")
    same = ("session_id", "athlete_id", "run_at", "barrier_kind", "barriers")
    optional = ("lead_leg", "timing_method", "video_fps", "note", "supersedes")
    return {
        "id": id,
        **{name: data[name] for name in same},
        **{name: data.get(name) for name in optional},
        **counts,
        "height_mm": milli("height_m", data["height_m"], 0, 1_100),
        "spacing_mm": milli("spacing_m", data["spacing_m"], 1_000, 12_000),
        "approach_mm": None if approach is None else milli("approach_m", approach, 0, 50_000),
        "hits": hits,
        "fell": data.get("fell", False),
        "touchdown_times_ms": times,
        "void": data.get("void", False),
        "while_restricted": False,
        "lane_plan_id": None,
        "lane": None,
        "round": None,
    }


async def push(request):
    """Files a push of runs."""
    sent, agent = orjson.loads(await request.body()), request.headers.get("user-agent", "")
    async with asking(request, "session.write", "push", write=True) as who:
        club, items = who.club, sent["items"]
        if who.role == "viewer":
            raise HTTPException(403, "viewers record nothing")
        skew = round((time.time() - datetime.fromisoformat(sent["sent_at"]).timestamp()) * 1000)
        await who.connection.execute(
            f"select pg_advisory_xact_lock_shared({lock(club, 'all')}); select pg_advisory_xact_lock({lock(club, who.device)})"
        )
        runs = [parsed(item["id"], item["data"]) for item in items]
        ids = [one["id"] for one in runs]
        locks = sorted(lock(club, id) for id in ids)
        await who.connection.execute("; ".join(f"select pg_advisory_xact_lock({one})" for one in locks))
        both = [item["op_id"] for item in items] + ids
        if await who.all("from held_item", club, who.account, "run", both) or await who.all("from runs\n", club, ids):
            raise HTTPException(501, "sent before")
        await refer(who, runs)
        now = datetime.now(timezone.utc)
        await who.all("insert into runs", club, orjson.dumps(runs).decode(), who.account, now, skew)
        await who.all("insert into sync_device", club, who.device, who.account, agent, skew, now)
        seq = (await who.all("update club_clock", club, len(runs), 1))[0]["seq"]
        revs = list(range(seq - len(runs) + 1, seq + 1))
        await who.all("update runs x set rev", club, ids, revs)
        each, roots = len(runs), [one["athlete_id"] for one in runs]
        kinds, none = (["run"] * each, ["put"] * each), [None] * each
        await who.all("insert into club_change", club, revs, *kinds, ids, ["athlete"] * each, roots, none, none, now)
    done = [{"op_id": item["op_id"], "status": 201, "rev": rev} for item, rev in zip(items, revs)]
    return answer({"results": done})


async def refer(who, runs):
    """Checks what the runs refer to, and notes who ran with a restriction."""
    people = await who.all("x.display_name from athletes", who.club, [one["athlete_id"] for one in runs])
    known = {one["id"] for one in people}
    sessions = await who.all("x.held_on from sessions", who.club, [one["session_id"] for one in runs])
    held = {one["id"]: date.fromisoformat(one["held_on"]) for one in sessions}
    days: dict = {}
    for one in runs:
        day = held.get(one["session_id"])
        if day is None or one["athlete_id"] not in known:
            raise HTTPException(422, "unknown athlete or session")
        if abs(date.fromisoformat(one["run_at"][:10]) - day) > timedelta(days=2):
            raise HTTPException(422, "run_at")
        days.setdefault(day, set()).add(one["athlete_id"])
    for day, athletes_of in days.items():
        stands = await who.all("from wellbeing_records w", who.club, list(athletes_of), day.isoformat())
        resting = {
            row["athlete_id"]
            for row in stands
            if not (row["cleared_on?"] and row["confirmed_on"]) and not (row["until"] and row["until"] < day.isoformat())
        }
        for one in runs:
            if held[one["session_id"]] == day and one["athlete_id"] in resting:
                one["while_restricted"] = True


async def token(request):
    return answer(seal(*(request.path_params[name] for name in ("club", "account", "seq"))))


async def plain(connection):
    for name in ("uuid", "date"):
        await connection.set_type_codec(name, encoder=str, decoder=str, schema="pg_catalog", format="text")


@contextlib.asynccontextmanager
async def lifespan(app):
    where = {"host": SPEC["sockets"], "user": SPEC["user"], "database": SPEC["database"], "port": 5432}
    where["server_settings"] = SPEC["planning"]
    # What is set and reset between two uses of a connection is done by each transaction itself.
    app.state.pool = await asyncpg.create_pool(min_size=2, max_size=10, init=plain, reset=nothing, **where)
    yield
    await app.state.pool.close()


async def nothing(_):
    pass


app = Starlette(
    routes=[
        Route("/token/{club}/{account}/{seq}", token),
        Route("/v1/clubs/{club}/athletes/{athlete}", one_athlete),
        Route("/v1/clubs/{club}/athletes", athletes),
        Route("/v1/clubs/{club}/changes", changes),
        Route("/v1/clubs/{club}/changes", push, methods=["POST"]),
    ],
    lifespan=lifespan,
)

if __name__ == "__main__":
    port, processes = int(os.environ["PORT"]), int(os.environ["PROCESSES"])
    uvicorn.run("server:app", host="127.0.0.1", port=port, workers=processes, access_log=False, log_level="warning")
