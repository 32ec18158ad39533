#!/usr/bin/env python3
"""Writes accounts.json and requests.jsonl: two invented clubs with invented people.

Python 3 standard library only; the same bytes every time: `python3 seed-data/generate.py`.

Each line of requests.jsonl is one request to the API: who sends it, method, path, body. `{club:KEY}` stands for the id
that the club got when it was founded, `{day:-12}` for the date twelve days before the day of seeding, so that the demo is
never out of season. Ids are made here, so sending a request again changes nothing.
"""
import hashlib, json, math, os, random

HERE = os.path.dirname(os.path.abspath(__file__))
PASSWORD = "three strides to the next"
DICE = random.Random(20261125)
COUNTER = 0


def new_id(name):
    """A UUID version 7 made from a name; the counter keeps the order in which records are made."""
    global COUNTER
    COUNTER += 1
    time = 1_767_225_600_000 + COUNTER
    rest = hashlib.sha256(name.encode()).digest()
    raw = time.to_bytes(6, "big") + bytes([0x70 | rest[0] & 0x0F, rest[1], 0x80 | rest[2] & 0x3F]) + rest[3:10]
    text = raw.hex()
    return "-".join((text[:8], text[8:12], text[12:16], text[16:20], text[20:]))


REQUESTS = []


def send(sender, method, path, body):
    REQUESTS.append({"as": sender, "method": method, "path": path, "body": body})


def day(offset):
    return "{day:%d}" % offset


# Median stature in cm at 8 to 17 years, girls and boys (R. J. Kuczmarski et al., CDC Growth Charts, 2000).
STATURE = {"F": [127.6, 132.9, 138.0, 144.0, 151.2, 157.2, 160.4, 161.9, 162.5, 162.9],
           "M": [127.9, 133.5, 138.6, 143.5, 149.1, 156.1, 163.8, 169.9, 173.5, 175.3]}
FIRST = ("Aino Bashir Cleo Dov Esme Farid Greta Hana Idris Jonna Kofi Lena Mateo Nadia Oskar Priya Quentin Rosa Soren Tala "
         "Umar Vera Wim Xenia Yusuf Zora Anouk Bram Celeste Dario Elin Fenna Gael Hedda Imre Juno Kian Liv Milo Noor Odin "
         "Pia Rafi Sanna Timo Una Viggo Wren").split()
LAST = ("Aldermoor Brightwater Castellan Dunmarsh Eskdaleson Fennimore Garrowby Hallamore Ivesdale Jasperson Kettlebeck "
        "Lowmoor Marchbanks Netherby Oxenholt Pellington").split()


class Athlete:
    """The simulated truth of one athlete, and how a coach leads them along."""

    def __init__(self, index, group, age):
        self.name = f"{FIRST[index % len(FIRST)]} {LAST[(index * 7) % len(LAST)]}"
        self.id = new_id("athlete " + self.name)
        self.sex = "F" if index % 2 == 0 else "M"
        self.group = group
        self.age = age
        self.stature = round(DICE.gauss(STATURE[self.sex][age - 8], 5.5) / 100, 2)
        self.trained = age >= 12 and DICE.random() < 0.5
        self.limit = (4.85 if self.trained else 4.65) * self.stature + DICE.gauss(0, 0.35)
        self.cost = min(2.2, max(0.3, DICE.gauss(1.0, 0.4)))
        self.width = min(0.4, max(0.1, math.exp(DICE.gauss(math.log(0.2), 0.4))))
        self.growth = DICE.choice([0.0, 0.02, 0.04, 0.06])
        self.kind, self.height = "wicket", 0.3
        self.spacing = max(4.5, math.floor((self.limit - 0.75) * 4) / 4)
        self.good_sessions = 0
        self.skill = DICE.choice([0, 1, 1])

    def run(self, barriers):
        """Outcomes of one run: held, over-reached, crowded, hits."""
        luck = DICE.gauss(0, 0.12)
        limit = self.limit + luck - self.cost * max(0.0, self.height - 0.3)
        logistic = lambda x: 1 / (1 + math.exp(-max(-40, min(40, x))))
        over = logistic((self.spacing - limit) / self.width)
        crowd = logistic((limit - 1.6 - self.spacing) / self.width)
        counts = {"held": 0, "over_reached": 0, "crowded": 0, "broken": 0}
        for _ in range(barriers - 1):
            x = DICE.random()
            outcome = "over_reached" if x < over else "crowded" if x < over + crowd else "held"
            if DICE.random() < 0.03:
                outcome = DICE.choice(["held", "broken"])
            counts[outcome] += 1
        hits = sum(DICE.random() < 0.02 + 0.05 * self.height for _ in range(barriers)) if self.kind != "wicket" else 0
        return counts, hits

    def learn(self, share, hits, barriers):
        """What a sensible coach does after a session: one thing at a time."""
        self.limit += self.growth / 2
        if share < 0.5:
            self.spacing, self.good_sessions = max(4.0, self.spacing - 0.25), 0
        elif share >= 0.8 and hits <= barriers * 0.1:
            self.good_sessions += 1
        if self.good_sessions < 3:
            return
        self.good_sessions = 0
        if self.kind == "wicket" and self.skill >= 2:
            self.kind, self.height, self.spacing = "low_barrier", 0.4, self.spacing - 0.25
        elif self.kind == "wicket" or DICE.random() < 0.5 or self.height >= 0.6:
            self.spacing += 0.25
        else:
            self.height = round(self.height + 0.1, 1)


