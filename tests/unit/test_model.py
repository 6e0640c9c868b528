"""Stacks made ready: graph and arrays by hand, rows that telescope for any solver, batches equal to loops."""

import math

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import thermostack as ts
from thermostack.catalogue import TemperatureLaw
from thermostack.model import model_of
from thermostack.operating import operate
from thermostack.solvers.graph import ENVIRONMENT, Contact, Response
from thermostack.solvers.series import one_dimensional

MM = 1e-3
PLAIN = ts.Material.of("plain metal", 200.0)
PLATING = ts.Material.of("plain plating", 80.0)
CHIP = ts.Material.of("plain chip", 110.0)
BENT = ts.Material.of("bent chip", 120.0, law=TemperatureLaw("power", exponent=-1.3))
SIDE = ("10 mm", "8 mm")


def chip(name="chip", joint=None, **changes):
    joint = ts.Interface(f"{name} joint", resistance="5 mm^2*K/W") if joint is None else joint
    given = {"material": CHIP, "thickness": "0.7 mm", "footprint": SIDE, "power": "100 W", "joint": joint}
    return ts.Die(name, **{**given, **changes})


def part(dies, *, plate=("40 mm", "30 mm"), lid=("25 mm", "20 mm"), coolant=None, **more):
    layers = [ts.Layer("plate", PLAIN, "4 mm", plate)]
    if lid:
        layers = [ts.Layer("lid", PLAIN, "2 mm", lid), ts.Interface("paste", resistance="10 mm^2*K/W"), *layers]
    return ts.Stack("a part", dies, layers, coolant or ts.Coolant("25 degC", conductance="20 kW/m^2/K"), **more)


def rect(x0, y0, x1, y1):
    return pytest.approx([v * MM for v in (x0, y0, x1, y1)], abs=1e-12)


def areas(rects):
    return (rects[:, 2] - rects[:, 0]) * (rects[:, 3] - rects[:, 1])


def test_soldered():
    solder = ts.Interface(
        "solder", bond_line="0.25 mm", conductivity="50 W/m/K", contact="1 mm^2*K/W", void_fraction="20 %"
    )
    model = model_of(part(chip(joint=solder)))
    graph, arrays = model.graph, model.arrays()
    assert graph.slabs_of_block == (1, 1, 1)
    assert graph.contacts == (Contact(0, 1), Contact(1, 2), Contact(2, ENVIRONMENT))
    assert [c.part.name for c in model.slabs] == ["chip", "lid", "plate"]
    assert arrays.size[0] == pytest.approx(np.array([[10, 8], [25, 20], [40, 30]]) * MM)
    assert arrays.centre[0] == pytest.approx(np.zeros((3, 2)))
    assert arrays.thickness[0] == pytest.approx([0.7e-3, 2e-3, 4e-3])
    assert arrays.k_through[0] == pytest.approx([110.0, 200.0, 200.0])
    assert arrays.k_in_plane[0] == pytest.approx([110.0, 200.0, 200.0])
    assert arrays.r_above[0] == pytest.approx([0.0, 0.0, 0.0])
    # (t/k + R_c)/(1 - voids) = (5 + 1)/0.8 mm² K/W
    assert arrays.contact_r[0] == pytest.approx([7.5e-6, 10e-6, 1 / 20e3])
    assert arrays.contact_rect[0, 0] == rect(-5, -4, 5, 4)
    assert arrays.contact_rect[0, 1] == rect(-12.5, -10, 12.5, 10)
    assert arrays.contact_rect[0, 2] == rect(-20, -15, 20, 15)
    assert arrays.source_rect[0, 0] == rect(-5, -4, 5, 4)
    assert model.powers()[0] == pytest.approx([100.0])
    assert arrays.probe_rect[0, model.probes["centre", "chip"]] == rect(0, 0, 0, 0)


def test_a_mount_multiplies_its_joint(soldered):
    model = model_of(soldered)
    values = model.values({"paste.mount": np.array([1.0, 1.3])})
    assert np.divide(*model.arrays(values).contact_r[::-1, 1]) == pytest.approx(1.3)


def test_bare():
    model = model_of(part(chip(), lid=None))
    assert model.graph.slabs_of_block == (1, 1)
    assert model.graph.contacts == (Contact(0, 1), Contact(1, ENVIRONMENT))
    assert [row.part for row in model.rows["chip"]] == ["chip", "chip joint", "plate", "coolant"]


