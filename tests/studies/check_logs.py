"""The whole road of a check: logs in CSV from the second forward model, steady readings from them, causes with samples.

Pairs are planted as in `check_study`: from the causes' own priors, every input drawn, gaps bowed, one mount in eight bad.
What the sensors then show is written as a practitioner's logger writes it: a row a second from cold through full load (and
half of it), noise with a memory, a slow wander, temperatures cut off below a whole degree, coolant and power rounded. The
files are read by `read_log`, made readings by `steady_levels`, and asked by `check` as it stands. Offsets of sensors and
probe and the gain of the meter are drawn once for a part, and stated as common to all readings.

Run it as ``python tests/studies/check_logs.py --pairs 12 --described 48 --part 0/2 --folder …``, then ``--gather``.
"""

from __future__ import annotations

import argparse
import json
import tempfile
import time
import warnings
from pathlib import Path

import check_study as study
import numpy as np
from check_study import DESCRIBED, RESULTS, UNLISTED
from scipy import signal

import thermostack as ts
from thermostack.checking.effect import unlisted_covariance
from thermostack.errors import ThermostackWarning
from thermostack.states import State

SEED = 7100
CORES = tuple(f"core {i}" for i in range(4))
COMMON = {f"{core}.offset": "0 K (sd 1 K)" for core in CORES} | {
    "coolant.offset": "0 K (sd 0.3 K)",
    "power.gain": "0 (sd 0.02)",
}
COLUMNS = {"time": "time", "sensors": {"core *": "core *"}, "coolant": "coolant", "power": "power"}
MINUTES = {"cold": 2, "full": 14, "half": 12}
SETTLING = 25.0
"""Time in which die and lid follow the power. [s]"""
NOISE, MEMORY = 0.5, 2.0
"""Of a sensor's row [K], and for how long it is remembered [s]."""
WANDER, SLOW = 0.05, 60.0
"""The same of a slow wander that all sensors of a log have in common."""


def reading(mean, power, **labels):
    """Return a reading as the logs will give it, for the bench: d′ and what is drawn depend on it."""
    return ts.Reading.of(
        {core: f"{mean} degC (sd 0.08 K)" for core in CORES}, power=f"{power} W (sd 0.2 W)",
        coolant="26 degC (sd 0.02 K)", common=COMMON, **labels,
    )  # fmt: skip


def remembering(rng, count, sd, memory):
    """Return noise of a memory in seconds, a value a second, one column of it. AR(1)."""
    a = np.exp(-1.0 / memory)
    return signal.lfilter([np.sqrt(1 - a**2)], [1, -a], sd * rng.standard_normal((count + 300, 1)), axis=0)[300:]


def write_log(rng, path, levels):
    """Write a log of levels: what the sensors show of each before they cut off [°C], and its power [W]."""
    rows, before = [], np.full(len(CORES), 26.0)
    for minutes, shown, power in levels:
        t = np.arange(60.0 * minutes)[:, None]
        rows.append(np.hstack([shown + (before - shown) * np.exp(-t / SETTLING), np.full((len(t), 1), power)]))
        before = shown
    table = np.vstack(rows)
    count = len(table)
    wander = remembering(rng, count, WANDER, SLOW)
    cores = [table[:, [i]] + remembering(rng, count, NOISE, MEMORY) + wander for i in range(len(CORES))]
    coolant = 26.0 + remembering(rng, count, 0.03, 10.0)
    power = table[:, [-1]] + remembering(rng, count, 1.0, 5.0)
    columns = [np.arange(count)[:, None], *map(np.floor, cores), coolant.round(1), power.round(1)]
    names = ["time [s]", *(f"{core} [degC]" for core in CORES), "coolant [degC]", "power [W]"]
    formats = ["%d", *["%.1f"] * (len(names) - 1)]
    np.savetxt(path, np.hstack(columns), fmt=formats, delimiter=",", header=",".join(names), comments="")


