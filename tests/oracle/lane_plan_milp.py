#!/usr/bin/env python3
"""Solves random lane plan problems with a general MILP solver (HiGHS through scipy) and writes the optima.

The instances are made here and written out whole (losses rounded to nine digits), so the test reads what the solver
read. Model: y[c] lanes of configuration c (whole number), x[i,c] athlete i in a lane of c; every athlete in one lane or
waiting at a price, at most `capacity` athletes a lane, at most K lanes, units of each stock assigned to kinds and heights by a flow.

With --time it only prints the seconds of each solve.

Needs numpy and scipy: python3 -m venv V && V/bin/pip install numpy scipy && V/bin/python tests/oracle/lane_plan_milp.py
"""
import json, math, os, random, sys, time
import numpy, scipy
from scipy.optimize import Bounds, LinearConstraint, milp

HERE = os.path.dirname(os.path.abspath(__file__))
HEIGHTS = [300, 500, 600]
# Of the loss: widths of the hold curve, another barrier, and what it costs when somebody waits.
WIDTHS, OTHER, WAITS = 2.0, 0.25, 20.0


def loss(advised, here, width, cost):
    demand = lambda at: at[1] / 1000 + cost * max(0, at[0] - 300) / 1000
    easier = demand(advised) - demand(here)
    away = min(1, (2 if easier < 0 else 1) * (1 - math.exp(-(easier / (WIDTHS * width)) ** 2 / 2)))
    return away + (OTHER * (1 - away) if here[0] != advised[0] else 0)


def instance(seed):
    dice = random.Random(seed)
    people, lanes, spacings = dice.randint(10, 20), dice.randint(3, 5), dice.randint(6, 10)
    candidates = [(h, 5000 + 250 * s) for h in HEIGHTS for s in range(spacings)]
    regret, athletes = [], []
    for _ in range(people):
        width, cost = round(0.1 + 0.3 * dice.random(), 3), round(0.3 + 1.5 * dice.random(), 3)
        advised = (dice.choice(HEIGHTS), 5000 + 250 * dice.randrange(spacings))
        weight = 1.0 if dice.random() < 0.5 else round(1 + dice.random(), 3)
        athletes.append({"advised": advised, "width": width, "cost": cost, "weight": weight})
        row = []
        for here in candidates:
            wider = 250 if here[0] < advised[0] else 0
            inside = here[0] <= advised[0] and advised[1] - 1250 <= here[1] <= advised[1] + wider
            row.append(round(weight * loss(advised, here, width, cost), 9) if inside else None)
        regret.append(row)
    stock = [{"heights": [300], "count": dice.randint(5, 15)}, {"heights": [500], "count": dice.randint(3, 12)},
             {"heights": [500, 600], "count": dice.randint(4, 15)}]
    return {"seed": seed, "lanes": lanes, "capacity": -(-people // lanes) + dice.randint(0, 2), "barriers": dice.randint(3, 5),
            "candidates": candidates, "athletes": athletes, "regret": regret, "stock": stock}


def solve(one):
    n, m, k = len(one["regret"]), len(one["candidates"]), one["lanes"]
    flows = [(j, h) for j, item in enumerate(one["stock"]) for h in item["heights"]]
    width = n * m + m + len(flows) + n
    cost = numpy.zeros(width)
    upper = numpy.ones(width)
    upper[n * m:n * m + m] = k
    upper[n * m + m:n * m + m + len(flows)] = 1000
    for i in range(n):
        cost[n * m + m + len(flows) + i] = WAITS * one["athletes"][i]["weight"]
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

    y, f, waits = lambda c: n * m + c, lambda t: n * m + m + t, lambda i: n * m + m + len(flows) + i
    for i in range(n):
        add([(i * m + c, 1) for c in range(m)] + [(waits(i), 1)], 1, 1)
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
    print(f"{len(cases)} cases, {sum(one['optimum'] >= WAITS for one in cases)} with somebody waiting, median {spent[30]*1e3:.1f} ms, "
          f"max {spent[-1]*1e3:.1f} ms")


main()