def test_a_plating_is_a_slab_of_the_dies_block():
    joint = [ts.Layer("plating", PLATING, "5 um"), ts.Interface("metal", resistance="2 mm^2*K/W")]
    model = model_of(part(chip(joint=joint)))
    assert model.graph.slabs_of_block == (2, 1, 1)
    arrays = model.arrays()
    assert arrays.thickness[0] == pytest.approx([0.7e-3, 5e-6, 2e-3, 4e-3])
    assert arrays.r_above[0] == pytest.approx([0.0] * 4)
    assert [row.part for row in model.rows["chip"]] == [
        "chip", "plating", "metal", "lid", "paste", "plate", "coolant",
    ]  # fmt: skip


def test_a_joint_between_equal_footprints_lies_inside_the_block():
    model = model_of(part(chip(), lid=("40 mm", "30 mm")))
    assert model.graph.slabs_of_block == (1, 2)
    assert model.arrays().r_above[0] == pytest.approx([0.0, 10e-6, 0.0])


def test_a_die_with_a_plating_off_its_lid_is_refused():
    joint = [ts.Layer("plating", PLATING, "5 um"), ts.Interface("metal", resistance="2 mm^2*K/W")]
    with pytest.raises(ts.InputError, match=r"chip: it reaches 2\.5 mm over the edge of 'lid'"):
        model_of(part(chip(joint=joint, centre=("10 mm", "0 mm"))))


def test_a_joint_smaller_than_what_it_joins():
    joint = ts.Interface("metal", resistance="2 mm^2*K/W", footprint=("6 mm", "4 mm"), centre=("1 mm", "-1 mm"))
    arrays = model_of(part(chip(joint=joint))).arrays()
    assert arrays.contact_rect[0, 0] == rect(-2, -3, 4, 1)


PLACES = {
    "corner": (("0 mm", "0 mm"), 2),
    "centre": (("4 mm", "3 mm"), 4),
    "left edge": (("0 mm", "3 mm"), 3),
    "top edge": (("4 mm", "6 mm"), 3),
}


@pytest.mark.parametrize(("corner", "pieces"), PLACES.values(), ids=PLACES.keys())
def test_a_patch_splits_its_joint(corner, pieces):
    void = ts.Patch("void", corner, ("2 mm", "2 mm"), "9600 mm^2*K/W")
    model = model_of(part(chip(joint=ts.Interface("metal", resistance="2 mm^2*K/W", patches=[void]))))
    arrays = model.arrays()
    mine = [i for i, c in enumerate(model.graph.contacts) if c == Contact(0, 1)]
    rects, r = arrays.contact_rect[0, mine], arrays.contact_r[0, mine]
    x, y = (float(c.split()[0]) for c in corner)
    assert len(mine) == pieces + 1
    assert rects[r > 1e-3] == pytest.approx(np.array([[x - 5, y - 4, x - 3, y - 2]]) * MM)
    assert sorted(set(r.round(12))) == pytest.approx([2e-6, 9600e-6])


spans = st.tuples(st.integers(0, 9), st.integers(1, 10)).map(lambda s: (s[0], min(s[0] + s[1], 10)))


@given(st.lists(st.tuples(spans, spans), min_size=1, max_size=4))
@settings(deadline=None, suppress_health_check=[HealthCheck.filter_too_much])
def test_pieces_tile_a_joint(boxes):
    """Patches that do not overlap: pieces cover the joint once, each point with the resistance of its patch."""
    kept = []
    for (x0, x1), (y0, y1) in boxes:
        if all(x1 <= a0 or a1 <= x0 or y1 <= b0 or b1 <= y0 for (a0, a1), (b0, b1) in kept):
            kept.append(((x0, x1), (y0, y1)))
    patches = [
        ts.Patch(
            f"p{n}", (f"{x0} mm", f"{0.8 * y0} mm"), (f"{x1 - x0} mm", f"{0.8 * (y1 - y0)} mm"), f"{50 + n} mm^2*K/W"
        )
        for n, ((x0, x1), (y0, y1)) in enumerate(kept)
    ]
    model = model_of(part(chip(joint=ts.Interface("m", resistance="2 mm^2*K/W", patches=patches)), lid=None))
    arrays = model.arrays()
    mine = [i for i, c in enumerate(model.graph.contacts) if c == Contact(0, 1)]
    rects, r = arrays.contact_rect[0, mine] / MM, arrays.contact_r[0, mine]
    assert areas(rects).sum() == pytest.approx(80.0, rel=1e-12)
    for i in range(10):
        for j in range(10):
            x, y = -5 + i + 0.5, -4 + 0.8 * (j + 0.5)
            holds = [n for n, (x0, y0, x1, y1) in enumerate(rects) if x0 < x < x1 and y0 < y < y1]
            on = [n for n, ((x0, x1), (y0, y1)) in enumerate(kept) if x0 <= i < x1 and y0 <= j < y1]
            assert len(holds) == 1
            assert r[holds[0]] == pytest.approx((50 + on[0]) * 1e-6 if on else 2e-6)


