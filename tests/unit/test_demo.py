"""The invented logs of the check: made by finite elements, read as they were made, small, and saying what they are."""

from __future__ import annotations

import importlib.util
import json
import sys
from pathlib import Path

import numpy as np
import pytest

import thermostack as ts

ROOT = Path(__file__).parents[2]
EXAMPLES, STUDIES = ROOT / "examples", ROOT / "tests" / "studies"
LOGS = sorted((EXAMPLES / "demo").glob("*.csv"))


def loaded(name, folder):
    if str(folder) not in sys.path:
        sys.path.insert(0, str(folder))
    if name not in sys.modules:
        spec = importlib.util.spec_from_file_location(name, folder / f"{name}.py")
        sys.modules[name] = module = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(module)
    return sys.modules[name]


@pytest.fixture(scope="module")
def demo():
    return loaded("generate_demo", EXAMPLES)


@pytest.fixture(scope="module")
def example():
    return loaded("check_result", EXAMPLES)


@pytest.mark.parametrize("path", LOGS, ids=lambda path: path.stem)
def test_logs_are_small_and_say_that_they_are_invented(path):
    assert path.stat().st_size < 300_000
    assert path.read_text(encoding="utf-8").startswith("# invented log: a part that does not exist")


def test_every_story_has_its_logs(demo):
    assert [path.stem for path in LOGS] == sorted(
        f"{story}-{state}-{mount}" for story in demo.STORIES for state in demo.STATES for mount in demo.MOUNTS
    )


@pytest.mark.parametrize("path", LOGS, ids=lambda path: path.stem)
def test_the_generator_makes_them_again(path, demo):
    story, state, mount = path.stem.rsplit("-", 2)
    again = demo.text_of(demo.demo_log(story, state, int(mount)), story, state, int(mount)).splitlines()
    kept = path.read_text(encoding="utf-8").splitlines()
    assert again[:3] == kept[:3]
    assert len(again) == len(kept)
    same = np.mean([a == b for a, b in zip(again, kept, strict=True)])
    assert same > 0.999  # a value at a step may fall either way on another machine


@pytest.mark.parametrize("path", LOGS[::3], ids=lambda path: path.stem)
def test_readings_are_what_was_put_in(path, demo, example):
    """Every level of a log, within five standard uncertainties of what its sensors were made to show."""
    story, state, mount = path.stem.rsplit("-", 2)
    log = ts.read_log(path, example.COLUMNS)
    levels = log.levels(truncating=log.of_role("sensor"))
    assert len(levels) == 3
    for reading in levels:
        for i, (core, (r, b)) in enumerate(demo.solved(story, state, int(mount)).items()):
            true = r * reading.power + b * reading.power**2 + demo.OFFSETS[core]
            assert abs(reading.rise[i] - true) < 5 * np.sqrt(reading.rise_covariance[i, i])


def test_stored_resistances_are_those_of_the_elements():
    """One mount of each story solved again by finite elements, and by the layered solver within 0.5 %."""
    solver = loaded("demo_resistances", STUDIES)
    stored = json.loads((EXAMPLES / "demo" / "resistances.json").read_text(encoding="utf-8"))
    for story, state in (("too-large", "before"), ("too-small", "after")):
        stack = solver.true_stack(story, state, solver.MOUNTS[state][0])
        again = solver.rises(stack, stored["cells"])
        kept = [210 * r + 210**2 * b for r, b in stored[story][state][0].values()]
        assert again == pytest.approx(kept, rel=1e-5)
        sensors = ts.predict(stack).sensors.to_dict()
        second = [rise for at, rise in zip(sensors["at"], sensors["rise_K"], strict=True) if at in solver.CORES]
        assert second == pytest.approx(kept, rel=5e-3)


def test_leakage_saves_what_it_says(demo):
    """At one workload the power falls by 0.5 % a kelvin of the cores' mean."""
    cooler = demo.mean_rise("too-large", "before", 210.0) - demo.mean_rise(
        "too-large", "after", demo.full_power("too-large", "after")
    )
    assert 1 - demo.full_power("too-large", "after") / 210 == pytest.approx(0.005 * cooler, rel=1e-6)


@pytest.mark.parametrize(
    ("story", "cause", "words"),
    [
        (
            "too-large",
            "void in a corner of the first joint",
            "The readings point to “void in a corner of the first joint”",
        ),
        ("too-small", "lid standing on its rim", "Cannot tell: the described stack keeps"),
    ],
)
def test_the_check_finds_what_was_planted(example, story, cause, words):
    before, after = ts.read_variants(example.HERE / "demo" / "part.toml")
    found = ts.check(
        *(
            ts.State(stack, *(reading for _, reading in example.readings(story, name)))
            for stack, name in ((before, "before"), (after, "after"))
        ),
        draws=0,
    )
    assert found.verdict.finding == "not explained"
    assert found.causes.ranked[0].name == cause
    assert found.causes.conclusion.startswith(words)
