"""Importing thermostack costs little beside the libraries that it stands on."""

import subprocess
import sys

ROUNDS = 3
TIMED = """
import time
start = time.perf_counter()
import numpy, scipy, pint
libraries = time.perf_counter()
import thermostack
print(libraries - start, time.perf_counter() - libraries)
"""


def seconds():
    """Time that the libraries take, and thermostack after them, in a process of its own."""
    found = subprocess.run([sys.executable, "-c", TIMED], check=True, capture_output=True, text=True).stdout
    return [float(s) for s in found.split()]


def test_import_adds_little(benchmark):
    libraries, package = (min(each) for each in zip(*(seconds() for _ in range(ROUNDS)), strict=True))
    benchmark.extra_info["ratio to libraries"] = package / libraries
    benchmark.pedantic(seconds, rounds=1)
    print(f"{1e3 * package:.0f} ms on top of {1e3 * libraries:.0f} ms")
    assert package < 0.3 * libraries
