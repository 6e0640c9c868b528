"""The layered solver on small stacks: closed forms, the same stack described in two ways, convergence, and errors."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.polynomial.legendre import leggauss

from thermostack.errors import InputError, SolveError
from thermostack.solvers.graph import ENVIRONMENT, Arrays, Contact, Graph, Probe, Source
from thermostack.solvers.layered import LayeredSettings, layered, layered_field


def rect(x, y, a, b):
    return [x - a / 2, y - b / 2, x + a / 2, y + b / 2]


def stack(blocks, contacts, sources, probes):
    """Graph and arrays from (size, centre, [(t, k, k_in_plane, r_above)]), (below, above, rect, r), (block, rect) …"""
    slabs = [s for _, _, block in blocks for s in block]
    graph = Graph(
        tuple(len(block) for _, _, block in blocks),
        tuple(Contact(c[0], c[1]) for c in contacts),
        tuple(Source(s[0]) for s in sources),
        tuple(Probe(p[0], p[1]) for p in probes),
    )
    t, kz, kxy, r = (np.array([v], float) for v in zip(*slabs, strict=True))
    arrays = Arrays(
        size=np.array([[b[0] for b in blocks]], float),
        centre=np.array([[b[1] for b in blocks]], float),
        thickness=t, k_through=kz, k_in_plane=kxy, r_above=r,
        contact_rect=np.array([[c[2] for c in contacts]], float),
        contact_r=np.array([[c[3] for c in contacts]], float),
        source_rect=np.array([[s[1] for s in sources]], float),
        probe_rect=np.array([[p[2] for p in probes]], float),
    )  # fmt: skip
    return graph, arrays


DIE, LID, PLATE = (12.4e-3, 17.6e-3), (36e-3, 34e-3), (50e-3, 52e-3)
AT = (2e-3, -3e-3)
HOT = rect(AT[0] + 2.5e-3, AT[1] + 4e-3, 3e-3, 4e-3)


def three_blocks(r_solder=5e-6, at=AT, sources=None, coolant=None, h=3e4):
    die = rect(*at, *DIE)
    return stack(
        [
            (DIE, at, [(0.72e-3, 120.0, 120.0, 0.0)]),
            (LID, (0, 0), [(2.4e-3, 390.0, 390.0, 0.0)]),
            (PLATE, (0, 0), [(3e-3, 390.0, 390.0, 0.0)]),
        ],
        [
            (0, 1, die, r_solder),
            (1, 2, rect(0, 0, *LID), 1.2e-5),
            *(coolant or [(2, ENVIRONMENT, rect(0, 0, *PLATE), 1 / h)]),
        ],
        sources or [(0, die), (0, HOT)],
        [(0, 0, die), (0, 0, HOT), (0, 0, [at[0], at[1]] * 2), (1, 0, die), (1, 1, rect(0, 0, *LID))],
    )


# -- closed forms and second descriptions ---------------------------------------------------------------------------


def test_equal_footprints_are_a_sum_of_resistances():
    a = rect(0, 0, 20e-3, 30e-3)
    graph, arrays = stack(
        [
            ((20e-3, 30e-3), (0, 0), [(1e-3, 120.0, 90.0, 3e-6), (2e-3, 10.0, 500.0, 0.0)]),
            ((20e-3, 30e-3), (0, 0), [(3e-3, 390.0, 390.0, 0.0)]),
        ],
        [(0, 1, a, 7e-6), (1, ENVIRONMENT, a, 1e-4)],
        [(0, a)],
        [(0, 0, a), (1, 1, a), (2, 1, a), (1, 0, [1e-3, 2e-3, 1e-3, 2e-3])],
    )
    area = 20e-3 * 30e-3
    film, plate, joint, second, gap, first = 1e-4, 3e-3 / 390, 7e-6, 2e-3 / 10, 3e-6, 1e-3 / 120
    expected = np.array(
        [film + plate + joint + second + gap + first, film + plate + joint, film, film + plate + joint + second]
    )
    found = layered(graph, arrays)
    np.testing.assert_allclose(found.influence[0, :, 0], expected / area, rtol=1e-12)
    np.testing.assert_allclose(found.flow[0, :, 0], 1.0, rtol=1e-12)


def test_a_contact_over_the_whole_face_is_a_joint_inside_one_block():
    """Two blocks of one footprint in contact are one block with a resistance inside: polynomials against modes."""
    size, r = (14e-3, 12e-3), 4e-6
    full, hot = rect(0, 0, *size), rect(2e-3, 1e-3, 4e-3, 3e-3)
    low, high = (0.7e-3, 120.0, 120.0), (2e-3, 390.0, 200.0)
    sources = [(0, full), (0, hot)]
    probes = [(0, 0, full), (0, 0, hot), (0, 1, hot), (1, 0, hot), (1, 1, full), (0, 0, [2e-3, 1e-3] * 2)]
    one = stack([(size, (0, 0), [(*low, r), (*high, 0.0)])], [(0, ENVIRONMENT, full, 2e-5)], sources, probes)
    two = stack(
        [(size, (0, 0), [(*low, 0.0)]), (size, (0, 0), [(*high, 0.0)])],
        [(0, 1, full, r), (1, ENVIRONMENT, full, 2e-5)],
        sources,
        probes,
    )
    exact, found = layered(*one), layered(*two)
    gap = np.abs(found.influence - exact.influence)
    assert (gap <= found.error + exact.error).all()
    assert gap.max() < 1e-5 * exact.influence.max()


@pytest.mark.parametrize("cut", [0.0, 4.1e-3])
def test_a_film_in_two_rectangles_is_a_film_in_one(cut):
    """Closed films are modes, open ones polynomials; both must tell the same."""
    x0, y0, x1, y1 = rect(0, 0, *PLATE)
    whole = layered(*three_blocks())
    halves = [(2, ENVIRONMENT, [x0, y0, cut, y1], 1 / 3e4), (2, ENVIRONMENT, [cut, y0, x1, y1], 1 / 3e4)]
    split = layered(*three_blocks(coolant=halves))
    gap = np.abs(split.influence - whole.influence)
    assert (gap <= split.error + whole.error).all()
    assert gap.max() < 3e-5 * whole.influence.max()
    np.testing.assert_allclose(split.flow[0, 2:].sum(axis=0), 1.0, rtol=1e-10)


def test_board_over_the_whole_die_or_in_two_rectangles():
    graph, arrays = three_blocks()
    x0, y0, x1, y1 = rect(*AT, *DIE)
    r = 2e-3

    def with_board(rects):
        more = tuple(Contact(ENVIRONMENT, 0) for _ in rects)
        return replace(graph, contacts=graph.contacts + more), replace(
            arrays,
            contact_rect=np.concatenate([arrays.contact_rect, [rects]], axis=1),
            contact_r=np.concatenate([arrays.contact_r, [[r] * len(rects)]], axis=1),
        )

    whole = layered(*with_board([[x0, y0, x1, y1]]))
    split = layered(*with_board([[x0, y0, AT[0], y1], [AT[0], y0, x1, y1]]))
    gap = np.abs(split.influence - whole.influence)
    assert (gap <= split.error + whole.error).all()
    assert gap[0, 0, 0] < 1e-6 * whole.influence[0, 0, 0]
    # downwards is negative, and it is the mean rise of the die over the resistance
    area = DIE[0] * DIE[1]
    np.testing.assert_allclose(whole.flow[0, 3], -whole.influence[0, 0] * area / r, rtol=1e-9)
    np.testing.assert_allclose(split.flow[0, 3:].sum(axis=0), whole.flow[0, 3], rtol=1e-5)
    np.testing.assert_allclose(whole.flow[0, 2] - whole.flow[0, 3], 1.0, rtol=1e-12)


def test_a_source_is_the_sum_of_its_parts():
    x0, y0, x1, y1 = rect(*AT, *DIE)
    parts = [(0, [x0, y0, AT[0], y1]), (0, [AT[0], y0, x1, -1e-3]), (0, [AT[0], -1e-3, x1, y1])]
    share = np.array([(p[2] - p[0]) * (p[3] - p[1]) for _, p in parts]) / (DIE[0] * DIE[1])
    whole = layered(*three_blocks())
    split = layered(*three_blocks(sources=parts))
    gap = np.abs(split.influence[0] @ share - whole.influence[0, :, 0])
    assert (gap <= split.error[0] @ share + whole.error[0, :, 0]).all()


def test_two_equal_dies_share_a_lid_like_one_half_of_it():
    """By symmetry two equal dies, equally heated, each own half a lid and half a plate: adiabatic in the middle."""
    die, lid, plate = (8e-3, 9e-3), (20e-3, 22e-3), (24e-3, 26e-3)
    slab = {"die": (0.7e-3, 120.0, 120.0, 0.0), "lid": (2e-3, 390.0, 390.0, 0.0), "plate": (3e-3, 390.0, 390.0, 0.0)}

    def build(n):
        centres = [(12e-3 * (2 * i + 1 - n), 1e-3) for i in range(n)]
        dies = [rect(*c, *die) for c in centres]
        wide = (n * plate[0], plate[1])
        lids = [rect(*(c[0], 0.0), *lid) for c in centres]
        return stack(
            [
                *[(die, c, [slab["die"]]) for c in centres],
                *[(lid, (c[0], 0.0), [slab["lid"]]) for c in centres],
                (wide, (0, 0), [slab["plate"]]),
            ],
            [
                *[(i, n + i, d, 5e-6) for i, d in enumerate(dies)],
                *[(n + i, 2 * n, r, 1e-5) for i, r in enumerate(lids)],
                (2 * n, ENVIRONMENT, rect(0, 0, *wide), 5e-5),
            ],
            [(i, d) for i, d in enumerate(dies)],
            [(0, 0, dies[0]), (0, 0, [*centres[0]] * 2)],
        )

    one, two = layered(*build(1)), layered(*build(2))
    together = two.influence[0].sum(axis=1)
    np.testing.assert_allclose(together, one.influence[0, :, 0], rtol=3e-5)


def test_a_void_hardly_passes_heat_and_its_rest_passes_it_all():
    die = rect(*AT, *DIE)
    void = [die[2] - 3e-3, die[3] - 4e-3, die[2], die[3]]
    rest = [[die[0], die[1], void[0], die[3]], [void[0], die[1], die[2], void[1]]]
    graph, arrays = three_blocks()
    split = Graph(graph.slabs_of_block, (Contact(0, 1),) * 3 + graph.contacts[1:], graph.sources, graph.probes)

    def solve(r_void):
        rects = np.concatenate([[[void, *rest]], arrays.contact_rect[:, 1:]], axis=1)
        r = np.concatenate([[[r_void, 5e-6, 5e-6]], arrays.contact_r[:, 1:]], axis=1)
        return layered(split, replace(arrays, contact_rect=rects, contact_r=r))

    sound, base = solve(5e-6), layered(graph, arrays)
    gap = np.abs(sound.influence - base.influence)
    assert (gap <= sound.error + base.error).all()
    hollow = solve(1e-2)
    assert 0.0 < hollow.flow[0, 0, 0] < 2e-3
    assert hollow.influence[0, 0, 0] > 1.02 * base.influence[0, 0, 0]


# -- batches ----------------------------------------------------------------------------------------------------------


def batch_of(graph, arrays, samples, seed=0):
    rng = np.random.default_rng(seed)
    vary = {n: getattr(arrays, n) for n in ("thickness", "k_through", "contact_r")}
    drawn = {n: v * rng.uniform(0.5, 2.0, (samples, v.shape[1])) for n, v in vary.items()}
    return graph, replace(arrays, **drawn, k_in_plane=drawn["k_through"] * 1.1)


def pick(arrays, i):
    fields = {n: getattr(arrays, n) for n in arrays.__dataclass_fields__}
    return Arrays(**{n: v if len(v) == 1 else v[i : i + 1] for n, v in fields.items()})


@pytest.mark.parametrize("workers", [1, 2])
def test_a_sample_alone_is_the_sample_in_its_batch(workers):
    graph, arrays = batch_of(*three_blocks(), 12)
    together = layered(graph, arrays, LayeredSettings(workers=workers))
    for i in (0, 5, 11):
        alone = layered(graph, pick(arrays, i))
        np.testing.assert_allclose(together.influence[i], alone.influence[0], rtol=1e-11)
        np.testing.assert_allclose(together.flow[i], alone.flow[0], rtol=1e-9, atol=1e-12)
        np.testing.assert_allclose(together.error[i], alone.error[0], rtol=1e-5, atol=1e-12)


def test_repeated_geometry_is_one_row_of_geometry():
    graph, arrays = batch_of(*three_blocks(), 3)
    names = ("size", "centre", "contact_rect", "source_rect", "probe_rect", "r_above")
    spread = replace(arrays, **{n: np.repeat(getattr(arrays, n), 3, axis=0) for n in names})
    np.testing.assert_allclose(layered(graph, spread).influence, layered(graph, arrays).influence, rtol=1e-11)


@pytest.mark.parametrize("seed", range(8))
def test_any_field_may_have_one_row_for_all(seed):
    graph, arrays = three_blocks()
    rng = np.random.default_rng(seed)
    names = [n for n in arrays.__dataclass_fields__ if rng.random() < 0.5]
    mixed = replace(arrays, **{n: np.repeat(getattr(arrays, n), 9, axis=0) for n in names})
    found, base = layered(graph, mixed), layered(graph, arrays)
    for i in range(len(found.influence)):
        np.testing.assert_allclose(found.influence[i], base.influence[0], rtol=1e-11)
        np.testing.assert_allclose(found.flow[i], base.flow[0], rtol=1e-10)


def test_nothing_to_ask_for():
    graph, arrays = three_blocks()
    silent = layered(replace(graph, probes=()), replace(arrays, probe_rect=np.zeros((1, 0, 4))))
    assert silent.influence.shape == (1, 0, 2)
    np.testing.assert_allclose(silent.flow[0, 2], 1.0, rtol=1e-9)
    cold = layered(replace(graph, sources=()), replace(arrays, source_rect=np.zeros((1, 0, 4))))
    assert cold.influence.shape == (1, 5, 0)


def test_a_line_is_the_limit_of_a_narrow_rectangle():
    graph, arrays = three_blocks()
    x, y = AT
    rects = np.array([[[x - 2e-3, y, x + 2e-3, y], [x - 2e-3, y - 1e-6, x + 2e-3, y + 1e-6]]])
    graph = replace(graph, probes=(Probe(0, 0), Probe(0, 0)))
    found = layered(graph, replace(arrays, probe_rect=rects)).influence[0]
    np.testing.assert_allclose(found[0], found[1], rtol=1e-5)


def test_a_stack_that_is_centred_by_a_hair_less_gives_the_same():
    """Symmetry is a short cut: parities apart and all modes together must agree."""
    for uniform in (True, False):
        found = []
        for at in ((0.0, 0.0), (1e-9, 1e-9)):
            sources = [(0, rect(*at, *DIE)), *([] if uniform else [(0, HOT)])]
            found.append(layered(*three_blocks(at=at, sources=sources)).influence)
        np.testing.assert_allclose(found[1], found[0], rtol=2e-5)


# -- convergence ------------------------------------------------------------------------------------------------------


def solve_with(case, **settings):
    return layered(*case, LayeredSettings(rounds=0, limit=9.0, **settings)).influence[0]


@pytest.mark.parametrize(("r_solder", "order"), [(5e-6, 4.0), (0.0, 3.0)])
def test_mean_rise_converges_from_above_with_the_polynomials(r_solder, order):
    case = three_blocks(r_solder=r_solder)
    exact = solve_with(case, polynomials=40, detail=0.0)[0, 0]
    counts = np.array([8, 12, 20])
    rises = np.array([solve_with(case, polynomials=int(n), detail=0.0)[0, 0] for n in counts])
    errors = rises / exact - 1.0
    assert (np.diff(errors) < 0.0).all()
    assert (errors > 0.0).all()
    assert np.log(errors[0] / errors[2]) / np.log(counts[2] / counts[0]) > order
    assert errors[2] < 1e-4


def test_rises_hardly_depend_on_the_number_of_modes():
    case = three_blocks()
    exact = solve_with(case, depth=8.0, waves=60.0, least_waves=20.0)
    errors = []
    for depth, least in ((2.0, 4.0), (4.0, 8.0), (6.0, 14.0)):
        found = solve_with(case, depth=depth, least_waves=least)
        errors.append(np.abs(found - exact).max() / exact.max())
    assert errors[1] < 3e-5  # the defaults
    assert errors[2] < 1e-5
    assert errors[0] > errors[2]


def test_the_estimate_holds_when_few_polynomials_are_used():
    case = three_blocks()
    exact = solve_with(case, polynomials=36, detail=0.0)
    for count in (6, 8, 10):
        found = layered(*case, LayeredSettings(polynomials=count, detail=0.5, rounds=0, limit=9.0))
        assert (np.abs(found.influence[0] - exact) <= found.error[0]).all()


def test_polynomials_are_raised_until_the_tolerance_is_met():
    case = three_blocks()
    rough = layered(*case, LayeredSettings(polynomials=6, detail=0.0, rounds=0, limit=9.0))
    fine = layered(*case, LayeredSettings(polynomials=6, detail=0.0, rounds=6, limit=9.0, tolerance=3e-4))
    hottest = fine.influence[0].max(axis=0)
    assert (rough.error[0] / hottest).max() > 1e-3
    assert (fine.error[0] / hottest).max() < 5e-4


# -- fields -----------------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def field():
    return layered_field(*three_blocks(), powers=[150.0, 40.0])


def grid(box, n):
    """Gauss points of a rectangle and the weights of a mean over it."""
    u, w = leggauss(n)
    x, y = ((box[i] + box[i + 2]) / 2 + u * (box[i + 2] - box[i]) / 2 for i in range(2))
    return x, y, np.outer(w, w) / 4.0


def test_field_averages_to_the_probes(field):
    response = layered(field.graph, field.arrays)
    for i, (probe, box) in enumerate(zip(field.graph.probes, field.arrays.probe_rect[0], strict=True)):
        x, y, w = grid(box, 48) if box[2] > box[0] else (box[:1], box[1:2], np.ones((1, 1)))
        mean = (field.rise(probe.slab, probe.side, x, y) * w).sum()
        assert mean == pytest.approx(response.influence[0, i] @ field.powers, rel=2e-4)


def test_flux_through_every_contact_adds_up(field):
    for i, box in enumerate(field.arrays.contact_rect[0]):
        x, y, w = grid(box, 48)
        area = (box[2] - box[0]) * (box[3] - box[1])
        assert (field.flux(i, x, y) * w).sum() * area == pytest.approx(190.0, rel=1e-6)


def test_temperature_steps_by_resistance_times_flux(field):
    """Continuity is tested with polynomials only in the mean; inside it must hold at every point too."""
    r = field.arrays.contact_r[0]
    x, y = np.linspace(AT[0] - 5e-3, AT[0] + 5e-3, 7), np.linspace(AT[1] - 7e-3, AT[1] + 7e-3, 8)
    flux = field.flux(0, x, y)
    step = field.rise(0, 1, x, y) - field.rise(1, 0, x, y)
    assert np.abs(step - r[0] * flux).max() < 0.02 * (r[0] * flux).max()
    x, y = np.linspace(-20e-3, 20e-3, 9), np.linspace(-20e-3, 20e-3, 9)
    np.testing.assert_allclose(field.rise(2, 1, x, y), r[2] * field.flux(2, x, y), rtol=1e-3)


def test_heat_follows_the_slope_of_the_field(field):
    """k ∂θ/∂z at the upper face of the plate is the flux into the coolant."""
    x, y = np.array([0.0, 8e-3]), np.array([-3e-3, 5e-3])
    d = 1e-4
    slope = (field.rise(2, 1.0 - 2 * d, x, y) - field.rise(2, 1.0, x, y)) / (2 * d * 3e-3)
    np.testing.assert_allclose(390.0 * slope, field.flux(2, x, y), rtol=2e-3)


def test_field_is_continuous_through_a_slab(field):
    depths = np.linspace(0.0, 1.0, 21)
    profile = field.profile(AT[0], AT[1], 0, depths)
    assert profile[0] == pytest.approx(field.rise(0, 0, np.array([AT[0]]), np.array([AT[1]]))[0, 0])
    bends = np.diff(profile, 2)
    assert (np.diff(profile) < 0.0).all()
    assert np.abs(bends).max() < 0.05 * np.abs(np.diff(profile)).max()


def test_hottest_point(field):
    found = field.hottest(0)
    x0, y0, x1, y1 = rect(*AT, *DIE)
    assert found.rise >= field.rise(0, 0, np.linspace(x0, x1, 301), np.linspace(y0, y1, 401)).max()
    near = field.rise(0, 0, found.x + np.linspace(-2e-4, 2e-4, 201), found.y + np.linspace(-2e-4, 2e-4, 201)).max()
    assert found.rise == pytest.approx(near, rel=1e-7)
    assert HOT[0] < found.x < HOT[2]
    assert HOT[1] < found.y < HOT[3]


def test_other_powers_need_no_new_solve(field):
    other = field.with_powers([10.0, 90.0])
    fresh = layered_field(field.graph, field.arrays, [10.0, 90.0])
    assert other.solved is field.solved
    assert other.hottest(0).rise == pytest.approx(fresh.hottest(0).rise, rel=1e-12)


# -- errors -----------------------------------------------------------------------------------------------------------


def changed(name, index, value):
    graph, arrays = three_blocks()
    array = getattr(arrays, name).copy()
    array[index] = value
    return graph, replace(arrays, **{name: array})


@pytest.mark.parametrize(
    ("name", "index", "value", "where"),
    [
        ("thickness", (0, 1), -1e-3, "thickness[sample 0, 1]"),
        ("k_through", (0, 2), 0.0, "k_through[sample 0, 2]"),
        ("k_in_plane", (0, 0), np.nan, "k_in_plane[sample 0, 0]"),
        ("size", (0, 0, 1), 0.0, "size[sample 0, 0]"),
        ("contact_r", (0, 1), -1e-6, "contact_r[sample 0, 1]"),
        ("contact_rect", (0, 0, 2), 0.03, "contact_rect[sample 0, 0]"),
        ("contact_rect", (0, 1, 2), -0.018, "contact_rect[sample 0, 1]"),
        ("source_rect", (0, 1, 3), 0.02, "source_rect[sample 0, 1]"),
        ("probe_rect", (0, 3, 0), -0.1, "probe_rect[sample 0, 3]"),
        ("r_above", (0, 2), 1e-5, "r_above"),
    ],
)
def test_impossible_input_is_named(name, index, value, where):
    with pytest.raises(InputError) as caught:
        layered(*changed(name, index, value))
    assert caught.value.where.startswith(where)


def test_overlapping_contacts_are_refused():
    graph, arrays = three_blocks()
    graph = replace(graph, contacts=(*graph.contacts, Contact(0, 1)))
    more = replace(
        arrays,
        contact_rect=np.concatenate([arrays.contact_rect, [[HOT]]], axis=1),
        contact_r=np.concatenate([arrays.contact_r, [[1e-5]]], axis=1),
    )
    with pytest.raises(InputError, match="overlaps contact 3"):
        layered(graph, more)


def test_a_block_without_a_way_out_is_refused():
    graph, arrays = three_blocks()
    graph = replace(graph, contacts=graph.contacts[1:])
    arrays = replace(arrays, contact_rect=arrays.contact_rect[:, 1:], contact_r=arrays.contact_r[:, 1:])
    with pytest.raises(InputError, match="environment") as caught:
        layered(graph, arrays)
    assert caught.value.where == "block 0"


def test_wrong_shapes_are_refused():
    graph, arrays = three_blocks()
    with pytest.raises(InputError, match="shape"):
        layered(graph, replace(arrays, contact_r=arrays.contact_r[:, :2]))


def test_too_inaccurate_a_result_is_an_error():
    with pytest.raises(SolveError, match="estimated error"):
        layered(*three_blocks(), LayeredSettings(polynomials=4, detail=0.0, rounds=0, limit=1e-3))


@pytest.mark.parametrize(
    "wrong", [{"polynomials": 2}, {"most": 6}, {"depth": 0.0}, {"rounds": -1}, {"workers": 0}, {"step": 1.0}]
)
def test_settings_are_checked(wrong):
    with pytest.raises(InputError):
        LayeredSettings(**wrong)


def test_field_refuses_what_it_cannot_answer(field):
    with pytest.raises(InputError, match="outside block"):
        field.rise(0, 0, np.array([0.1]), np.array([0.0]))
    with pytest.raises(InputError, match="lies outside contact"):
        field.flux(0, np.array([0.02]), np.array([0.0]))
    with pytest.raises(InputError):
        field.rise(0, 1.5, np.array([0.0]), np.array([0.0]))
    with pytest.raises(InputError, match="powers"):
        field.with_powers([1.0])
    with pytest.raises(InputError, match="one sample"):
        layered_field(*batch_of(*three_blocks(), 2), powers=[1.0, 1.0])
