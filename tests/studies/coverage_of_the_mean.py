"""Does the stated interval of a reading hold what was put in? 2,000 generated logs, eight kinds of them.

Run it as ``python tests/studies/coverage_of_the_mean.py`` to renew ``results/coverage_of_the_mean.json``; a share of it
runs with the tests (test_coverage_of_the_mean.py). The truth is the resistance that the generator was given; the
interval is 1.96 times the stated standard uncertainty of sensor minus coolant over power. The kinds "load",
"alternating" and "bound" look at the power, whose mean is known as exactly. All logs are invented.
"""

from __future__ import annotations

import importlib.util
import json
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
from scipy.stats import binom

from thermostack.measured.flags import SteadyError
from thermostack.measured.log import Log
from thermostack.measured.steady import steady

HERE = Path(__file__).parent
RESULTS = HERE / "results" / "coverage_of_the_mean.json"
EACH = 250


def generator():
    """Return the module that makes the logs."""
    path = HERE.parents[1] / "examples" / "generate_logs.py"
    if "generate_logs" not in sys.modules:
        spec = importlib.util.spec_from_file_location("generate_logs", path)
        module = importlib.util.module_from_spec(spec)
        sys.modules["generate_logs"] = module  # dataclasses look their module up
        spec.loader.exec_module(module)
    return sys.modules["generate_logs"]


def as_log(columns, source="generated"):
    """Return generated columns as a log, in SI."""
    role = {"coolant": "coolant", "room": "ambient", "power": "power", "pump": "pump"}
    values = {n: c + (0 if n in ("power", "pump") else 273.15) for n, c in columns.items() if n != "time"}
    return Log(columns["time"], values, {name: role.get(name, "sensor") for name in values}, source)


def kinds():
    """Return each kind of log: bench, arguments of `steady`, and whether resistance or power is looked at."""
    g = generator()
    plain = g.Bench(
        {"die": 0.2}, ((60.0, 14.0), (1500.0, 230.0)), step=0.0, coolant_step=0.0, loop_time=120.0, wander=(0.6, 0.0,
        1.5)
    )  # fmt: skip
    return {
        "fine sensors": (plain, {}, "resistance"),
        "rounded to 1 K, noise 0.4 K": (replace(plain, step=1.0, truncating=False, noise=0.4), {}, "resistance"),
        "truncated to 1 K, noise 0.4 K": (replace(plain, step=1.0, noise=0.4), {"truncating": ["die"]}, "resistance"),
        "one row in five missing": (replace(plain, missing=0.2), {}, "resistance"),
        "load, AR(1)": (plain, {}, "power"),
        "load, AR(2) that swings": (replace(plain, wander=(1.2, -0.6, 2.0)), {}, "power"),
        "load, periodic": (replace(plain, periodic=(8.0, 23.0)), {}, "power"),
        "load, slow (a bound)": (replace(plain, wander=(0.97, 0.0, 1.0)), {}, "power"),
    }


def score(bench, arguments, what, seed):
    """Return error over stated uncertainty of a log, and whether it was a bound; None where it was refused."""
    # the room puts the mean anywhere in a step of the sensor
    bench = replace(bench, room=float(np.random.default_rng(seed + 7).uniform(20, 24)))
    log = as_log(generator().generate(bench, seed))
    try:
        reading = steady(log, **arguments)
    except SteadyError:
        return None
    if what == "power":
        # the power is rounded to 1/8 W of a noise far above: no bias
        mean, u = reading["power"]
        return (mean - 230.0) / u, reading.basis == "bound"
    return (reading.resistance[0] - 0.2) / np.sqrt(reading.resistance_covariance[0, 0]), reading.basis == "bound"


def run(each=EACH, seed=0):
    """Return the counts of every kind."""
    out = {}
    for number, (name, kind) in enumerate(kinds().items()):
        scores = [score(*kind, seed + 100_000 * number + i) for i in range(each)]
        kept = np.array([s for s in scores if s is not None])
        inside = np.abs(kept[:, 0]) <= 1.96
        bound = kept[:, 1].astype(bool)
        out[name] = {
            "logs": each, "refused": each - len(kept), "estimates": int((~bound).sum()), "bounds": int(bound.sum()),
            "inside": int(inside.sum()), "estimates_inside": int(inside[~bound].sum()),
            "mean_score": float(kept[:, 0].mean()), "sd_score": float(kept[:, 0].std()),
        }  # fmt: skip
    return out


def band(number, chance=0.95, level=0.99):
    """Return the exact binomial band of how many of `number` intervals hold the truth."""
    return tuple(int(x) for x in binom.ppf([(1 - level) / 2, (1 + level) / 2], number, chance))


if __name__ == "__main__":
    result = run()
    RESULTS.write_text(json.dumps(result, indent=1) + "\n", encoding="utf-8")
    for name, row in result.items():
        print(f"{name:32s} {row}  band {band(row['logs'] - row['refused'])}")