def readings_of(rng, bench, true, folder):
    """Return the readings of each state, by way of files, and how many logs were refused as too short."""
    celsius = [true[rows] - 273.15 for rows in bench.model.rows]
    levels = {
        "before": [("full", celsius[0], 230.0), ("half", celsius[1], 115.0)],
        "after 1": [("full", celsius[2], 230.0), ("half", celsius[3], 115.0)],
        "after 2": [("full", celsius[4], 230.0)],
    }
    found, refused = {}, 0
    for name, own in levels.items():
        longer, loaded = 1.0, []
        while len(loaded) < len(own):
            path = folder / f"{name}.csv"
            cold = (MINUTES["cold"], np.full(len(CORES), 26.0), 2.0)
            write_log(rng, path, [cold, *((longer * MINUTES[what], shown, power) for what, shown, power in own)])
            mount = name.removeprefix("after").strip() if name.startswith("after") else ""
            levels_found = ts.read_log(path, COLUMNS).levels(truncating=CORES, common=COMMON, mount=mount)
            loaded = [each for each in levels_found if each.power > 50]
            # what is not steady for long enough is logged again, as its refusal asks for
            refused, longer = refused + (len(loaded) < len(own)), 1.5 * longer
        found[name] = [each.labelled(level="half" if each.power < 170 else "full") for each in loaded]
    return found["before"], [*found["after 1"], *found["after 2"]], refused


def asked(bench, c, k, folder, seed=SEED):
    """Return what the check said of one pair."""
    rng, name = np.random.default_rng([seed, c, k]), bench.names[c]
    what = study.planted_as(bench, c, rng)
    shift = np.zeros(len(bench.y)) if what is None else bench.shift(c, *what)
    extra = np.zeros(len(bench.y))
    if name == UNLISTED:
        extra = shift = rng.multivariate_normal(extra, unlisted_covariance(bench.model))
    bad = [] if name == DESCRIBED or c == bench.bad else study.bad_mounts(bench, rng)
    sample = study.one_of(study.drawn_for(bench, seed + 1000 * c, k + 1), k)
    true = extra + study.as_large_as_can_be(bench, sample, what, bad, study.drawn_bows(bench, rng))
    before, after = (state.stack for state in bench.states)
    b, a, refused = readings_of(rng, bench, true, folder)
    started = time.process_time()
    check = ts.check(State(before, *b), State(after, *a))
    row = study.judged(check.causes, name, bench.detectability(shift), check.verdict.p, len(bad), k)
    u = float(np.median([each[core][1] for each in (*b, *a) for core in CORES]))
    more = {"contradiction": check.contradiction.p, "u": u, "refused": refused}
    return row | more | {"seconds": time.process_time() - started}


def gathered(folder):
    """Return the figures of all parts."""
    parts = [json.loads(path.read_text(encoding="utf-8")) for path in sorted(folder.glob("logs_*_of_*.json"))]
    prior, rows = parts[0]["prior"], [row for part in parts for row in part["rows"]]
    order = list(prior)
    rows.sort(key=lambda row: (order.index(row["cause"]), row["pair"]))
    described = [row for row in rows if row["cause"] == DESCRIBED]
    return study.summary(prior, rows) | {
        "what": "logs", "described_p": sorted(round(row["p"], 4) for row in described),
        "described_contradictory": float(np.mean([row["contradiction"] < 0.01 for row in described])),
        "logs_refused": sum(row["refused"] for row in rows), "median_u_K": float(np.median([row["u"] for row in rows])),
        "median_seconds": float(np.median([row["seconds"] for row in rows])), "rows": study.compact(rows),
    }  # fmt: skip


def main():
    ask = argparse.ArgumentParser()
    ask.add_argument("--pairs", type=int, default=12)
    ask.add_argument("--described", type=int, default=48)
    ask.add_argument("--part", default="0/1")
    ask.add_argument("--folder", type=Path, required=True, help="of the parts")
    ask.add_argument("--gather", action="store_true")
    told = ask.parse_args()
    warnings.simplefilter("ignore", ThermostackWarning)
    told.folder.mkdir(parents=True, exist_ok=True)
    if told.gather:
        result = gathered(told.folder)
        (RESULTS / "check_logs.json").write_text(study.as_text(dict(result)))
        print(json.dumps({key: value for key, value in result.items() if key != "rows"}, indent=1))
        return
    part = tuple(int(n) for n in told.part.split("/"))
    bench, rows = study.Bench(reading), []
    order = [
        (k, c) for c, name in enumerate(bench.names) for k in range(told.described if name == DESCRIBED else told.pairs)
    ]
    order.sort()
    with tempfile.TemporaryDirectory() as folder:
        for k, c in order[part[0] :: part[1]]:
            rows.append(asked(bench, c, k, Path(folder)))
            print(json.dumps(rows[-1]), flush=True)
            result = {"prior": dict(zip(bench.names, bench.prior.tolist(), strict=True)), "rows": rows}
            (told.folder / f"logs_{part[0]}_of_{part[1]}.json").write_text(json.dumps(result))


if __name__ == "__main__":
    main()