def squad(club, admin):
    """The first club: groups, athletes, stock, venues, recipes."""
    groups = [("Sparks", 9), ("Flights", 11), ("Rhythm", 13)]
    ids = [new_id("group " + name) for name, _ in groups]
    for (name, _), group in zip(groups, ids):
        send(admin, "POST", f"{club}/groups", {"id": group, "name": name, "season": "Summer"})
    venues = [new_id("venue park"), new_id("venue hall")]
    send(admin, "POST", f"{club}/venues", {"id": venues[0], "name": "Quillmere Park", "environment": "outdoor",
                                           "straight_m": 110, "lanes": 8, "surface": "synthetic"})
    send(admin, "POST", f"{club}/venues", {"id": venues[1], "name": "Tannery Hall", "environment": "indoor",
                                           "straight_m": 62, "lanes": 4, "surface": "sprung floor"})
    stock = [("wicket", [0.15, 0.2, 0.3], 40), ("foam", [0.3, 0.4, 0.5], 18), ("low_barrier", [0.4, 0.5, 0.6], 30),
             ("hurdle", [0.6, 0.68, 0.76], 30), ("hurdle", [0.762, 0.838, 0.914, 0.991, 1.067], 20)]
    for n, (kind, heights, count) in enumerate(stock):
        send(admin, "POST", f"{club}/equipment", {"id": new_id(f"stock {n}"), "barrier_kind": kind, "heights_m": heights,
                                                  "count": count})
    for name, kind, height, spacing in [("Wicket rhythm", "wicket", 0.3, 6.0), ("Low rhythm", "low_barrier", 0.4, 6.0),
                                        ("Hurdle at 7 m", "hurdle", 0.68, 7.0)]:
        send(admin, "POST", f"{club}/barrier-configurations", {
            "id": new_id("recipe " + name), "name": name, "barrier_kind": kind, "height_m": height, "spacing_m": spacing,
            "approach_m": 12, "barriers": 5})
    athletes = []
    for n in range(48):
        which = n // 16
        athlete = Athlete(n, ids[which], groups[which][1] + (n % 3))
        athletes.append(athlete)
        born = 2026 - athlete.age
        body = {"id": athlete.id, "display_name": athlete.name, "sex": athlete.sex, "group_ids": [athlete.group],
                "experience": "trained" if athlete.trained else "novice", "consent_on": day(-75),
                "preferred_lead_leg": DICE.choice(["left", "right"])}
        if n % 8 == 5:
            body["birth_year"] = born
        else:
            body["birth_date"] = f"{born}-{DICE.randint(1, 9):02d}-{DICE.randint(1, 28):02d}"
        measured = [] if n % 12 == 7 else [{"kind": "stature_m", "value": athlete.stature, "measured_on": day(-72)}]
        if n % 3 == 0:
            time = round(53 / athlete.limit + DICE.gauss(0, 0.15), 2)
            # A child as fast as that is rare: a coach looked again.
            rare = {"confirmed": True} if athlete.age < 10 and time < 7.7 else {}
            measured.append({"kind": "sprint_50m_s", "value": time, "measured_on": day(-72), **rare})
        body["measurements"] = measured
        send(admin, "POST", f"{club}/athletes", body)
        if n % 23 == 11:
            # An id of its own making: the dice of everything else fall as before.
            rest = {"id": f"019b76da-a8ff-7000-8000-{n:012x}", "athlete_id": body["id"], "kind": "restriction",
                    "reported_on": day(0), "reported_by": "guardian", "until": day(10)}
            send(admin, "POST", f"{club}/wellbeing-records", {"wellbeing_records": [rest]})
    return ids, venues, athletes


