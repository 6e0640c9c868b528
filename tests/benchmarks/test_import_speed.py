"""Importing thermostack costs little beside the libraries that it stands on."""

import subprocess
import sys

ROUNDS = 7


def seconds(code):
    """Least time that an import takes, timed within processes of their own."""
    timed = f"import time; t = time.perf_counter(); {code}; print(time.perf_counter() - t)"
    runs = [
        subprocess.run([sys.executable, "-c", timed], check=True, capture_output=True, text=True) for _ in range(ROUNDS)
    ]
    return min(float(run.stdout) for run in runs)


def test_import_adds_little(benchmark):
    libraries = "import numpy, scipy, pint"
    alone = seconds(libraries)
    together = seconds(f"{libraries}; import thermostack; [getattr(thermostack, n) for n in thermostack.__all__]")
    lazy = seconds(f"{libraries}; import thermostack")
    benchmark.extra_info.update(
        libraries_s=round(alone, 3), adds_s=round(lazy - alone, 3), all_names_add_s=round(together - alone, 3)
    )
    benchmark.pedantic(seconds, args=("import thermostack",), rounds=1)
    assert lazy - alone < 0.3
