"""Histories of changes and grants with the pages that a phone must get, for the tests of the change feed.

Usage: python3 tests/oracle/visibility.py > tests/oracle/visibility_cases.json

Written from the rules alone, not from the service's code: a server that is one list, and a member's page by brute
force. Before a history is written out, the phone's copy at its end is compared with what the member may see, so every
committed page is part of a history that ends right. The generator is seeded: the same file every time.

Roots and records are named by number and kind. Both kinds count from 0, so every number names a root of each kind, and a
record of each: whoever tells them apart by the number alone gets other pages.
"""

import json
import random

SCOPES = [1, 2, 3]
# The kinds of roots, in the order in which roots of one number are sent, with the kind of what lies below them.
BELOW = {"athlete": "run", "session": "lane_plan"}
MEMBERS = [0, 1]
HISTORIES = 24


class Server:
    def __init__(self):
        self.log, self.roots, self.children, self.grants = [None], {}, {}, []

    def append(self, row):
        self.log.append(row)
        return len(self.log) - 1

    def scopes(self, member, at=None, ever=False):
        if at is None:
            return {g["scope"] for g in self.grants if g["member"] == member and (ever or g["to"] is None)}
        valid = lambda g: g["from"] <= at and (g["to"] is None or at < g["to"])
        return {g["scope"] for g in self.grants if g["member"] == member and valid(g)}

    def sees(self, member, root):
        one = self.roots[root]
        return one["alive"] and bool(one["scopes"] & self.scopes(member))

    def say(self, word, root):
        return [word, root[1], root[0], self.roots[root]["rev"]]

    def say_child(self, word, child):
        return [word, child[1], child[0], self.children[child]["rev"]]

    def subtree(self, root):
        live = [c for c, one in sorted(self.children.items()) if one["root"] == root and one["alive"]]
        return [((root, 2, c[0]), self.say_child("put", c)) for c in live]

    def whole(self, root):
        return [((root, 1, 0), self.say("put", root))] + self.subtree(root)

    def afresh(self, root):
        return [((root, 0, 0), self.say("changed", root))] + self.whole(root)

    def gone(self, root, reason):
        return [((root, 1, 0), self.say(reason, root))]

    def expand(self, member, at):
        row = self.log[at]
        if row["kind"] == "child":
            child, root = row["child"], row["root"]
            if not self.sees(member, root):
                return []
            word = "put" if self.children[child]["alive"] else "deleted"
            return [((root, 2, child[0]), self.say_child(word, child))]
        if row["kind"] == "root":
            root, before, after = row["root"], row["before"], row["after"]
            if self.sees(member, root):
                held = self.scopes(member, at)
                entered = before is not None and not before & held and bool(after & held)
                return self.afresh(root) if entered else [((root, 1, 0), self.say("put", root))]
            if before is not None and before & self.scopes(member, ever=True):
                return self.gone(root, "changed" if self.roots[root]["alive"] else "deleted")
            return []
        if row["member"] != member:
            return []
        left = {
            later["root"]
            for later in self.log[at + 1 :]
            if later["kind"] == "root" and later["before"] and row["scope"] in later["before"]
        }
        out = []
        for root, one in sorted(self.roots.items()):
            if not one["alive"] or not (row["scope"] in one["scopes"] or root in left):
                continue
            if row["kind"] == "grant" and self.sees(member, root):
                out += self.afresh(root)
            if row["kind"] == "revoke" and not self.sees(member, root):
                out += self.gone(root, "changed")
        return out

    def page(self, member, token, limit):
        head, items = len(self.log) - 1, []
        walk, seq, sub = token if token else (((-1, ""), 0, 0), head, None)
        if walk is not None:
            for root in sorted(self.roots):
                if not self.sees(member, root):
                    continue
                for key, item in self.whole(root):
                    if key <= walk:
                        continue
                    items.append(item)
                    walk = key
                    if len(items) == limit:
                        return items, (walk, seq, None), True
        while seq < head:
            for key, item in self.expand(member, seq + 1):
                if sub is not None and key <= sub:
                    continue
                items.append(item)
                if len(items) == limit:
                    return items, (None, seq, key), True
            seq, sub = seq + 1, None
        return items, (None, seq, None), False


