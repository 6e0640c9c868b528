"""What long benchmarks measure against, in the same run."""

import time

import numpy as np
import pytest

from thermostack.solvers.layered.solve import one_blas_thread

DENSE_SOLVE = 1.64e-3
"""Processor time of a dense solve of 400 unknowns on the machine that figures are said for (DEVELOPERS.md). [s]"""


def dense_solve():
    """Return the processor time of a dense solve of 400 unknowns on one BLAS thread. [s]"""
    rng = np.random.default_rng(0)
    A, b = rng.standard_normal((400, 400)) + 400 * np.eye(400), rng.standard_normal((400, 9))
    with one_blas_thread():
        np.linalg.solve(A, b)
        start = time.process_time()
        for _ in range(40):
            np.linalg.solve(A, b)
        return (time.process_time() - start) / 40


@pytest.fixture
def once(benchmark):
    """Return what runs something once and gives its result, and the seconds on one core of the machine of figures."""

    def run(work):
        units, spent = [dense_solve()], []

        def timed():
            start = time.process_time()
            found = work()
            spent.append(time.process_time() - start)
            units.append(dense_solve())
            return found

        found = benchmark.pedantic(timed, rounds=1)
        ratio = spent[0] / min(units)
        benchmark.extra_info.update(
            processor_s=round(spent[0], 2), dense_solve_ms=round(1e3 * min(units), 2), ratio=round(ratio)
        )
        print(f"{spent[0]:.2f} s, {ratio:.0f} dense solves of {1e3 * min(units):.2f} ms")
        return found, ratio * DENSE_SOLVE

    return run