def test_several_dies():
    dies = [chip("left", centre=("-6 mm", "1 mm")), chip("right", centre=("6 mm", "0 mm"), power="50 W")]
    model = model_of(part(dies, board=ts.Board("5 K/W")))
    assert model.graph.slabs_of_block == (1, 1, 1, 1)
    assert model.graph.contacts[:4] == (Contact(0, 2), Contact(1, 2), Contact(2, 3), Contact(3, ENVIRONMENT))
    assert model.graph.contacts[4:] == (Contact(ENVIRONMENT, 0), Contact(ENVIRONMENT, 1))
    assert model.sources == ("left", "right")
    arrays = model.arrays()
    assert arrays.contact_rect[0, 0] == rect(-11, -3, -1, 5)
    assert arrays.contact_rect[0, 4] == rect(-11, -3, -1, 5)
    # 5 K/W for both together, shared by area
    assert arrays.contact_r[0, 4:] == pytest.approx([5 * 160e-6] * 2)
    assert model.rows["left"][0].slab == 0
    assert model.rows["right"][1].contacts == (1,)
    with pytest.raises(ts.InputError, match="several dies under one lid need solver='layered'"):
        one_dimensional(model.graph, arrays)


@pytest.mark.parametrize(("mirrored", "x"), [(False, -4.0), (True, 1.0)])
def test_a_mirrored_map(mirrored, x):
    """A region 1 mm from the lower left in a picture from below lies 1 mm from the lower right, seen from above."""
    power = ts.PowerMap("100 W", [ts.Region("core", "30 W", ("1 mm", "2 mm"), ("3 mm", "1 mm"))])
    model = model_of(part(chip(power=power, mirrored=mirrored, centre=("2 mm", "3 mm"))))
    arrays = model.arrays()
    assert arrays.source_rect[0, 1] == rect(x + 2, 1, x + 5, 2)
    assert arrays.probe_rect[0, model.probes["mean", "core"]] == rect(x + 2, 1, x + 5, 2)
    assert arrays.probe_rect[0, model.probes["centre", "core"]] == rect(x + 3.5, 1.5, x + 3.5, 1.5)
    assert model.powers()[0] == pytest.approx([70.0, 30.0])
    assert model.powers(model.values({"chip.power": np.array([50.0])}))[0] == pytest.approx([35.0, 15.0])


def test_a_part_wetted_plate():
    coolant = ts.Coolant("25 degC", conductance="20 kW/m^2/K", wetted=("20 mm", "10 mm"), centre=("3 mm", "-2 mm"))
    model = model_of(part(chip(), coolant=coolant))
    assert model.arrays().contact_rect[0, model.coolant_contact] == rect(-7, -7, 13, 3)


@pytest.mark.parametrize(("wetted", "area"), [(None, 1200e-6), (("20 mm", "10 mm"), 200e-6)])
def test_a_coolant_by_resistance_counts_over_the_wetted_area(wetted, area):
    model = model_of(
        part(chip(), coolant=ts.Coolant("25 degC", resistance="0.05 K/W", contains_plate=False, wetted=wetted))
    )
    assert model.arrays().contact_r[0, model.coolant_contact] == pytest.approx(0.05 * area)


def test_perfect_contact_is_said():
    with pytest.warns(ts.ThermostackWarning, match="perfect contact assumed between 'chip' and 'plate'"):
        model = model_of(part(chip(joint=()), lid=None))
    assert "perfect contact assumed" in model.notes[0]
    with pytest.warns(ts.ThermostackWarning, match="perfect contact assumed"):
        assert "perfect contact assumed" in str(ts.predict(part(chip(joint=()), lid=None), solver="one-dimensional"))


