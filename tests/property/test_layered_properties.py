"""What holds for every stack: balance, reciprocity, monotony, symmetry, bounds. Stacks are drawn at random."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from thermostack.solvers.graph import ENVIRONMENT, Arrays, Contact, Graph, Probe, Source
from thermostack.solvers.layered import LayeredSettings, layered

QUICK = settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])
FEW = LayeredSettings(polynomials=6, detail=0.5, rounds=0, limit=9.0, workers=1)
"""Few polynomials: what must hold exactly must hold at any order."""
GRAPH = Graph(
    slabs_of_block=(1, 2, 1, 1),
    contacts=(Contact(0, 2), Contact(1, 2), Contact(2, 3), Contact(3, ENVIRONMENT), Contact(ENVIRONMENT, 0)),
    sources=(Source(0), Source(0), Source(1)),
    probes=(Probe(0, 0), Probe(0, 0), Probe(1, 0), Probe(2, 1), Probe(3, 0), Probe(4, 1)),
)


def rect(x, y, a, b):
    return [x - a / 2, y - b / 2, x + a / 2, y + b / 2]


@st.composite
def stacks(draw):
    """Two dies (one of two slabs, one with a way to the board) under a lid, under a plate narrower or wider than it."""

    def f(low, high):
        return draw(st.floats(low, high))

    def log(low, high):
        return 10.0 ** f(np.log10(low), np.log10(high))

    dies = [(f(4e-3, 11e-3), f(4e-3, 14e-3)) for _ in range(2)]
    lid, plate = (f(28e-3, 40e-3), f(20e-3, 36e-3)), (f(24e-3, 60e-3), f(20e-3, 60e-3))
    centres = [(-7e-3 + f(-1e-3, 1e-3), f(-2e-3, 2e-3)), (7e-3 + f(-1e-3, 1e-3), f(-2e-3, 2e-3)), (0.0, 0.0)]
    centres.append((f(-4e-3, 4e-3), f(-3e-3, 3e-3)))
    sizes = [*dies, lid, plate]
    faces = [rect(*c, *s) for c, s in zip(centres, sizes, strict=True)]
    shared = [*np.maximum(faces[2][:2], faces[3][:2]), *np.minimum(faces[2][2:], faces[3][2:])]
    k = np.array([log(60, 200), log(60, 200), log(5, 500), log(100, 500), log(100, 500)])
    (a, b), (x, y) = dies[0], faces[0][:2]
    hot = rect(x + 0.4 * a, y + 0.6 * b, 0.3 * a, 0.2 * b)
    r = [draw(st.sampled_from([0.0, 3e-6, 1e-2])), log(1e-7, 1e-4), log(1e-7, 1e-4), log(1e-5, 1e-3), log(1e-4, 1e-1)]
    return Arrays(
        size=np.array([sizes]),
        centre=np.array([centres]),
        thickness=np.array([[f(0.3e-3, 0.9e-3), f(0.3e-3, 0.9e-3), f(0.2e-3, 1e-3), f(1e-3, 4e-3), f(1e-3, 5e-3)]]),
        k_through=k[None],
        k_in_plane=(k * np.array([1.0, 1.0, log(0.5, 5), log(0.5, 5), 1.0]))[None],
        r_above=np.array([[0.0, log(1e-7, 1e-5), 0.0, 0.0, 0.0]]),
        contact_rect=np.array([[faces[0], faces[1], shared, faces[3], faces[0]]]),
        contact_r=np.array([r]),
        source_rect=np.array([[faces[0], hot, faces[1]]]),
        probe_rect=np.array([[faces[0], hot, faces[1], faces[1], shared, shared]]),
    )  # fmt: skip


@given(stacks())
@QUICK
def test_heat_in_is_heat_out(arrays):
    flow = layered(GRAPH, arrays, FEW).flow[0]
    np.testing.assert_allclose(flow[3] - flow[4], 1.0, rtol=1e-9)
    np.testing.assert_allclose(flow[2], flow[3], rtol=1e-9)
    np.testing.assert_allclose(flow[0] + flow[1], flow[3], rtol=1e-9)


@given(stacks())
@QUICK
def test_equal_rectangles_exchange_influence(arrays):
    influence = layered(GRAPH, arrays, FEW).influence[0]
    np.testing.assert_allclose(influence[:3], influence[:3].T, rtol=1e-9)


@given(stacks(), st.integers(0, 4), st.floats(1.05, 30.0))
@QUICK
def test_a_higher_resistance_never_cools(arrays, which, factor):
    r = arrays.contact_r.copy()
    r[0, which] = max(r[0, which], 1e-7) * factor
    power = np.array([3.0, 2.0, 5.0])
    before, after = (
        power @ layered(GRAPH, a, FEW).influence[0, :3] @ power for a in (arrays, replace(arrays, contact_r=r))
    )
    assert after >= before * (1.0 - 1e-7)


@given(stacks(), st.integers(0, 4), st.floats(1.05, 10.0), st.booleans())
@QUICK
def test_a_lower_conductivity_never_cools(arrays, which, factor, through):
    name = "k_through" if through else "k_in_plane"
    k = getattr(arrays, name).copy()
    k[0, which] /= factor
    power = np.array([3.0, 2.0, 5.0])
    found = [layered(GRAPH, a, FEW) for a in (arrays, replace(arrays, **{name: k}))]
    before, after = (power @ f.influence[0, :3] @ power for f in found)
    # both within their own error: modes and shadows differ between the two
    slack = sum(power @ f.error[0, :3] @ power for f in found)
    assert after >= before - slack


@given(stacks())
@QUICK
def test_swapping_the_axes_changes_nothing(arrays):
    swap = [1, 0, 3, 2]
    turned = replace(
        arrays,
        size=arrays.size[..., ::-1],
        centre=arrays.centre[..., ::-1],
        **{n: getattr(arrays, n)[..., swap] for n in ("contact_rect", "source_rect", "probe_rect")},
    )
    np.testing.assert_allclose(layered(GRAPH, turned, FEW).influence, layered(GRAPH, arrays, FEW).influence, rtol=1e-8)


@given(stacks(), st.booleans(), st.floats(-0.05, 0.05))
@QUICK
def test_mirroring_and_moving_changes_nothing(arrays, mirror, by):
    def image(rects):
        low, high = (-rects[..., 2], -rects[..., 0]) if mirror else (rects[..., 0], rects[..., 2])
        return np.stack([low + by, rects[..., 1], high + by, rects[..., 3]], axis=-1)

    centre = arrays.centre.copy()
    centre[..., 0] = (-1.0 if mirror else 1.0) * centre[..., 0] + by
    moved = replace(
        arrays, centre=centre, **{n: image(getattr(arrays, n)) for n in ("contact_rect", "source_rect", "probe_rect")}
    )
    np.testing.assert_allclose(layered(GRAPH, moved, FEW).influence, layered(GRAPH, arrays, FEW).influence, rtol=1e-7)


@given(stacks(), st.permutations(range(4)))
@QUICK
def test_the_order_of_contacts_changes_nothing(arrays, order):
    order = [*order, 4]
    graph = replace(GRAPH, contacts=tuple(GRAPH.contacts[i] for i in order))
    other = replace(arrays, contact_rect=arrays.contact_rect[:, order], contact_r=arrays.contact_r[:, order])
    np.testing.assert_allclose(layered(graph, other, FEW).influence, layered(GRAPH, arrays, FEW).influence, rtol=1e-8)


@given(st.lists(stacks(), min_size=2, max_size=5))
@QUICK
def test_a_batch_is_its_samples(samples):
    names = samples[0].__dataclass_fields__
    together = Arrays(**{n: np.concatenate([getattr(s, n) for s in samples]) for n in names})
    found = layered(GRAPH, together, FEW)
    for i, sample in enumerate(samples):
        alone = layered(GRAPH, sample, FEW)
        np.testing.assert_allclose(found.influence[i], alone.influence[0], rtol=1e-9)
        np.testing.assert_allclose(found.flow[i], alone.flow[0], rtol=1e-8, atol=1e-10)


@given(stacks())
@QUICK
def test_lengths_and_conductivities_scale(arrays):
    """Twice the size and twice the specific resistances: every resistance goes like 1/(k L), to one half."""
    lengths = {
        n: 2.0 * getattr(arrays, n)
        for n in ("size", "centre", "thickness", "contact_rect", "source_rect", "probe_rect")
    }
    scaled = replace(arrays, **lengths, r_above=2.0 * arrays.r_above, contact_r=2.0 * arrays.contact_r)
    np.testing.assert_allclose(
        2.0 * layered(GRAPH, scaled, FEW).influence, layered(GRAPH, arrays, FEW).influence, rtol=1e-9
    )  # fmt: skip


@given(stacks())
@QUICK
def test_rises_lie_between_their_bounds(arrays):
    """Perfect conduction in plane gives the least self-influence (Dirichlet's principle); the die is the hottest.

    That the flux expansion comes from above is tested with its convergence.
    """
    a = replace(arrays, contact_r=np.where(np.arange(5) == 4, 1e6, arrays.contact_r))
    found = layered(GRAPH, a, FEW)
    die = np.prod(a.size[0, 1])
    shared = np.prod(a.contact_rect[0, 2, 2:] - a.contact_rect[0, 2, :2])
    plate = np.prod(a.size[0, 3])
    r = a.contact_r[0]
    through = (a.thickness / a.k_through)[0]
    least = r[1] / die + r[2] / shared + r[3] / plate + (through[1] + through[2] + a.r_above[0, 1]) / die
    assert found.influence[0, 2, 2] >= least * (1.0 - 1e-9)
    assert (found.influence[0] > -1e-9 * found.influence[0].max()).all()
    assert (found.influence[0, 2, 2] >= found.influence[0, 3:, 2] * (1.0 - 1e-9)).all()
