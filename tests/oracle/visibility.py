"""Histories of changes and grants with the pages that a phone must get, for the tests of the change feed.

Usage: python3 tests/oracle/visibility.py > tests/oracle/visibility_cases.json

Written from the rules alone, not from the service's code: a server that is one list, and a member's page by brute
force. Before a history is written out, the phone's copy at its end is compared with what the member may see, so every
committed page is part of a history that ends right. The generator is seeded: the same file every time.
"""

import json
import random

SCOPES = [1, 2, 3]
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

    def put_root(self, root):
        return ["put", "root", root, self.roots[root]["rev"]]

    def subtree(self, root):
        live = [c for c, one in sorted(self.children.items()) if one["root"] == root and one["alive"]]
        return [((root, 2, c), ["put", "child", c, self.children[c]["rev"]]) for c in live]

    def whole(self, root):
        return [((root, 1, 0), self.put_root(root))] + self.subtree(root)

    def afresh(self, root):
        return [((root, 0, 0), ["changed", "root", root, self.roots[root]["rev"]])] + self.whole(root)

    def gone(self, root, reason):
        return [((root, 1, 0), [reason, "root", root, self.roots[root]["rev"]])]

    def expand(self, member, at):
        row = self.log[at]
        if row["kind"] == "child":
            child, root = self.children[row["child"]], row["root"]
            if not self.sees(member, root):
                return []
            word = "put" if child["alive"] else "deleted"
            return [((root, 2, row["child"]), [word, "child", row["child"], child["rev"]])]
        if row["kind"] == "root":
            root, before, after = row["root"], row["before"], row["after"]
            if self.sees(member, root):
                held = self.scopes(member, at)
                entered = before is not None and not before & held and bool(after & held)
                return self.afresh(root) if entered else [((root, 1, 0), self.put_root(root))]
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
        walk, seq, sub = token if token else ((-1, 0, 0), head, None)
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


def write(rng, server):
    """One change; returns it as the tests replay it."""
    kind = rng.random()
    alive = [r for r, one in server.roots.items() if one["alive"]]
    if kind < 0.2 or not server.roots:
        root, scopes = len(server.roots), some_scopes(rng)
        server.roots[root] = {"scopes": scopes, "alive": True, "rev": 0}
        row = {"kind": "root", "root": root, "before": set(), "after": set(scopes)}
    elif kind < 0.45 and alive:
        child, root = len(server.children), rng.choice(alive)
        server.children[child] = {"root": root, "alive": True, "rev": 0}
        server.children[child]["rev"] = server.append({"kind": "child", "child": child, "root": root})
        return ["child", child, root, True]
    elif kind < 0.54 and server.children:
        child = rng.choice(list(server.children))
        one = server.children[child]
        if not one["alive"] or not server.roots[one["root"]]["alive"]:
            return None
        one["alive"] = rng.random() < 0.5
        one["rev"] = server.append({"kind": "child", "child": child, "root": one["root"]})
        return ["child", child, one["root"], one["alive"]]
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
    return ["root", root, sets(row["before"]), sets(row["after"])]


def apply(server, copy, items):
    for word, kind, one, rev in items:
        if word == "put":
            copy[kind][one] = rev
        else:
            copy[kind].pop(one, None)
            if kind == "root":
                below = [c for c in copy["child"] if server.children[c]["root"] == one]
                for child in below:
                    del copy["child"][child]


def history(seed):
    rng, server, events = random.Random(seed), Server(), []
    tokens = {m: None for m in MEMBERS}
    copies = {m: {"root": {}, "child": {}} for m in MEMBERS}

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
        assert copies[member] == {"root": roots, "child": children}, seed
    return events


if __name__ == "__main__":
    for seed in range(24, 3000):
        history(seed)
    print(json.dumps([history(seed) for seed in range(HISTORIES)], separators=(",", ":")))
