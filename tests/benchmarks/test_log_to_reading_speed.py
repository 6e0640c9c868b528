"""From a file of a million rows to a reading, against what pandas takes to read the file, in the same run."""

import numpy as np
import pandas as pd
import pytest

import thermostack as ts

pytestmark = pytest.mark.long
ROWS = 1_000_000
COLUMNS = {"time": "time", "sensors": {"core *": "core *"}, "coolant": "coolant", "power": "power"}


@pytest.fixture(scope="module")
def path(tmp_path_factory):
    rng = np.random.default_rng(1)
    data = {
        "time [s]": np.round(0.01 * np.arange(ROWS), 2),
        "coolant [degC]": np.round(30 + 0.05 * rng.standard_normal(ROWS), 2),
        "power [W]": np.round(230 + rng.standard_normal(ROWS), 2),
    }
    data |= {f"core {i} [degC]": np.round(75 + i + 0.5 * rng.standard_normal(ROWS)) for i in range(6)}
    file = tmp_path_factory.mktemp("logs") / "long.csv"
    pd.DataFrame(data).to_csv(file, index=False)
    return file


def test_a_reading_of_a_million_rows(benchmark, least, path):
    benchmark.pedantic(lambda: ts.read_log(path, COLUMNS).steady(), rounds=1)
    bare, whole = least(lambda: pd.read_csv(path), lambda: ts.read_log(path, COLUMNS).steady())
    ratio = whole / bare
    benchmark.extra_info["ratio"] = ratio
    print(f"\nfile to reading: {ratio:.2f} times what pandas takes to read the file")
    # the figure to reach is 1.5. Measured on a quiet machine: 1.47 in the median of this file of plain numbers, all of
    # them used, and 1.07 where the time is a date and time; on a busy one 1.7, since more memory is touched
    assert ratio < 1.9
