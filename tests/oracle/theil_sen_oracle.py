"""Independent figures for the slope of Theil and Sen and for normal quantiles, by scipy.

Run it in an environment that has numpy and scipy:

    python tests/oracle/theil_sen_oracle.py > tests/oracle/theil_sen_cases.json
"""
import json
import platform

import numpy as np
import scipy
from scipy.stats import norm, theilslopes

rng = np.random.default_rng(20_261_125)


def case(name, x, y, confidence):
    x, y = [float(v) for v in x], [float(v) for v in y]
    found = theilslopes(y, x, confidence)
    interval = [float(found.low_slope), float(found.high_slope)]
    return {"name": name, "x": x, "y": y, "confidence": confidence, "slope": float(found.slope),
            "intercept": float(found.intercept), "interval": None if np.isnan(interval).any() else interval}


def cases():
    for confidence in (0.5, 0.9, 0.95, 0.99):
        yield case("two points", [1, 3], [2, 5], confidence)
        yield case("three points", [1, 2, 4], [2, 1, 9], confidence)
        yield case("a wild value", range(7), [1, 3, 5, 7, 9, 11, 400], confidence)
        yield case("interval times of a race", range(9), [1.10, 1.05, 1.03, 1.04, 1.06, 1.08, 1.12, 1.13, 1.19], confidence)
        yield case("level", range(6), [2, 2, 2, 2, 2, 2], confidence)
        yield case("ties in y", range(8), [1, 1, 2, 2, 2, 3, 1, 4], confidence)
        yield case("ties in x", [0, 0, 1, 1, 1, 2, 5], [3, 1, 4, 1, 5, 9, 2], confidence)
        yield case("ties in both", [0, 0, 1, 1, 2, 2, 3, 3], [1, 1, 2, 2, 2, 1, 3, 3], confidence)
        yield case("more ties than order", [0, 0, 0, 0, 1], [1, 1, 1, 1, 2], confidence)
        yield case("signed zeros", [-1, -0.0, 0.0, 1, 2], [0.0, -0.0, 1, -0.0, 2], confidence)
        yield case("falling, unordered", [5, 1, 4, 2, 3], [1, 9, 2, 7, 6.5], confidence)
    for n in (4, 5, 9, 10, 15, 24, 40, 90):
        x = np.sort(np.round(rng.uniform(0, 120, n)))
        y = np.round(0.03 * x + rng.standard_t(2, n), 2)
        yield case(f"{n} days, heavy tails", x, y, 0.9)


print(json.dumps({
    "made_with": {"python": platform.python_version(), "numpy": np.__version__, "scipy": scipy.__version__},
    "normal_quantiles": [[p, float(norm.ppf(p))] for p in (1e-9, 1e-4, 0.025, 0.05, 0.25, 0.5, 0.75, 0.9, 0.95, 0.975, 0.999)],
    "cases": list(cases()),
}, separators=(",", ":")))