def some_scopes(rng):
    return {rng.choice(SCOPES) for _ in range(rng.choice([1, 1, 2]))}


def next_of(kind, named):
    return (sum(1 for _, other in named if other == kind), kind)


def write(rng, server):
    """One change; returns it as the tests replay it."""
    kind = rng.random()
    alive = [r for r, one in server.roots.items() if one["alive"]]
    if kind < 0.2 or not server.roots:
        root, scopes = next_of(rng.choice(list(BELOW)), server.roots), some_scopes(rng)
        server.roots[root] = {"scopes": scopes, "alive": True, "rev": 0}
        row = {"kind": "root", "root": root, "before": set(), "after": set(scopes)}
    elif kind < 0.45 and alive:
        root = rng.choice(alive)
        child = next_of(BELOW[root[1]], server.children)
        server.children[child] = {"root": root, "alive": True, "rev": 0}
        server.children[child]["rev"] = server.append({"kind": "child", "child": child, "root": root})
        return ["child", child[1], child[0], root[0], True]
    elif kind < 0.54 and server.children:
        child = rng.choice(list(server.children))
        one = server.children[child]
        if not one["alive"] or not server.roots[one["root"]]["alive"]:
            return None
        one["alive"] = rng.random() < 0.5
        one["rev"] = server.append({"kind": "child", "child": child, "root": one["root"]})
        return ["child", child[1], child[0], one["root"][0], one["alive"]]
    elif kind < 0.6 and alive:
        root = rng.choice(alive)
        row = {"kind": "root", "root": root, "before": None, "after": None}
    elif kind < 0.74 and alive:
        root = rng.choice(alive)
        before, after = set(server.roots[root]["scopes"]), some_scopes(rng)
        server.roots[root]["scopes"] = after
        row = {"kind": "root", "root": root, "before": before, "after": set(after)}
    elif kind < 0.79 and alive:
        root = rng.choice(alive)
        server.roots[root]["alive"] = False
        row = {"kind": "root", "root": root, "before": set(server.roots[root]["scopes"]), "after": set()}
    else:
        member, scope = rng.choice(MEMBERS), rng.choice(SCOPES)
        open_one = [g for g in server.grants if (g["member"], g["scope"], g["to"]) == (member, scope, None)]
        word = "revoke" if open_one else "grant"
        at = server.append({"kind": word, "member": member, "scope": scope})
        if open_one:
            open_one[0]["to"] = at
        else:
            server.grants.append({"member": member, "scope": scope, "from": at, "to": None})
        return [word, member, scope]
    server.roots[root]["rev"] = server.append(row)
    sets = lambda one: None if one is None else sorted(one)
    return ["root", root[1], root[0], sets(row["before"]), sets(row["after"])]


def apply(server, copy, items):
    for word, kind, one, rev in items:
        if word == "put":
            copy[one, kind] = rev
        else:
            copy.pop((one, kind), None)
            below = [c for c in copy if c in server.children and server.children[c]["root"] == (one, kind)]
            for child in below:
                del copy[child]


def history(seed):
    rng, server, events = random.Random(seed), Server(), []
    tokens = {m: None for m in MEMBERS}
    copies = {m: {} for m in MEMBERS}

    def pull(member, limit, lost):
        items, token, more = server.page(member, tokens[member], limit)
        events.append(["pull", member, limit, lost, items, more])
        if not lost:
            apply(server, copies[member], items)
            tokens[member] = token
        return more

    for _ in range(rng.randint(20, 70)):
        if rng.random() < 0.6:
            event = write(rng, server)
            if event:
                events.append(event)
        else:
            pull(rng.choice(MEMBERS), rng.randint(1, 6), rng.random() < 0.15)
    for member in MEMBERS:
        while pull(member, rng.randint(1, 6), False):
            pass
        roots = {r: one["rev"] for r, one in server.roots.items() if server.sees(member, r)}
        children = {c: one["rev"] for c, one in server.children.items() if one["alive"] and one["root"] in roots}
        assert copies[member] == roots | children, seed
    return events


if __name__ == "__main__":
    for seed in range(24, 3000):
        history(seed)
    print(json.dumps([history(seed) for seed in range(HISTORIES)], separators=(",", ":")))
