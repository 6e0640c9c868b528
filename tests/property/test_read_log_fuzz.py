"""Damaged logs: a log or an error of ours, never another exception, and nothing written."""

import os
import runpy
from pathlib import Path

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

MUTATE = runpy.run_path(str(Path(__file__).parents[1] / "studies" / "fuzz_logs.py"))
outcome, mutated, originals = MUTATE["outcome"], MUTATE["mutated"], MUTATE["originals"]


@settings(max_examples=500, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(number=st.integers(0, 2**31))
def test_a_damaged_log_gives_a_log_or_an_error_of_ours(tmp_path_factory, number):
    folder = tmp_path_factory.getbasetemp() / "fuzz"
    folder.mkdir(exist_ok=True)
    path = folder / "log.csv"
    content, columns, options = mutated(originals(), number)
    path.write_bytes(content)
    kind, said = outcome(path, columns, options)  # any other exception fails the test
    assert path.read_bytes() == content
    assert os.listdir(folder) == ["log.csv"]
    if kind == "FileError":
        assert said.startswith(str(path))


def test_the_undamaged_logs_are_read(tmp_path):
    for name, (content, columns, options) in originals().items():
        path = tmp_path / name
        path.write_bytes(content)
        kind, said = outcome(path, columns, options)
        assert kind == "Log", (name, said)
