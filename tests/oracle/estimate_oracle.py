"""Independent figures for the estimate: ordered-logit likelihoods and full posteriors.

Written from the mathematical definition, with numpy, scipy and statsmodels. Run it in an environment that has them:

    python tests/oracle/estimate_oracle.py > tests/oracle/estimate_cases.json
"""
import json
import platform

import numpy as np
import scipy
import scipy.optimize
import statsmodels
from scipy.special import expit
from scipy.stats import logistic, norm
from statsmodels.miscmodels.ordinal_model import OrderedModel

BAND, LAPSE, ICC, Q = 1.6, 0.02, 0.5, 0.002
C = np.round(3.5 + 0.05 * np.arange(131), 10)
G = np.round(0.2 + 0.4 * np.arange(7), 10)
W = np.array([0.10, 0.16, 0.25, 0.40])
D = np.array([-0.03, 0.0, 0.03, 0.06, 0.09])
CC, GG, WW = np.meshgrid(C, G, W, indexing="ij")


def probabilities(x, w):
    """(crowded, held, over-reached) at distance x beyond the limit; broadcasting."""
    cut = np.stack([np.zeros_like(x + w), logistic.cdf((-BAND - x) / w),
                    1.0 - logistic.cdf(x / w) + 0.0 * x, np.ones_like(x + w)])
    p = np.diff(cut, axis=0)
    p[1] = np.maximum(p[1], 1e-9)
    return (1 - LAPSE) * p + LAPSE / 3


def check_with_statsmodels():
    """The same cumulative-logit probabilities from OrderedModel.predict, before lapses.

    Its categories are ordered crowded < held < over-reached with latent slope beta: P(y <= k) = F(cut_k - beta x);
    a latent s / w with cuts (C - B) / w and C / w is the model. OrderedModel stores the second cut as a log increment.
    """
    worst = 0.0
    for c, w in [(6.2, 0.16), (5.5, 0.4), (7.75, 0.1)]:
        s = np.linspace(c - 2.5, c + 1.0, 15)
        y = np.tile([0, 1, 2], 5)
        model = OrderedModel(y, s[:, None], distr="logit")
        cuts = np.array([(c - BAND) / w, c / w])
        params = np.array([1.0 / w, cuts[0], np.log(cuts[1] - cuts[0])])
        theirs = np.asarray(model.predict(params, exog=s[:, None]))
        # P(y = over) grows with s here; crowded is P(y = 0) = F((C - B - s) / w)
        x = s - c
        ours = np.stack([expit((-BAND - x) / w), expit(-x / w) - expit((-BAND - x) / w), expit(x / w)], axis=1)
        worst = max(worst, np.abs(theirs - ours).max())
    assert worst < 1e-9, worst
    return worst


def transition(mean, variance):
    """The matrix of one step: three points with this mean and variance, raised where no distribution has it."""
    step = 0.05
    variance = max(variance, abs(mean) * step - mean * mean)
    second = variance + mean * mean
    up = (second / step**2 + mean / step) / 2
    down = (second / step**2 - mean / step) / 2
    up, down = max(up, 0.0), max(down, 0.0)
    n = len(C)
    t = np.zeros((n, n))
    for i in range(n):
        t[min(i + 1, n - 1), i] += up
        t[max(i - 1, 0), i] += down
        t[i, i] += 1 - second / step**2
    return t


def drift(p, days):
    """p has axes c, g, w, d."""
    if days == 0:
        return p
    weeks = days / 7
    n = 1
    while Q * weeks / n + (0.09 * weeks / n) ** 2 > 0.05**2 / 2:
        n += 1
    out = np.empty_like(p)
    for k, d in enumerate(D):
        power = np.linalg.matrix_power(transition(d * weeks / n, Q * weeks / n), n)
        out[..., k] = np.tensordot(power, p[..., k], axes=(1, 0))
    return out


def log_likelihood(run):
    x = run["spacing_mm"] / 1000 - (CC - GG * max(0.0, run["height_mm"] / 1000 - 0.30))
    crowded, held, over = probabilities(x, WW)
    k, o, r, u = run["held"], run["over_reached"], run["crowded"], run["broken"]
    effect = 1 + (k + o + r + u - 1) * ICC
    return (k * np.log(held) + o * np.log(over) + r * np.log(crowded) + u * np.log(1 - held)) / effect


