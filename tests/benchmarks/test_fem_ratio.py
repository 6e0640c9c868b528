"""The layered solver against finite elements at equal error, timed in the same run on the same machine.

Error is the worst relative error of the means on active faces (die, regions) over all sources, against the extrapolated
finite-element reference; finite elements get the mesh that is cheapest for the target, and a quarter where the stack is
symmetric (see tests/studies/fem_timing.py).
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

import pytest

from thermostack.solvers.layered import layered

sys.path.insert(0, str(Path(__file__).parents[1] / "studies"))

import fem_timing
import stacks

CASES = [("solder_lid", 5e-4), ("solder_lid", 1e-4), ("bare_die", 5e-4), ("part_wetted", 5e-4)]


@pytest.mark.parametrize(("name", "target"), CASES)
def test_layered_is_faster_at_equal_error(benchmark, name, target):
    graph, arrays, _ = stacks.STACKS[name]()
    fem = fem_timing.fem_time_for_error(name, target)
    assert fem["error"] <= 1.1 * target
    response = benchmark.pedantic(layered, (graph, arrays), rounds=5, warmup_rounds=1)
    start = time.perf_counter()  # its own clock too: with --benchmark-disable there are no statistics
    layered(graph, arrays)
    seconds = time.perf_counter() - start
    rows = fem_timing.active_means(graph, arrays)
    error = fem_timing.relative_error(response.influence[0], fem_timing.reference(name), rows)
    benchmark.extra_info.update(
        fem_seconds=fem["seconds"], fem_unknowns=fem["unknowns"], fem_error=fem["error"], layered_seconds=seconds,
        layered_error=error, ratio=fem["seconds"] / seconds,
    )  # fmt: skip
    print(
        f"\n{name} at {target:g}: finite elements {fem['seconds']:.3f} s, {fem['unknowns']} unknowns, error "
        f"{fem['error']:.1e}; layered {seconds:.4f} s, error {error:.1e}; ratio {fem['seconds'] / seconds:.0f}"
    )
    assert error <= target
    assert fem["seconds"] > seconds