def test_an_off_centre_die():
    model = model_of(part(chip(centre=("7 mm", "-5 mm"))))
    arrays = model.arrays()
    assert arrays.centre[0, 0] == pytest.approx([7e-3, -5e-3])
    assert arrays.contact_rect[0, 0] == rect(2, -9, 12, -1)
    centred = one_dimensional(model.graph, model_of(part(chip())).arrays()).influence
    assert np.all(one_dimensional(model.graph, arrays).influence[0, :, 0] > 0.999 * centred[0, :, 0])


def test_sensors_sit_on_layers_of_joints_too():
    joint = [ts.Layer("shim", PLAIN, "1 mm", ("12 mm", "10 mm")), ts.Interface("metal", resistance="2 mm^2*K/W")]
    first = ts.Interface("solder", resistance="2 mm^2*K/W")
    stack = part(chip(joint=[first, *joint]), sensors=[ts.Sensor("probe", "shim", point=("5 mm", "0 mm"))])
    model = model_of(stack)
    probe = model.graph.probes[model.probes["sensor", "probe"]]
    assert (model.slabs[probe.slab].part.name, probe.side) == ("shim", 1)
    assert [name for name, _, _ in operate(model, one_dimensional).readings()] == ["probe"]


@pytest.mark.parametrize(
    ("sensor", "text"),
    [
        (ts.Sensor("probe", "lid", point=("13 mm", "0 mm")), "probe.point: it reaches 0.5 mm over the edge of 'lid'"),
        (ts.Sensor("probe", "chip", point=("1 mm", "0 mm")), "a sensor at 'chip' reads a mean"),
        (ts.Sensor("probe", "coolant", point=("1 mm", "0 mm")), "a sensor at 'coolant' reads a mean"),
    ],
)
def test_sensors_that_cannot_sit(sensor, text):
    with pytest.raises(ts.InputError, match=text):
        model_of(part(chip(), sensors=[sensor]))


# -- the breakdown, whatever the solver


def patched():
    voids = [ts.Patch("void", ("0 mm", "3 mm"), ("2 mm", "2 mm"), "9600 mm^2*K/W")]
    return ts.Interface("metal", resistance="2 mm^2*K/W", patches=voids)


def core():
    return ts.PowerMap("100 W", [ts.Region("core", "30 W", ("1 mm", "2 mm"), ("3 mm", "1 mm"))])


STACKS = {
    "soldered": lambda: part(chip()),
    "bare": lambda: part(chip(), lid=None),
    "plated": lambda: part(chip(joint=[ts.Layer("gilt", PLATING, "5 um"), ts.Interface("m", resistance="2 mm^2*K/W")])),
    "one block": lambda: part(chip(), lid=SIDE, plate=SIDE),
    "narrow on wide": lambda: part(chip(), plate=("12 mm", "12 mm")),
    "patched": lambda: part(chip(joint=patched())),
    "small joint": lambda: part(chip(joint=ts.Interface("m", resistance="2 mm^2*K/W", footprint=("6 mm", "4 mm")))),
    "wetted": lambda: part(chip(), coolant=ts.Coolant("25 degC", resistance="0.05 K/W", contains_plate=False, wetted=("20 mm", "10 mm"))),
    "board": lambda: part(chip(), board=ts.Board("4 K/W", "50 degC")),
    "regions": lambda: part(chip(power=core(), material=BENT)),
    "off centre": lambda: part(chip(centre=("7 mm", "-5 mm"), material=BENT)),
    "two dies": lambda: part([chip("left", centre=("-6 mm", "1 mm")), chip("right", centre=("6 mm", "0 mm"))]),
}  # fmt: skip


def any_solver(graph, arrays):
    """A solver that says anything at all: rows must add up for it too."""
    shape = (arrays.samples, len(graph.probes), len(graph.sources))
    rng = np.random.default_rng(7)
    influence = rng.uniform(0.05, 0.15, shape)
    return Response(influence, np.ones((shape[0], len(graph.contacts), shape[2])), np.zeros(shape), "anything")


