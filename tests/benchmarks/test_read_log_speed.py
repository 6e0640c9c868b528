"""Speed of reading logs, as ratios to bare pandas on the same file in the same run."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from thermostack.measured.read import read_log

pytestmark = pytest.mark.long
ROWS = 1_000_000
SENSORS = 6


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """Two logs of an invented part with the same numbers: one by elapsed seconds, one by date and time."""
    folder = tmp_path_factory.mktemp("logs")
    rng = np.random.default_rng(1)
    table = pd.DataFrame({"Package [W]": np.round(rng.normal(230, 2, ROWS), 1)})
    for n in range(SENSORS):
        table[f"Core #{n} [degC]"] = np.round(rng.normal(70, 0.5, ROWS), 1)
    table["Water in [degC]"] = np.round(rng.normal(30, 0.1, ROWS), 2)
    seconds = np.arange(ROWS) * 0.25
    table.assign(**{"Elapsed [s]": seconds}).to_csv(folder / "elapsed.csv", index=False)
    stamps = np.datetime64("2026-03-01T22:00:00.000") + np.arange(ROWS) * np.timedelta64(250, "ms")
    stamps = pd.Series(np.datetime_as_string(stamps, unit="ms"))
    table.insert(0, "Stamp", stamps)
    table.to_csv(folder / "stamped.csv", index=False)
    return folder


def columns(time):
    return {"time": time, "power": "Package", "sensors": {"core *": "Core #*"}, "coolant": "Water in"}


@pytest.mark.parametrize(("name", "time_column"), [("elapsed.csv", "Elapsed"), ("stamped.csv", "Stamp")])
def test_a_million_rows_cost_little_more_than_bare_pandas(benchmark, least, folder, name, time_column):
    """From the file to a log in SI, with every column used; 1.5 is what the whole way to a reading may cost."""
    path = folder / name
    log = read_log(path, columns(time_column))
    assert len(log.time) == ROWS
    assert log.time[-1] == pytest.approx((ROWS - 1) * 0.25, abs=1e-9)
    bare, ours = least(lambda: pd.read_csv(path), lambda: read_log(path, columns(time_column)))
    benchmark.extra_info["ratio to bare pandas"] = round(ours / bare, 2)
    benchmark.pedantic(read_log, args=(path, columns(time_column)), rounds=1)
    print(f"{name}: {ours:.3f} s, {ours / bare:.2f} times bare pandas")
    assert ours / bare < 1.5
