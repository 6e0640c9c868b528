"""The finite-element reference checked: stored values, plain assembly, series, local conductivity."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from skfem import Basis, ElementHex2

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE))  # the studies are scripts; they import each other by name

import assembled_fem  # noqa: E402
import fem_timing  # noqa: E402
import local_k  # noqa: E402
import reference_fem  # noqa: E402
import stacks  # noqa: E402
import tensor_fem  # noqa: E402

STORED = sorted(stacks.STACKS)


def stored(name: str) -> dict:
    return json.loads((HERE / "results" / f"fem_{name}.json").read_text(encoding="utf-8"))


@pytest.mark.parametrize("name", STORED)
def test_coarsest_mesh_again(name):
    """The coarsest mesh gives the stored values, and lies from the limit as far as the mesh study says."""
    graph, arrays, notes = stacks.STACKS[name]()
    result = stored(name)
    for key in ("probes", "sources", "contacts", "power_W"):
        assert result[key] == notes[key], f"{key}: the stack has changed since the reference was made"
    hot = result["hottest"]
    graph, arrays = stacks.with_points(graph, arrays, notes["slabs"].index(hot["slab"]), [tuple(hot["point_m"])])
    first = result["meshes"][0]
    again = reference_fem.on_mesh(graph, arrays, notes, first["cells"])
    key = "influence" if "influence" in again else "rise_K"
    value = again[key][:-1]
    np.testing.assert_allclose(value, first[key], rtol=1e-8)
    hot_rise = again[key][-1] @ np.array(notes["power_W"]) if key == "influence" else again[key][-1]
    assert hot_rise == pytest.approx(first["hottest_K"], rel=1e-8)
    # Its distance from the limit is at most the way over the finer meshes and the estimated error of the limit
    steps = np.abs(np.diff([m[key] for m in result["meshes"]], axis=0)).sum(axis=0)
    error = np.array(result[f"{key}_error"])
    assert np.all(np.abs(value - result[key]) <= steps + error + 1e-8 * np.abs(value))


def test_hottest_point_of_a_known_field():
    """A quadratic field on the lower face has its maximum where calculus says, between the nodes."""
    edges = tensor_fem.graded(0.0, 5.0, 4, 2.0, True, True)
    block = SimpleNamespace(x=tensor_fem.Line.of(edges), y=tensor_fem.Line.of(edges))
    x, y = np.meshgrid(block.x.nodes, block.y.nodes, indexing="ij")
    b, px, py, rise = reference_fem.hottest([(3, block, 7.0 - (x - 1.93) ** 2 - 2 * (y - 3.21) ** 2)])
    assert (b, px, py) == (3, pytest.approx(1.93, abs=1e-4), pytest.approx(3.21, abs=1e-4))
    assert rise == pytest.approx(7.0, abs=1e-7)


@pytest.mark.parametrize("name", STORED)
def test_stored_limit_again(name):
    """The stored limit and error follow from the stored meshes, and the meshes approach the limit."""
    result = stored(name)
    key = "influence" if "influence" in result else "rise_K"
    values = np.array([m[key] for m in result["meshes"]])
    limit, error, order = reference_fem.limit(values, tuple(m["cells"] for m in result["meshes"]))
    np.testing.assert_allclose(result[key], limit, rtol=1e-12)
    np.testing.assert_allclose(result[f"{key}_error"], error, rtol=1e-6)
    graph, arrays, _ = stacks.STACKS[name]()
    active = fem_timing.active_means(graph, arrays)
    assert active
    # Functionals of quadratic elements on a graded mesh are of order four in the end; what still changes by more than
    # 1e-6 must be on its way there.
    changes = np.abs(values[-1] / values[-2] - 1)[active] > 1e-6
    observed = order[active][changes]
    assert np.all((observed > 2) & (observed < 6))
    assert 3 < np.median(observed) < 5


@pytest.mark.parametrize("name", STORED)
def test_stored_errors_are_small_enough(name):
    """What the references promise: 1e-4 for means, 5e-4 for the hottest point."""
    errors = stored(name)["relative_error"]
    assert errors["worst_mean"] < 1e-4
    assert errors["hottest"] < 5e-4


@pytest.mark.parametrize("name", STORED)
def test_heat_leaves_once(name):
    """What enters leaves through the environment, and what a die makes crosses its joint (or the board)."""
    graph, _, notes = stacks.STACKS[name]()
    result = stored(name)
    flow = np.array(result.get("flow") or [[f] for f in result["flow_W"]])
    power = 1.0 if "flow" in result else sum(notes["power_W"])
    sign = np.array([(c.above < 0) * 1.0 - (c.below < 0) * 1.0 for c in graph.contacts])
    np.testing.assert_allclose(sign @ flow, power, rtol=1e-10)


@pytest.mark.parametrize("name", ["perfect_step", "corner_void", "board_path", "narrowing"])
def test_same_as_plain_assembly(name):
    """The fast solution satisfies the matrix that scikit-fem assembles in three dimensions."""
    graph, arrays, _ = stacks.STACKS[name]()
    mesh = tensor_fem.Mesh.of(graph, arrays, 1, 2, 2.0)
    fast = tensor_fem.Stack(graph, arrays, mesh).influence()["influence"]
    plain = assembled_fem.Assembled(graph, arrays, mesh)
    np.testing.assert_allclose(fast, plain.influence(plain.direct()), rtol=1e-9)


def test_same_as_plain_assembly_with_slabs():
    """Slabs of one block, in perfect contact and not, better in plane than through."""
    die_slabs = (stacks.Slab("die", 0.5, 120.0, r_above=3e-6), stacks.Slab("cap", 0.3, 50.0, 90.0))
    die = stacks.Block((4.0, 6.0), die_slabs, (1.0, -0.5))
    plate = stacks.Block((12.0, 10.0), (stacks.Slab("core", 1.0, 60.0, 3000.0), stacks.Slab("skin", 0.5, 390.0)))
    rect = stacks.at(die, (0.5, 1.0), (2.0, 2.5))
    asked = (("core", 1, die.rect), ("skin", 0, die.rect), ("cap", 0, rect), ("die", 1, rect))
    probes = [(name, name, side, over) for name, side, over in asked]
    contacts = [("joint", 0, 1, die.rect, 5e-6), ("coolant", 1, stacks.ENVIRONMENT, (-6.0, -5.0, 3.0, 4.0), 5e-5)]
    graph, arrays, _ = stacks.build([die, plate], contacts, [("hot", 0, rect, 1.0)], probes)
    mesh = tensor_fem.Mesh.of(graph, arrays, 1, 2, 2.0)
    fast = tensor_fem.Stack(graph, arrays, mesh).influence()["influence"]
    plain = assembled_fem.Assembled(graph, arrays, mesh)
    np.testing.assert_allclose(fast, plain.influence(plain.direct()), rtol=1e-9)
    np.testing.assert_allclose(plain.multigrid(1e-12), plain.direct(), rtol=1e-8)


# Eigenfunction series of 5000 × 5000 terms, to 10 digits: R1 and R2 a source on one layer, M2 on three layers with
# resistances 2e-6 and 1.5e-5 m² K/W between them. Series: Muzychka, Culham and Yovanovich 2003, J. Electron. Packag.
# 125, 178 (formula from memory, there verified by recursion in the layers); numbers computed for this project.
# channel [mm], source [mm], (thickness [mm], k) from the source on, r between layers, h; mean and centre [K/W]
SERIES = {
    "R1": ((40, 40), (10, 10), ((3, 400),), (), 5000, 0.2594930864, 0.2925805422),
    "R2": ((30, 30), (12, 12), ((2, 390),), (), 20000, 0.1412448692, 0.1737246369),
    "M2": ((30, 30), (10, 10), ((0.775, 120), (3, 390), (5, 390)), (2e-6, 1.5e-5), 5000, 0.4079572979, 0.4436493292),
}


@pytest.mark.parametrize("case", SERIES)
@pytest.mark.parametrize("joined_by", ["slabs", "contacts"])
def test_flux_channel_series(case, joined_by):
    """A rectangle on a rectangular channel, layers as slabs of one block or as blocks, against the series."""
    size, source, layers, r, h, mean, centre = SERIES[case]
    joined = zip(layers, (*r, 0.0), strict=True)
    slabs = [stacks.Slab(f"layer {i}", t, k, r_above=r_above) for i, ((t, k), r_above) in enumerate(joined)]
    if joined_by == "slabs":
        blocks, joints = [stacks.Block(size, tuple(slabs))], []
    else:
        blocks = [stacks.Block(size, (stacks.replace(s, r_above=0.0),)) for s in slabs]
        joints = [(f"joint {i}", i, i + 1, blocks[i].rect, ri) for i, ri in enumerate(r)]
    top = len(blocks) - 1
    hot = (-source[0] / 2, -source[1] / 2, source[0] / 2, source[1] / 2)
    graph, arrays, _ = stacks.build(
        blocks, [*joints, ("coolant", top, stacks.ENVIRONMENT, blocks[top].rect, 1 / h)], [("hot", 0, hot, 1.0)],
        [("mean", "layer 0", 0, hot), ("centre", "layer 0", 0, (0, 0, 0, 0))],
    )  # fmt: skip
    values = []
    for cells in (2, 4, 8):
        mesh = tensor_fem.Mesh.of(graph, arrays, cells, cells, reference_fem.POWER)
        values.append(tensor_fem.Stack(graph, arrays, mesh).influence()["influence"][:, 0])
    value, error, _ = reference_fem.limit(np.array(values), (2, 4, 8))
    np.testing.assert_allclose(value, [mean, centre], rtol=1e-5)
    assert np.all(np.abs(value - [mean, centre]) <= error + 1e-9), "the estimated error must hold the true one"


def test_local_conductivity_same_as_plain_assembly():
    """k(T) at the same Gauss points, by plain assembly and successive substitution, gives the same rises."""
    graph, arrays, notes = stacks.local_conductivity()
    watts = np.array(notes["power_W"])
    mesh = tensor_fem.Mesh.of(graph, arrays, 1, 1, 2.0)
    fast = local_k.solve_local_k(tensor_fem.Stack(graph, arrays, mesh), 0, notes["law"], notes["coolant_K"], watts)
    plain = assembled_fem.Assembled(graph, arrays, mesh)
    die = plain.slabs[0]
    fine = Basis(die.mesh, ElementHex2(), intorder=7)
    own, place = plain.number[0], plain.place[plain.number[0]]
    base, u, change = plain.A.copy(), plain.direct() @ watts, 1.0
    for _ in range(40):
        k = 148.0 * ((299.15 + fine.interpolate(u[place])) / 300.0) ** -1.366
        extra = (assembled_fem.conduction.assemble(fine, kp=k, kt=k) - die.A).tocoo()
        assert len(own) == extra.shape[0]
        plain.A = base + assembled_fem.csr_array((extra.data, (place[extra.row], place[extra.col])), base.shape)
        u, old = plain.direct() @ watts, u
        change = np.abs(u - old).max() / u.max()
        if change < 1e-11:
            break
    assert change < 1e-11
    np.testing.assert_allclose(fast["probes"], plain.influence(u[:, None])[:, 0], rtol=1e-9)
