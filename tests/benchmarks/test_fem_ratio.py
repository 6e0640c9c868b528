"""The layered solver against finite elements at equal error, timed in the same run on the same machine.

Equal error: finite elements run on the mesh that is known to come just down to the error of the layered solver at its
default settings (tests/studies/fem_at_equal_error.py finds it, and has the other stacks and what is chosen in favour of
finite elements). Error is the worst of the means on active faces over all sources, relative to each value, against the
extrapolated reference. Both are counted in CPU time of one thread.

The floors are half of what was measured, since machines and their load differ; they are not one figure for all stacks.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path

import pytest

from thermostack.solvers.layered import layered

sys.path.insert(0, str(Path(__file__).parents[1] / "studies"))

import fem_at_equal_error as study
import fem_timing
import stacks

STORED = json.loads(study.PATH.read_text(encoding="utf-8"))["stacks"]
CASES: dict[str, tuple[float, float]] = {}


@pytest.mark.parametrize("name", CASES)
def test_ratio_at_equal_error(benchmark, name):
    floor, richardson_floor = CASES[name]
    row, problem = STORED[name], fem_timing.Problem(name)
    plan = fem_timing.Plan.of(row["plan"])
    fem = fem_timing.run(problem, plan, problem.discrete(plan)[0], study.CLOSE * row["target"])

    graph, arrays, _ = stacks.STACKS[name]()
    response = benchmark.pedantic(layered, (graph, arrays), rounds=5, warmup_rounds=1)
    own = study.layered_cost(graph, arrays)
    rows, limit = fem_timing.active_means(graph, arrays), fem_timing.reference(name)
    error = fem_timing.relative_error(response.influence[0], limit, rows)
    ratio = fem["seconds"] / own["seconds"]

    pair = row["richardson"]
    second = study.extrapolated_pair(problem, name, fem_timing.Plan.of(pair["plan"]), pair["order"], row["target"])
    second_ratio = second["seconds"] / own["seconds"]
    benchmark.extra_info.update(fem=study.short(fem), layered=own | {"error": error}, ratio=ratio, richardson=second_ratio)
    print(
        f"\n{name}: finite elements {fem['seconds']:.2f} s, {fem['unknowns']} unknowns, error {fem['error']:.1e}; with "
        f"Richardson {second['seconds']:.2f} s, error {second['error']:.1e}; layered {own['seconds'] * 1e3:.1f} ms, "
        f"error {error:.1e}; ratio {ratio:.0f}, with Richardson {second_ratio:.0f}"
    )
    # equal error: layered is no worse than the mesh, and the mesh no better than it need be
    assert error <= fem["error"]
    assert fem["error"] <= 1.1 * row["target"]
    assert second["error"] <= 1.1 * row["target"]
    assert ratio >= floor
    assert second_ratio >= richardson_floor
