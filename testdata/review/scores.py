"""Scores of a year-end review, worked out apart from the program.

Run once, with numpy: python3 testdata/review/scores.py
It invents six seasons of three varieties, writes them and what was forecast of
them to events.csv, and what comes out of it to scores.csv. It shares no code
with the program; what it computes is defined in the comments.
"""

import csv
import datetime as dt
import math
import os

import numpy as np

HERE = os.path.dirname(os.path.abspath(__file__))
RNG = np.random.default_rng(20180611)
STAGES = ["first_ripe", "peak", "last_pick"]
LEADS = [None, 21, 14, 7, 3]  # None: at bloom.
NAMES = ["at bloom", "21 days before", "14 days before", "7 days before", "3 days before"]
RULE = [30, 34, 39]  # Days from bloom by the rule of thumb.
EPOCH = dt.date(1970, 1, 1)


def place(d):
    """Day of the year counted in a leap year, so that a month and day has one number."""
    return (dt.date(2000, d.month, d.day) - dt.date(2000, 1, 1)).days


def dated(x, year):
    """Days since the epoch of a fractional place in a year."""
    whole = math.floor(x)
    d = dt.date(2000, 1, 1) + dt.timedelta(days=whole)
    return (dt.date(year, d.month, d.day) - EPOCH).days + x - whole


def quantiles(mean, sd, after):
    """10, 50 and 90 % of the nearest whole day to a normal, given that it is later than after."""
    days = np.arange(math.floor(mean - 10 * sd), math.ceil(mean + 10 * sd) + 1)
    cdf = np.array([0.5 * math.erfc(-(d + 0.5 - mean) / sd / math.sqrt(2)) for d in days])
    mass = np.diff(np.concatenate([[0.0], cdf]))
    keep = days > after
    if mass[keep].sum() < 1e-9:
        return [after + 1] * 3
    cut = not keep.all()
    days, mass = days[keep], mass[keep] / mass[keep].sum()
    if cut:  # What is left is known to 1e-8 by definition: it decides between two days that halve it.
        mass = np.round(mass * 1e8)
    cum = np.cumsum(mass) / mass.sum()
    return [int(days[np.searchsorted(cum, p - 1e-12)]) for p in (0.1, 0.5, 0.9)]


def pinball(q, y):
    return np.mean([(y - a) * (p - (1 if y < a else 0)) for p, a in zip((0.1, 0.5, 0.9), q)])


def spread(residuals, usual):
    n = len(residuals)
    sd = math.sqrt(np.sum(np.square(residuals)) / (n - 1)) if n > 1 else usual
    return max(1.0, sd * math.sqrt(1 + 1 / n))


# The seasons: bloom and stages, days since the epoch.
seen = {}
for year in range(2012, 2018):
    shift = RNG.integers(-6, 7)
    pace = RNG.integers(-3, 4)
    for i, planting in enumerate(["a", "b", "c"]):
        bloom = (dt.date(year, 5, 4 + 3 * i) - EPOCH).days + int(shift + RNG.integers(-1, 2))
        first = bloom + 30 + int(pace + RNG.integers(-2, 3))
        peak = first + 4 + int(RNG.integers(0, 3))
        last = peak + 5 + int(RNG.integers(0, 4))
        seen[year, planting] = (bloom, [first, peak, last])

rows = []
for (year, planting), (bloom, came) in sorted(seen.items()):
    for s, actual in enumerate(came):
        for lead, name in zip(LEADS, NAMES):
            as_of = bloom if lead is None else actual - lead
            if as_of < bloom or RNG.random() < 0.05:  # Before bloom, or nobody forecast.
                continue
            mid = actual + int(RNG.integers(-4, 5)) * (1 if lead is None or lead > 7 else 0) + int(RNG.integers(-2, 3))
            mid = max(mid, as_of + 1)
            q = [max(as_of + 1, mid - int(RNG.integers(0, 4))), mid, mid + int(RNG.integers(0, 5))]
            rows.append((year, planting, s, name, bloom, actual, as_of, q))

with open(os.path.join(HERE, "events.csv"), "w", newline="") as f:
    out = csv.writer(f, lineterminator="\n")
    out.writerow("season planting stage lead bloom actual as_of p10 p50 p90".split())
    iso = lambda n: (EPOCH + dt.timedelta(days=int(n))).isoformat()
    for year, planting, s, name, bloom, actual, as_of, q in rows:
        out.writerow([year, planting, STAGES[s], name, iso(bloom), iso(actual), iso(as_of)] + [iso(x) for x in q])


def baseline(kind, year, planting, s, as_of, bloom):
    past = [(y, b, came[s]) for (y, p), (b, came) in sorted(seen.items()) if p == planting and y < year]
    if kind == "bloom + 30 days":
        r = [a - b - RULE[s] for _, b, a in past]
        sd = max(1.0, math.sqrt(np.mean(np.square(r)))) if len(r) > 1 else 5
        return quantiles(bloom + RULE[s], sd, as_of)
    if not past:
        return None
    if kind == "mean date":
        x = [place(EPOCH + dt.timedelta(days=int(a))) for _, _, a in past]
        return quantiles(dated(float(np.mean(x)), year), spread(np.array(x) - np.mean(x), 6), as_of)
    x = [a - b for _, b, a in past]
    return quantiles(bloom + float(np.mean(x)), spread(np.array(x) - np.mean(x), 4), as_of)


KINDS = ["mean date", "bloom + 30 days", "own mean days"]
with open(os.path.join(HERE, "scores.csv"), "w", newline="") as f:
    out = csv.writer(f, lineterminator="\n")
    out.writerow(["stage", "lead", "n", "seasons", "bias", "mae", "pinball", "inside"]
                 + [f"{k} {c}" for k in KINDS for c in ("n", "mae", "skill", "pinball skill")])
    for s in [None, 0, 1, 2]:
        for name in NAMES:
            of = [r for r in rows if r[3] == name and s in (None, r[2])]
            err = np.array([r[7][1] - r[5] for r in of])
            line = ["all stages" if s is None else STAGES[s], name, len(of), len({r[0] for r in of}),
                    err.mean(), np.abs(err).mean(), np.mean([pinball(r[7], r[5]) for r in of]),
                    sum(r[7][0] <= r[5] <= r[7][2] for r in of)]
            for kind in KINDS:
                pairs = [(r, baseline(kind, r[0], r[1], r[2], r[6], r[4])) for r in of]
                pairs = [(r, b) for r, b in pairs if b is not None]
                ours = np.array([abs(r[7][1] - r[5]) for r, _ in pairs])
                theirs = np.array([abs(b[1] - r[5]) for r, b in pairs])
                po = np.array([pinball(r[7], r[5]) for r, _ in pairs])
                pt = np.array([pinball(b, r[5]) for r, b in pairs])
                line += [len(pairs), theirs.mean(), 1 - ours.mean() / theirs.mean(), 1 - po.mean() / pt.mean()]
            out.writerow([round(x, 10) if isinstance(x, float) else x for x in line])
