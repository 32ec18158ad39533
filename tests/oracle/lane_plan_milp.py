#!/usr/bin/env python3
"""Solves random lane plan problems with a general MILP solver (HiGHS through scipy) and writes the optima.

The instances are made here and written out whole (utilities rounded to six digits), so the test reads what the solver
read. Model: y[c] lanes of configuration c (whole number), x[i,c] athlete i in a lane of c; every athlete in one lane,
at most `capacity` athletes a lane, at most K lanes, units of each stock assigned to kinds and heights by a flow.

With --time it only prints the seconds of each solve.

Needs numpy and scipy: python3 -m venv V && V/bin/pip install numpy scipy && V/bin/python tests/oracle/lane_plan_milp.py
"""
import json, math, os, random, sys, time
import numpy, scipy
from scipy.optimize import Bounds, LinearConstraint, milp

HERE = os.path.dirname(os.path.abspath(__file__))
HEIGHTS = [300, 500, 600]


def instance(seed):
    dice = random.Random(seed)
    athletes, lanes, spacings = dice.randint(10, 20), dice.randint(3, 5), dice.randint(6, 10)
    candidates = [(h, 5000 + 250 * s) for h in HEIGHTS for s in range(spacings)]
    regret = []
    for _ in range(athletes):
        limit, width, cost = 5 + 0.25 * spacings * dice.random(), 0.1 + 0.3 * dice.random(), 0.3 + 1.5 * dice.random()
        top = dice.choice(HEIGHTS)
        log_u = []
        for h, s in candidates:
            if h > top:
                log_u.append(None)
                continue
            excess = (h - 300) / 1000
            beyond = (s / 1000 - limit + cost * excess) / width
            hold = 1 / (1 + math.exp(max(-40, min(40, beyond))))
            steps = sum(1 for other in HEIGHTS if h < other <= top)
            log_u.append(math.log(hold) + 0.2 / width * (s / 1000 + cost * excess) + steps * math.log(0.95))
        best = max(u for u in log_u if u is not None)
        regret.append([None if u is None else round(1 - math.exp(u - best), 6) for u in log_u])
    stock = [{"heights": [300], "count": dice.randint(5, 15)}, {"heights": [500], "count": dice.randint(3, 12)},
             {"heights": [500, 600], "count": dice.randint(4, 15)}]
    return {"seed": seed, "lanes": lanes, "capacity": -(-athletes // lanes) + dice.randint(0, 2), "barriers": dice.randint(3, 5),
            "candidates": candidates, "regret": regret, "stock": stock}


def solve(one):
    n, m, k = len(one["regret"]), len(one["candidates"]), one["lanes"]
    flows = [(j, h) for j, item in enumerate(one["stock"]) for h in item["heights"]]
    width = n * m + m + len(flows)
    cost = numpy.zeros(width)
    upper = numpy.ones(width)
    upper[n * m:n * m + m] = k
    upper[n * m + m:] = 1000
    for i in range(n):
        for c in range(m):
            value = one["regret"][i][c]
            cost[i * m + c] = value or 0.0
            if value is None:
                upper[i * m + c] = 0
    rows, low, high = [], [], []

    def add(entries, lo, hi):
        row = numpy.zeros(width)
        for at, value in entries:
            row[at] += value
        rows.append(row), low.append(lo), high.append(hi)

    y, f = lambda c: n * m + c, lambda t: n * m + m + t
    for i in range(n):
        add([(i * m + c, 1) for c in range(m)], 1, 1)
    for c in range(m):
        add([(i * m + c, 1) for i in range(n)] + [(y(c), -one["capacity"])], -numpy.inf, 0)
    add([(y(c), 1) for c in range(m)], 0, k)
    for h in HEIGHTS:
        demand = [(y(c), one["barriers"]) for c in range(m) if one["candidates"][c][0] == h]
        add(demand + [(f(t), -1) for t, (_, height) in enumerate(flows) if height == h], -numpy.inf, 0)
    for j, item in enumerate(one["stock"]):
        add([(f(t), 1) for t, (item_of, _) in enumerate(flows) if item_of == j], 0, item["count"])
    began = time.perf_counter()
    found = milp(cost, constraints=LinearConstraint(numpy.array(rows), low, high), integrality=numpy.ones(width),
                 bounds=Bounds(0, upper), options={"mip_rel_gap": 0.0})
    seconds = time.perf_counter() - began
    assert found.status in (0, 2), found.message
    return (round(float(found.fun), 9) if found.status == 0 else None), seconds


def main():
    if sys.argv[1:] == ["--time"]:
        for seed in range(60):
            print(solve(instance(seed))[1])
        return
    cases, spent = [], []
    for seed in range(60):
        one = instance(seed)
        one["optimum"], seconds = solve(one)
        cases.append(one)
        spent.append(seconds)
    spent.sort()
    with open(os.path.join(HERE, "lane_plan_cases.json"), "w", encoding="utf-8") as out:
        json.dump({"versions": {"numpy": numpy.__version__, "scipy": scipy.__version__},
                   "solver_median_s": round(spent[len(spent) // 2], 4), "cases": cases}, out, separators=(",", ":"))
        out.write("\n")
    print(f"{len(cases)} cases, {sum(one['optimum'] is None for one in cases)} infeasible, median {spent[30]*1e3:.1f} ms, "
          f"max {spent[-1]*1e3:.1f} ms")


main()
