"""The layered solver against extrapolated quadratic finite elements of another making, on stacks that differ in kind.

References stand in results/fem_<stack>.json (see reference_fem.py). The limits are those the solver was built for:
die and region means within 0.05 %, stacks with a void 0.3 %, the hottest point 0.2 %; its own estimate must hold.
"""

from __future__ import annotations

import json
import sys
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from thermostack.solvers.layered import layered, layered_field

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE))

import stacks  # noqa: E402

NAMES = [
    name
    for name in stacks.STACKS
    if (HERE / "results" / f"fem_{name}.json").exists()
    and "influence" in json.loads((HERE / "results" / f"fem_{name}.json").read_text())
]


@cache
def case(name):
    graph, arrays, notes = stacks.STACKS[name]()
    reference = json.loads((HERE / "results" / f"fem_{name}.json").read_text())
    return graph, arrays, notes, reference, layered(graph, arrays)


def means_of_dies(graph, arrays):
    heated = {s.block for s in graph.sources}
    on_die = np.array([graph.block_of_slab[p.slab] in heated for p in graph.probes])
    return on_die & (arrays.probe_rect[0, :, 2] > arrays.probe_rect[0, :, 0])


def test_there_are_references():
    assert len(NAMES) >= 8


@pytest.mark.parametrize("name", NAMES)
def test_die_and_region_means(name):
    graph, arrays, notes, reference, found = case(name)
    rows = means_of_dies(graph, arrays)
    power = np.array(notes["power_W"])
    exact = np.array(reference["influence"])[rows]
    limit = 3e-3 if "void" in name else 5e-4
    np.testing.assert_allclose(found.influence[0, rows] @ power, exact @ power, rtol=limit)
    np.testing.assert_allclose(found.influence[0, rows], exact, rtol=limit)


@pytest.mark.parametrize("name", NAMES)
def test_every_probe_to_the_scale_of_the_hottest(name):
    _, _, _, reference, found = case(name)
    exact = np.array(reference["influence"])
    assert (np.abs(found.influence[0] - exact) < 1e-3 * exact.max(axis=0)).all()


@pytest.mark.parametrize("name", NAMES)
def test_flow_through_contacts(name):
    _, _, _, reference, found = case(name)
    np.testing.assert_allclose(found.flow[0], reference["flow"], atol=2e-4)


@pytest.mark.parametrize("name", NAMES)
def test_hottest_point(name):
    graph, arrays, notes, reference, _ = case(name)
    field = layered_field(graph, arrays, notes["power_W"])
    found = max(field.hottest(graph.first_slab[b]).rise for b in {s.block for s in graph.sources})
    assert found == pytest.approx(reference["hottest"]["rise_K"], rel=2e-3)


@pytest.mark.parametrize("name", NAMES)
def test_the_estimate_holds(name):
    _, _, _, reference, found = case(name)
    gap = np.abs(found.influence[0] - np.array(reference["influence"]))
    assert (gap <= found.error[0] + np.array(reference["influence_error"])).all()


def test_the_estimate_is_at_most_ten_times_the_error_in_the_median():
    """Counted where there is an error to speak of, a millionth of the hottest probe or more."""
    ratios = []
    for name in NAMES:
        _, _, _, reference, found = case(name)
        exact = np.array(reference["influence"])
        gap = np.abs(found.influence[0] - exact)
        seen = gap > 1e-6 * exact.max(axis=0)
        ratios.append((found.error[0] / np.maximum(gap, 1e-300))[seen])
    assert np.median(np.concatenate(ratios)) < 10.0
