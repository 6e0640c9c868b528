"""Speed of a section's solve, as a ratio to the bare sparse solve of the very same matrix in the same run."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.sparse.linalg import splu, spsolve

from thermostack.solvers.sections import (
    Edge,
    Film,
    Heat,
    Joint,
    Patch,
    Section,
    assemble,
    graded,
    solve,
    solve_many,
)


@pytest.fixture(scope="module")
def section():
    """A die under a lid with a joint between them: some 30 000 cells."""
    x = graded([0.0, 6e-3, 18e-3], [np.inf, 2e-6, np.inf], growth=1.05, largest=0.02)
    z = graded([0.0, 0.8e-3, 3.2e-3], [np.inf, 2e-6, np.inf], growth=1.05, largest=0.02)
    return Section(
        x,
        z,
        (Patch((0.0, 6e-3), (0.0, 0.8e-3), 120.0), Patch((0.0, 18e-3), (0.8e-3, 3.2e-3), 390.0)),
        (Edge("z", 3.2e-3, (0.0, 18e-3), Film(3e4, 25.0)),),
        (Heat("z", 0.0, (0.0, 6e-3), 1e6),),
        (Joint("z", 0.8e-3, (0.0, 6e-3), 5e-6),),
    )


def matrix_of(section):
    beyond = np.full(section.x.centres.size, 1 / 3e4), np.full(section.x.centres.size, 25.0)
    return assemble(section, *section.conductivities(np.zeros(section.shape)), [beyond]).matrix


def bare(matrix, load):
    """The factorisation the solver uses: symmetric ordering, no pivoting, which a balance matrix does not need."""
    lu = splu(matrix, permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options={"SymmetricMode": True})
    return lu.solve(load)


def test_solve_costs_little_more_than_its_sparse_solve(benchmark, least, section):
    """Description to field: assembly, checks and all flows must cost less than the factorisation itself."""
    matrix = matrix_of(section)
    assert matrix.shape[0] > 20_000
    load = np.ones(matrix.shape[0])
    whole, sparse, plain = least(
        lambda: solve(replace(section)),  # a copy, so that nothing cached on the section helps
        lambda: bare(matrix, load),
        lambda: spsolve(matrix, load),
    )
    ratio, default = whole / sparse, whole / plain
    benchmark.extra_info.update(ratio_to_bare=ratio, ratio_to_default_sparse_solve=default)
    benchmark.pedantic(lambda: solve(replace(section)), rounds=3)
    print(f"{ratio:.2f} of the factorisation, {default:.2f} of a default sparse solve")
    assert ratio < 2.0
    assert default < 2.0


def test_further_loads_cost_a_back_substitution_each(least, section):
    """Twenty loads on one factorisation cost less than a quarter of twenty solves."""
    load = section.heats
    one, twenty = least(
        lambda: solve_many(replace(section), [load]), lambda: solve_many(replace(section), [load] * 20), rounds=3
    )
    print(f"twenty loads cost {twenty / one:.2f} solves")
    assert twenty < 5.0 * one