def season(club, coaches, groups, venues, athletes):
    """Ten weeks, two sessions a week for each group."""
    assessed = 0
    for week in range(10):
        for which, group in enumerate(groups):
            coach = coaches[which]
            for part, weekday in enumerate((0, 3)):
                offset = -70 + 7 * week + weekday + which % 2
                session = new_id(f"session {week} {which} {part}")
                stage = "rhythm_wickets" if week < 3 else "low_barriers"
                send(coach, "POST", f"{club}/sessions", {
                    "id": session, "held_on": day(offset), "state": "held", "group_ids": [group],
                    "venue_id": venues[0 if part == 0 else 1],
                    "blocks": [{"stage": "mobility", "drill": "Skips and leg swings", "repeats": 4},
                               {"stage": stage, "drill": "Lanes by rhythm", "repeats": 3, "barriers": 5}]})
                present = [one for one in athletes if one.group == group and DICE.random() < 0.86]
                send(coach, "PUT", f"{club}/sessions/{session}/attendance", {"present": sorted(one.id for one in present)})
                runs = []
                for athlete in present:
                    held = intervals = hits = barriers = 0
                    for repeat in range(3):
                        n = 5
                        counts, hit = athlete.run(n)
                        run = {"id": new_id(f"run {session} {athlete.id} {repeat}"), "session_id": session,
                               "athlete_id": athlete.id, "run_at": "%sT0%d:%02d:00Z" % (day(offset), 6, 10 + repeat * 12),
                               "barrier_kind": athlete.kind, "height_m": athlete.height, "spacing_m": athlete.spacing,
                               "approach_m": 12, "barriers": n, "intervals": counts, "hits": hit}
                        if DICE.random() < 0.08:
                            at, times = 2.3 + 0.2 * DICE.random(), []
                            for _ in range(n):
                                times.append(round(at, 2))
                                at += 1.05 + 0.15 * DICE.random()
                            run.update(touchdown_times_s=times, timing_method="tap")
                        runs.append(run)
                        held, intervals = held + counts["held"], intervals + n - 1
                        hits, barriers = hits + hit, barriers + n
                    athlete.learn(held / intervals, hits, barriers)
                send(coach, "POST", f"{club}/runs", {"runs": runs})
                ratings = []
                for athlete in present:
                    if part == 0 and DICE.random() < 0.78:
                        athlete.skill = min(3, athlete.skill + (DICE.random() < 0.35))
                        level = min(2, athlete.skill)
                        rating = {"lead_leg": level, "trail_leg": level, "walkover": min(3, level + 1) if level else 1}
                        if week > 4:
                            rating["rhythm"] = level
                        ratings.append({"id": new_id(f"assessment {session} {athlete.id}"), "athlete_id": athlete.id,
                                        "session_id": session, "assessed_at": "%sT07:00:00Z" % day(offset),
                                        "ratings": rating})
                if ratings:
                    send(coach, "POST", f"{club}/assessments", {"assessments": ratings})
                assessed += len(ratings)
    return assessed


def today(club, coaches, groups, venues, athletes):
    """A session today for each group, with everybody present and the lanes planned."""
    for which, group in enumerate(groups):
        session = new_id(f"session today {which}")
        send(coaches[which], "POST", f"{club}/sessions", {"id": session, "held_on": day(0), "state": "planned",
                                                          "group_ids": [group], "venue_id": venues[0]})
        present = sorted(one.id for one in athletes if one.group == group)
        send(coaches[which], "PUT", f"{club}/sessions/{session}/attendance", {"present": present})
        send(coaches[which], "POST", f"{club}/sessions/{session}/lane-plans", {
            "id": new_id(f"plan today {which}"), "lanes": 4, "capacity": 6, "barriers": {"min": 4, "max": 6}})


def race(club, coach, group, venue, athletes):
    """A race test of one group ten days ago over shortened dimensions, with a result for everybody."""
    dice = random.Random(60)
    session, test = new_id("session race"), new_id("race test")
    send(coach, "POST", f"{club}/sessions", {"id": session, "held_on": day(-10), "state": "held", "group_ids": [group],
                                             "venue_id": venue})
    send(coach, "POST", f"{club}/race-tests", {
        "id": test, "session_id": session, "name": "Spring test", "state": "held", "timing_method": "hand",
        "dimensions": {"race_distance_m": 60, "barriers": 6, "height_m": 0.6, "approach_m": 11.5, "spacing_m": 7,
                       "discounted": True}})
    results = []
    for at, athlete in enumerate(one for one in athletes if one.group == group):
        result = {"id": new_id(f"result {athlete.id}"), "athlete_id": athlete.id, "heat": 1 + at // 6, "lane": 1 + at % 6,
                  "status": "finished", "final_time_s": round(10.6 + 1.6 * dice.random(), 1), "hits": int(dice.random() < 0.2)}
        if at == 4:
            result = {**result, "status": "did_not_finish", "final_time_s": None}
        results.append({name: value for name, value in result.items() if value is not None})
    send(coach, "POST", f"{club}/race-tests/{test}/results", {"results": results})


