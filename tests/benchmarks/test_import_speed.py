"""Importing thermostack costs little beside the libraries that it stands on."""

import subprocess
import sys

ROUNDS = 3


LIBRARIES = "import numpy, scipy, pint"
CODES = {
    "libraries": LIBRARIES,
    "package": f"{LIBRARIES}; import thermostack",
    "all names": f"{LIBRARIES}; import thermostack; [getattr(thermostack, n) for n in thermostack.__all__]",
}


def seconds(code):
    """Time that an import takes, counted in a process of its own."""
    timed = f"import time; t = time.perf_counter(); {code}; print(time.perf_counter() - t)"
    return float(subprocess.run([sys.executable, "-c", timed], check=True, capture_output=True, text=True).stdout)


def test_import_adds_little(benchmark):
    """Least of runs that take turns, so that what else the machine does falls on all alike."""
    runs = [{name: seconds(code) for name, code in CODES.items()} for _ in range(ROUNDS)]
    least = {name: min(run[name] for run in runs) for name in CODES}
    added = {name: least[name] - least["libraries"] for name in ("package", "all names")}
    benchmark.extra_info.update({f"{name} adds_s": round(s, 3) for name, s in added.items()})
    benchmark.pedantic(seconds, args=("import thermostack",), rounds=1)
    assert added["package"] < 0.3