@pytest.mark.parametrize("solver", [any_solver, one_dimensional], ids=["anything", "one-dimensional"])
@pytest.mark.parametrize("name", STACKS)
def test_rows_add_up_to_the_rise(name, solver):
    stack = STACKS[name]()
    if solver is one_dimensional and len(stack.dies) > 1:
        pytest.skip("one column only")
    if solver is any_solver and name == "plated":
        pytest.skip("the two sides of a perfect joint are one temperature to a true solver only")
    model = model_of(stack)
    point = operate(model, solver)
    for die in model.dies:
        drops = [float(point.difference(row)[0]) for row in model.rows[die]]
        assert sum(drops) == pytest.approx(float(point.probe("mean", die)[0]), rel=1e-12)


# -- batches


def varied(stack, factors):
    """Samples of every input of a stack, each times factors of its own."""
    centres = model_of(stack).values()
    paths = [entry.path for entry in stack.inputs()]
    rng = np.random.default_rng(factors[0])
    return {
        path: (centres(path) + rng.uniform(-5, 5, factors[1]) if path.endswith("temperature")
               else centres(path) * rng.uniform(0.97, 1.03, factors[1])) for path in paths
    }  # fmt: skip


@given(
    st.sampled_from([k for k in STACKS if k not in ("one block", "two dies")]), st.integers(0, 2**31), st.integers(2, 5)
)
@settings(deadline=None, max_examples=40)
def test_a_batch_is_a_loop(name, seed, count):
    """All inputs at once. Arrays to rounding; temperatures to what an operating point may leave (TOLERANCE)."""
    stack = STACKS[name]()
    model, samples = model_of(stack), varied(stack, (seed, count))
    values = model.values(samples)
    arrays, together = model.arrays(values), operate(model, one_dimensional, values)
    for i in range(count):
        alone = model.values({path: x[i : i + 1] for path, x in samples.items()})
        single = model.arrays(alone)
        for field in arrays.__dataclass_fields__:
            of_batch = getattr(arrays, field)
            of_batch = np.broadcast_to(of_batch, (count, *of_batch.shape[1:]))
            assert np.array_equal(of_batch[i], getattr(single, field)[0]), field
        assert model.powers(values)[i] == pytest.approx(model.powers(alone)[0], rel=1e-14)
        one = operate(model, one_dimensional, alone)
        assert together.rise[i] == pytest.approx(one.rise[0], rel=1e-6), "the last step leaves far less than TOLERANCE"
        assert together.error[i] == pytest.approx(one.error[0], rel=1e-6)
        assert together.flow[i] == pytest.approx(one.flow[0], rel=1e-6)


def test_two_dies_in_a_batch():
    stack = STACKS["two dies"]()
    model, samples = model_of(stack), varied(stack, (3, 4))
    together = operate(model, any_solver, model.values(samples))
    assert together.rise.shape == (4, len(model.graph.probes))
    hottest = together.hottest_mean_rise
    peaks = np.stack([together.probe("centre", d) for d in model.dies], axis=1)
    for i in range(4):
        assert hottest[i] == together.probe("mean", model.dies[int(np.argmax(peaks[i]))])[i]


def test_samples_that_turn_a_patch_inside_out_are_refused():
    model = model_of(part(chip(joint=patched())))
    with pytest.raises(ts.InputError, match="the joint at 'chip' and 'lid'"):
        model.arrays(model.values({"void.corner_y": np.array([3e-3, 9e-3])}))


def test_unknown_inputs_are_refused():
    with pytest.raises(ts.UnknownNameError, match=r"did you mean 'paste\.resistance'"):
        model_of(part(chip())).values({"paste.resistanc": np.ones(2)})


# -- the board, by an independent network


@pytest.mark.parametrize("board", [25.0, 60.0, 5.0])
def test_a_board_of_its_own_temperature(board):
    """Two resistances from one node: (T - T_c)/R_up + (T - T_b)/R_b = P, with R_up from the stack without a board."""
    free = ts.predict(part(chip()), solver="one-dimensional")
    up = float(free.point.probe("mean", "chip")[0]) / 100.0
    p = ts.predict(part(chip(), board=ts.Board("2 K/W", f"{board} degC")), solver="one-dimensional")
    node = (100.0 + 25.0 / up + board / 2.0) / (1 / up + 1 / 2.0)
    assert float(p.mean.magnitude) == pytest.approx(node, rel=1e-9)
    assert p.point.board_share[0] == pytest.approx((node - board) / 2.0 / 100.0, rel=1e-9)
    assert p.heat_imbalance < 1e-12
    assert not math.isclose(node, float(free.mean.magnitude), rel_tol=1e-3)