def second_club(club, admin):
    group = new_id("group second")
    send(admin, "POST", f"{club}/groups", {"id": group, "name": "Sprint squad"})
    send(admin, "POST", f"{club}/equipment", {"id": new_id("stock second"), "barrier_kind": "hurdle",
                                              "heights_m": [0.762, 0.838, 0.914], "count": 12})
    session = new_id("session second")
    ids = []
    for n, name in enumerate(["Ondine Varga", "Piet Lindqvist", "Runa Halvorsen", "Samir Okafor", "Tilda Moreau", "Ugo Brandt"]):
        ids.append(new_id("athlete " + name))
        send(admin, "POST", f"{club}/athletes", {"id": ids[-1], "display_name": name, "sex": "FM"[n % 2], "birth_year": 2009 + n % 2,
                                                 "group_ids": [group], "experience": "trained",
                                                 "measurements": [{"kind": "stature_m", "value": 1.62 + 0.03 * n,
                                                                   "measured_on": day(-30)}]})
    send(admin, "POST", f"{club}/sessions", {"id": session, "held_on": day(-6), "state": "held", "group_ids": [group]})
    runs = [{"id": new_id(f"run second {n}"), "session_id": session, "athlete_id": ids[n % 6],
             "run_at": "%sT17:%02d:00Z" % (day(-6), n), "barrier_kind": "hurdle", "height_m": 0.762, "spacing_m": 7.5,
             "barriers": 6, "intervals": {"held": 4 + n % 2, "over_reached": 1 - n % 2}} for n in range(12)]
    send(admin, "POST", f"{club}/runs", {"runs": runs})


def main():
    first, second = "/v1/clubs/{club:quillmere}", "/v1/clubs/{club:osterlund}"
    people = ["admin@quillmere.example", "mara@quillmere.example", "jonas@quillmere.example", "liaison@quillmere.example",
              "admin@osterlund.example"]
    groups, venues, athletes = squad(first, people[0])
    coaches = [people[1], people[1], people[2]]
    season(first, coaches, groups, venues, athletes)
    second_club(second, people[4])
    today(first, coaches, groups, venues, athletes)
    # Sent before the last plan, whose presence tells that all was loaded; made after it, so that no other id moves.
    last = REQUESTS.pop()
    race(first, coaches[2], groups[2], venues[0], athletes)
    REQUESTS.append(last)
    accounts = {"password": PASSWORD, "accounts": [
        {"email": people[0], "display_name": "Ada Quill", "club": {"key": "quillmere", "name": "Quillmere Athletics",
         "time_zone": "Australia/Hobart", "ruleset": "LAA-2019"}},
        {"email": people[1], "display_name": "Mara Tindall", "member_of": "quillmere", "role": "coach", "group_ids": groups[:2]},
        {"email": people[2], "display_name": "Jonas Everett", "member_of": "quillmere", "role": "coach", "group_ids": groups[2:]},
        {"email": people[3], "display_name": "Petra Liaison", "member_of": "quillmere", "role": "viewer", "group_ids": groups[:1]},
        {"email": people[4], "display_name": "Olaf Osterlund", "club": {"key": "osterlund", "name": "Osterlund Sprint Club",
         "time_zone": "Europe/Vienna", "ruleset": "WA"}}]}
    with open(os.path.join(HERE, "accounts.json"), "w", encoding="utf-8") as out:
        json.dump(accounts, out, indent=1)
        out.write("\n")
    with open(os.path.join(HERE, "requests.jsonl"), "w", encoding="utf-8") as out:
        for request in REQUESTS:
            out.write(json.dumps(request, separators=(",", ":")) + "\n")
    runs = sum(len(one["body"].get("runs", [])) for one in REQUESTS)
    ratings = sum(len(one["body"].get("assessments", [])) for one in REQUESTS)
    print(f"{len(REQUESTS)} requests, {runs} runs, {ratings} assessments")


main()
