"""What benchmarks measure against, in the same run."""

import time

import numpy as np
import pytest

from thermostack.solvers.layered.solve import one_blas_thread


@pytest.fixture
def dense_solve():
    """Return what tells the processor time of a dense solve of 400 unknowns on one BLAS thread. [s]"""
    rng = np.random.default_rng(0)
    A, b = rng.standard_normal((400, 400)) + 400 * np.eye(400), rng.standard_normal((400, 9))

    def seconds():
        with one_blas_thread():
            np.linalg.solve(A, b)
            start = time.process_time()
            for _ in range(40):
                np.linalg.solve(A, b)
            return (time.process_time() - start) / 40

    return seconds