def area_quantile(values, masses, level):
    """Each mass spread evenly over 0.05 m around its value."""
    def area(x):
        return np.sum(masses * np.clip((x - values) / 0.05 + 0.5, 0, 1))
    return scipy.optimize.brentq(lambda x: area(x) - level, values.min() - 0.1, values.max() + 0.1, xtol=1e-13)


def step_quantile(values, masses, level):
    """The least value up to which at least this share of the mass lies."""
    order = np.argsort(values, kind="stable")
    return float(values[order][np.searchsorted(np.cumsum(masses[order]), level)])


def solve(case):
    prior = norm.pdf(CC, case["prior_mean_m"], case["prior_sd_m"])
    prior = prior * norm.pdf(GG, 1.0, 0.5) * norm.pdf(np.log(WW), np.log(0.22), 0.3)
    p = prior[..., None] * norm.pdf(D, 0.045, 0.05)
    p /= p.sum()
    runs = sorted(case["runs"], key=lambda run: run["day"])
    day = runs[0]["day"] if runs else case["on_day"]
    for d in sorted({run["day"] for run in runs}):
        p = drift(p, d - day)
        log = sum(log_likelihood(run) for run in runs if run["day"] == d)
        p = p * np.exp(log - log.max())[..., None]
        p /= p.sum()
        day = d
    p = drift(p, case["on_day"] - day).sum(axis=3)
    height = case["ask_height_mm"] / 1000
    at_height = (CC - GG * max(0.0, height - 0.30)).ravel()
    mass = p.ravel()
    x = case["ask_spacing_mm"] / 1000 - at_height
    _, held, over = probabilities(x, WW.ravel())
    spread = lambda v: [float(np.sum(v * mass))] + [area_quantile(v, mass, q) for q in (0.05, 0.5, 0.95)]
    return {
        "limit_m": spread(CC.ravel()),
        "limit_at_height_m": spread(at_height),
        "height_cost": float(np.sum(GG.ravel() * mass)),
        "width_m": float(np.sum(WW.ravel() * mass)),
        "hold": [float(np.sum(held * mass)), step_quantile(held, mass, 0.05), step_quantile(held, mass, 0.95)],
        "not_over_reached": float(np.sum((1 - over) * mass)),
    }


def invent(rng, index):
    """An invented history: more days, heights and gaps with a higher index."""
    true = rng.uniform(5.2, 7.8)
    days = 20_000 + np.cumsum(rng.choice([1, 2, 3, 4, 7, 9, 21], size=index % 8))
    runs = []
    for day in days:
        for _ in range(rng.integers(1, 5)):
            height = int(rng.choice([200, 300, 500, 600, 762]))
            spacing = int(round((true - 0.8 * max(0, height - 300) / 1000
                                 + rng.normal(-0.2, 0.5)) * 100) * 10)
            n = int(rng.integers(1, 9))
            counts = rng.multinomial(n, [0.6, 0.25, 0.07, 0.08])
            runs.append(dict(day=int(day), height_mm=height, spacing_mm=spacing, held=int(counts[0]),
                             over_reached=int(counts[1]), crowded=int(counts[2]), broken=int(counts[3])))
    last = int(days[-1]) if len(days) else 20_000
    case = dict(prior_mean_m=round(float(rng.uniform(5.0, 8.0)), 3), prior_sd_m=round(float(rng.uniform(0.3, 1.0)), 3),
                runs=runs, on_day=last + int(rng.choice([0, 1, 5, 30])),
                ask_height_mm=int(rng.choice([300, 600, 838])), ask_spacing_mm=int(true * 20) * 50)
    case["expected"] = solve(case)
    return case


def main():
    agreement = check_with_statsmodels()
    rng = np.random.default_rng(20260101)
    points = []
    for x in [-4.0, -1.9, -1.6, -0.8, -0.3, 0.0, 0.05, 0.4, 2.5]:
        for w in W:
            crowded, held, over = (float(v) for v in probabilities(np.float64(x), w))
            points.append([x, float(w), held, over, crowded])
    figures = {
        "made_with": {"python": platform.python_version(), "numpy": np.__version__, "scipy": scipy.__version__,
                      "statsmodels": statsmodels.__version__},
        "largest_difference_to_statsmodels": agreement,
        "chances": points,
        "cases": [invent(rng, index) for index in range(28)],
    }
    print(json.dumps(figures, separators=(",", ":")).replace('{"prior_mean_m"', '\n{"prior_mean_m"'))


if __name__ == "__main__":
    main()
