"""How benchmarks take time, and what long ones measure against, in the same run."""

import time

import numpy as np
import pytest

from thermostack.solvers.layered.solve import one_blas_thread

DENSE_SOLVE = 1.64e-3
"""Processor time of a dense solve of 400 unknowns on the machine that figures are said for (DEVELOPERS.md). [s]"""


def least_times(*calls, rounds=5):
    times = np.empty((rounds, len(calls)))
    for row in times:
        for n, call in enumerate(calls):
            start = time.process_time()
            call()
            row[n] = time.process_time() - start
    return times.min(axis=0)


@pytest.fixture(scope="session")
def least():
    """Return what gives the least processor time of each of some calls. [s]

    They take turns, so that a slow phase of the machine falls on all alike; processor time leaves out what else runs.
    """
    return least_times


@pytest.fixture(scope="session")
def dense_solve():
    """Return a dense solve of 400 unknowns on one BLAS thread: about 2/3 · 400³ = 43 million multiplications."""
    rng = np.random.default_rng(0)
    matrix, right = rng.standard_normal((400, 400)) + 400 * np.eye(400), rng.standard_normal((400, 9))

    def solve():
        with one_blas_thread():
            np.linalg.solve(matrix, right)

    return solve


@pytest.fixture
def once(benchmark, dense_solve):
    """Return what runs something once and gives its result, and the seconds on one core of the machine of figures."""

    def run(work):
        units, spent = [min(least_times(dense_solve, rounds=40))], []

        def timed():
            start = time.process_time()
            found = work()
            spent.append(time.process_time() - start)
            units.append(min(least_times(dense_solve, rounds=40)))
            return found

        found = benchmark.pedantic(timed, rounds=1)
        # a slow phase may fall on either end
        unit = np.mean(units)
        ratio = spent[0] / unit
        benchmark.extra_info.update(
            processor_s=round(spent[0], 2), dense_solve_ms=round(1e3 * unit, 2), ratio=round(ratio)
        )
        print(f"{spent[0]:.2f} s, {ratio:.0f} dense solves of {1e3 * unit:.2f} ms")
        return found, ratio * DENSE_SOLVE

    return run
