"""Joints that are pressed, bent and held apart: laws, their wiring into a stack, files and bad input."""

import doctest
import warnings

import numpy as np
import pytest
from scipy.integrate import dblquad, quad, solve_bvp

import thermostack as ts
from thermostack.errors import FileError, InputError, ThermostackWarning, UnitError
from thermostack.laws import ageing, bond_line, gaps, interface, meter_bars
from thermostack.measured import steps as steps_module
from thermostack.model import model_of
from thermostack.model.joints import bond_line_of
from thermostack.stack.files import from_toml, to_toml

MODULES = [ageing, bond_line, gaps, interface, meter_bars, steps_module]


@pytest.mark.parametrize("module", MODULES, ids=lambda m: m.__name__.rsplit(".", 1)[1])
def test_examples_in_docstrings(module):
    result = doctest.testmod(module)
    assert result.failed == 0
    assert result.attempted > 0


# -- bowed and wedge-shaped gaps: quadrature as the second road

BOWS = (25e-6, -25e-6, 0.0, 200e-6)


def gap(bow, x, y, size):
    """Gap above the least one at a point, from the middle of the joint."""
    share = (x**2 + y**2) / ((size[0] ** 2 + size[1] ** 2) / 4)
    return bow * share if bow >= 0 else -bow * (1 - share)


@pytest.mark.parametrize("bow", BOWS)
@pytest.mark.parametrize(("part", "centre"), [(None, (0, 0)), ((0.01, 0.006), (0.002, -0.003))])
def test_mean_extra_gap_against_quadrature(bow, part, centre):
    size, (x, y) = (0.03, 0.02), centre
    w, h = part or size
    total, _ = dblquad(lambda v, u: gap(bow, u, v, size), x - w / 2, x + w / 2, y - h / 2, y + h / 2)
    found = gaps.bowed_extra_bond_line(bow, size, part, centre)
    assert found == pytest.approx(total / (w * h), rel=1e-10, abs=1e-15)


@pytest.mark.parametrize("bow", BOWS)
def test_spherical_gap_against_quadrature(bow):
    t, k, rc, size = 15e-6, 3.5, 0.6e-6, (0.03, 0.02)
    total, _ = dblquad(
        lambda y, x: 1 / (rc + (t + gap(bow, x, y, size)) / k), 0, size[0] / 2, 0, size[1] / 2, epsrel=1e-11
    )
    found = gaps.spherical_gap_resistance(t, bow, size, k, rc)
    assert found == pytest.approx(size[0] * size[1] / 4 / total, rel=1e-9)
    even = rc + (t + gaps.bowed_extra_bond_line(bow, size)) / k
    assert found <= even * (1 + 1e-12)  # a mean conductance never resists more than a mean resistance
    assert (found < 0.999 * even) == (bow != 0)


@pytest.mark.parametrize("bow", BOWS)
def test_cylindrical_gap_against_quadrature(bow):
    t, k, rc = 15e-6, 3.5, 0.6e-6
    total, _ = quad(lambda x: 1 / (rc + (t + (bow * x**2 if bow >= 0 else -bow * (1 - x**2))) / k), 0, 1, epsrel=1e-12)
    assert gaps.cylindrical_gap_resistance(t, bow, k, rc) == pytest.approx(1 / total, rel=1e-10)


@pytest.mark.parametrize("most", [15e-6, 15.001e-6, 80e-6, 800e-6])
def test_wedge_against_quadrature(most):
    t, k, rc = 15e-6, 3.5, 0.6e-6
    total, _ = quad(lambda x: 1 / (rc + (t + (most - t) * x) / k), 0, 1, epsrel=1e-12)
    assert gaps.wedge_resistance(t, most, k, rc) == pytest.approx(1 / total, rel=1e-10)


def test_a_spherical_bow_over_a_round_joint_is_a_wedge():
    t, k, bow = 15e-6, 3.5, 40e-6
    total, _ = quad(lambda s: 2 * s / ((t + bow * s**2) / k), 0, 1, epsrel=1e-12)
    assert gaps.wedge_resistance(t, t + bow, k) == pytest.approx(1 / total, rel=1e-10)


def test_gaps_for_many_samples_are_those_for_each():
    bow, size = np.array([-30e-6, 0.0, 40e-6]), np.array([[0.02, 0.03], [0.01, 0.01], [0.03, 0.01]])
    for law in (
        lambda b, s: gaps.bowed_extra_bond_line(b, s, s / 2, [0.001, 0.002]),
        lambda b, s: gaps.spherical_gap_resistance(10e-6, b, s, 3.5),
        lambda b, s: gaps.bow_within(b, s, s / 3),
        lambda b, s: gaps.cylindrical_gap_resistance(10e-6, b, 3.5, 1e-6),
    ):
        assert law(bow, size) == pytest.approx([float(law(b, s)) for b, s in zip(bow, size, strict=True)], rel=1e-14)


def test_bow_of_a_part_of_a_face():
    """The bow over a part and the mean over it tell the same story: convex, over the part alone."""
    size, part = np.array([0.036, 0.03]), np.array([0.012, 0.017])
    inner = gaps.bow_within(40e-6, size, part)
    assert gaps.bowed_extra_bond_line(inner, part) == pytest.approx(gaps.bowed_extra_bond_line(40e-6, size, part))


def test_rim_of_a_void_against_the_equation():
    q, a, k, t, r = 0.8e6, 1.5e-3, 130.0, 0.6e-3, 6e-6
    x = np.linspace(a, 0.03, 1500)
    solved = solve_bvp(
        lambda x, y: np.vstack([y[1], y[0] / (k * t * r) - y[1] / x]),
        lambda near, far: np.array([near[1] + q * a / (2 * k * t), far[0]]),
        x, np.zeros((2, x.size)), tol=1e-8, max_nodes=50_000,
    )  # fmt: skip
    assert interface.void_rim_rise(q, a, k, t, r) == pytest.approx(solved.y[0, 0], rel=1e-7)


def test_stop_of_a_bingham_paste_by_its_balance_of_forces():
    """Second road: the pressure falls outwards by 2 τ/t; its mean over the disk is what presses."""
    tau, a, t = 150.0, 0.012, 5e-6
    force, _ = quad(lambda r: 2 * np.pi * r * 2 * tau / t * (a - r), 0, a)
    assert bond_line.squeezed_disk(tau, force / (np.pi * a**2), a) == pytest.approx(t, rel=1e-12)


# -- ageing stays within its bounds


def test_bounds_of_ageing_hold():
    cycles = np.array([0.0, 1.0, 30.0, 300.0, 1e4, 1e6])
    for place in ("bare die", "lid"):
        low, high = ageing.pump_out_bounds(cycles, place)
        assert low[0] == high[0] == 1.0
        assert (np.diff(low) >= 0).all()
        assert (np.diff(high) >= 0).all()
        assert (low <= high).all()
        assert high.max() <= 2.0
    time = np.array([0.0, 86400.0, 28 * 86400.0, 365 * 86400.0, 1e10])
    low, high = ageing.gallium_copper_layer(time, 30e-6)
    assert low[0] == high[0] == 0.0
    assert (low <= high).all()
    assert low[-1] == high[-1] == 30e-6  # all gallium is consumed
    for weeks, least, most in ((1, 1 / 4, 10 / 2), (16, 2, 30)):  # with the time or its root, whichever is farther
        bounds = ageing.gallium_copper_layer(weeks * 7 * 86400.0, 30e-6)
        assert bounds == (pytest.approx(least * 1e-6), pytest.approx(most * 1e-6))
    assert (ageing.dried_share(high, 30e-6).high <= 1).all()


# -- in a stack


def part(paste, power="200 W"):
    """An invented lidded part."""
    die = ts.Die("die", "silicon", "0.75 mm", ("12 mm", "16 mm"), power, ts.Interface("solder", "indium solder"))
    layers = [ts.Layer("lid", "copper", "2.4 mm", ("36 mm", "30 mm")), paste,
              ts.Layer("plate", "copper", "3 mm", ("50 mm", "50 mm"))]  # fmt: skip
    return ts.Stack("part", die, layers, ts.Coolant("25 degC", conductance="35 kW/m^2/K"))


def specific(stack, name="paste", **samples):
    """Specific resistance of a joint, from the arrays of the solver. [m² K/W]"""
    model = model_of(stack)
    values = model.values({path.replace("__", "."): np.asarray(v) for path, v in samples.items()})
    row = next(row for row in model.rows["die"] if row.part == name)
    return model.arrays(values).contact_r[:, row.contacts[0]]


FULL = {"pressure": "300 kPa", "yield_stress": "120 Pa", "conductivity": "4 W/m/K", "contact": "0.5 mm^2*K/W"}


def test_pressure_sets_the_resistance_of_a_joint():
    pressed = 1.31e-4 * (120 / 300e3) ** 0.166
    assert specific(part(ts.Interface("paste", **FULL))) == pytest.approx(pressed / 4 + 0.5e-6, rel=1e-12)
    holed = ts.Interface("paste", **FULL, void_fraction=0.1)
    assert specific(part(holed)) == pytest.approx((pressed / 4 + 0.5e-6) / 0.9, rel=1e-12)


def test_a_gap_is_a_stop_and_a_bow_comes_on_top():
    extra = gaps.bowed_extra_bond_line(-30e-6, [36e-3, 30e-3], [12e-3, 16e-3])
    for given, stop in (("20 um", 0.0), ("90 um", 90e-6)):
        joint = ts.Interface("paste", **FULL, gap=given, bow="-30 um")
        bare = max(1.31e-4 * (120 / 300e3) ** 0.166, stop)
        assert specific(part(joint)) == pytest.approx((bare + extra) / 4 + 0.5e-6, rel=1e-12)
    written = ts.Interface("paste", bond_line="30 um", gap="80 um", conductivity="4 W/m/K", contact="0 mm^2*K/W")
    assert specific(part(written)) == pytest.approx(80e-6 / 4, rel=1e-12)
    assert bond_line_of("paste", model_of(part(written)).values()) == 80e-6


def test_a_joint_on_a_die_bows_over_the_die():
    joint = ts.Interface("metal", "gallium alloy", bond_line="30 um", bow="24 um", conductivity="24 W/m/K",
                         contact="0 mm^2*K/W")  # fmt: skip
    stack = part(ts.Interface("paste", "ceramic paste")).replace("solder", joint)
    factor = dict((e.path, e.value.si) for e in stack.inputs())["metal.mount"]
    assert specific(stack, "metal") == pytest.approx((30e-6 + 24e-6 / 3) / 24 * factor, rel=1e-12)


def test_the_bow_over_several_dies_is_the_mean_over_their_areas():
    second = ts.Die("small", "silicon", "0.75 mm", ("6 mm", "5 mm"), "20 W", ts.Interface("s2", "indium solder"),
                    centre=("12 mm", "-4 mm"))  # fmt: skip
    one = part(ts.Interface("paste", **FULL, bow="40 um"))
    first = ts.Die("die", "silicon", "0.75 mm", ("12 mm", "16 mm"), "200 W", ts.Interface("solder", "indium solder"),
                   centre=("-4 mm", "0 mm"))  # fmt: skip
    two = ts.Stack("two", [first, second], one.layers, one.coolant)
    each = [gaps.bowed_extra_bond_line(40e-6, [36e-3, 30e-3], size, place)
            for size, place in (([12e-3, 16e-3], [-4e-3, 0]), ([6e-3, 5e-3], [12e-3, -4e-3]))]  # fmt: skip
    extra = np.average(each, weights=[12 * 16, 6 * 5])
    assert specific(two) == pytest.approx((1.31e-4 * (120 / 300e3) ** 0.166 + extra) / 4 + 0.5e-6, rel=1e-12)


def test_samples_of_pressure_bow_and_sizes():
    joint = ts.Interface("paste", **FULL, bow="10 um", gap="0 um")
    samples = {"paste__pressure": [100e3, 400e3], "paste__bow": [-20e-6, 30e-6], "die__footprint_x": [10e-3, 13e-3],
               "paste__gap": [0.0, 1e-4], "paste__bond_line_factor": [1.1, 0.9]}  # fmt: skip
    both = specific(part(joint), **samples)
    for n in range(2):
        assert both[n] == specific(part(joint), **{k: [v[n]] for k, v in samples.items()})[0]
    thin = 1.1 * 1.31e-4 * (120 / 100e3) ** 0.166
    extra = gaps.bowed_extra_bond_line(-20e-6, [36e-3, 30e-3], [10e-3, 16e-3])
    assert both[0] == pytest.approx((thin + extra) / 4 + 0.5e-6, rel=1e-12)


def test_sweeps_over_pressure_gap_and_bow():
    by_class = part(ts.Interface("paste", "ceramic paste"))
    with pytest.warns(ThermostackWarning, match=r"paste: a pressure of 50 kPa .* 70 to 1000 kPa"):
        pressed = ts.sweep(by_class, "paste.pressure", "50 kPa", "600 kPa", points=4, solver="one-dimensional")
    assert (np.diff(pressed.junction) < 0).all()
    flat = part(ts.Interface("paste", "ceramic paste", pressure="250 kPa", bow="0 um", gap="0 um"))
    bowed = ts.sweep(flat, "paste.bow", "-50 um", "50 um", points=5, solver="one-dimensional")
    assert bowed.junction.argmin() == 2
    assert bowed.junction[0] > bowed.junction[-1]  # hollow over the die is worse
    held = ts.sweep(flat, "paste.gap", "0 um", "100 um", points=5, solver="one-dimensional")
    assert held.junction[0] == held.junction[1] < held.junction[2] < held.junction[4]


def test_a_bow_is_sampled_on_both_sides_of_zero():
    from thermostack.propagate import Normal, distribution_of

    bow = {e.path: e for e in part(ts.Interface("paste", **FULL, bow="-3 um (sd 20 um)")).inputs()}["paste.bow"]
    found = distribution_of(bow.value, bow.path)
    assert found == Normal(-3e-6, 20e-6)
    many = found.ppf(np.linspace(0.01, 0.99, 99))
    assert np.isfinite(specific(part(ts.Interface("paste", **FULL, bow="0 um")), paste__bow=many)).all()


def test_the_law_brings_its_inputs_and_says_where_they_come_from():
    stack = part(ts.Interface("paste", "ceramic paste", pressure="250 kPa (x/ 1.2)", bow="-10 um (sd 20 um)"))
    inputs = {entry.path: entry for entry in stack.inputs()}
    assert "paste.resistance" not in inputs
    assert str(inputs["paste.pressure"].value) == "250 kPa (x/ 1.2)"
    assert str(inputs["paste.bow"].value) == "-10 um (sd 20 um)"
    stress, scatter = inputs["paste.yield_stress"], inputs["paste.bond_line_factor"]
    assert stress.assumed
    assert "from memory" in stress.source
    assert (stress.value.si, stress.value.kind) == (150.0, "lognormal")
    assert stress.value.spread == pytest.approx((500 / 30) ** (1 / 3.92), rel=1e-4)
    assert (scatter.value.si, scatter.value.spread, scatter.assumed) == (1.0, 1.2, True)
    assert "from memory" in scatter.source
    own = part(ts.Interface("paste", **FULL))
    assert [e.path for e in own.inputs() if e.assumed and e.path.startswith("paste")] == ["paste.bond_line_factor"]


def test_a_pressed_joint_is_shown_and_drawn():
    stack = part(ts.Interface("paste", "ceramic paste", pressure="250 kPa", gap="80 um"))
    assert "pressure 250 kPa; gap 80 um" in str(stack)
    assert "pressure 250 kPa" in str(stack.table)
    from thermostack.plots.parts import made_of

    paste = stack.part("paste")
    assert made_of(paste, model_of(stack).values()) == "ceramic paste, 80 µm"


def test_files_keep_what_presses_and_bends():
    paste = ts.Interface("paste", "ceramic paste", pressure="250 kPa (sd 40 kPa)", yield_stress="100 .. 200 Pa",
                         gap="20 um", bow="-15 um (sd 10 um)")  # fmt: skip
    stack = part(paste)
    mod = stack.change("paste.pressure", "400 kPa").change("paste.bow", "5 um").named("pressed")
    text = to_toml(stack, mod)
    assert 'pressure = "250 kPa (sd 40 kPa)"' in text
    assert 'bow = "-15 um (sd 10 um)"' in text
    again = from_toml(text)
    assert again == (stack, mod)
    assert to_toml(*again) == text
    with pytest.raises(FileError, match=r"line \d+, paste.pressure: .*300 kPa") as caught:
        from_toml(text.replace('pressure = "250 kPa (sd 40 kPa)"', 'pressure = "250 W"'))
    line = text.split("\n").index('pressure = "250 kPa (sd 40 kPa)"') + 1
    assert f"line {line}" in str(caught.value)


PASTE = {"conductivity": "4 W/m/K", "contact": "0 mm^2*K/W"}


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ({"gap": "-20 um", **FULL}, "paste.gap: '-20 um' is not possible; expected zero or more"),
        ({"bow": "30", **FULL}, "paste.bow: '30' has no unit"),
        ({"bow": "30 mm", **FULL}, "paste.bow: '30 mm' is more than 2 mm"),
        ({**FULL, "pressure": "0 Pa"}, "paste.pressure: '0 Pa' is not possible"),
        ({**FULL, "pressure": "20 N"}, "paste.pressure: 'N' is not a unit of pressure"),
        ({"bond_line": "30 um", **FULL}, "paste: both bond_line and pressure are given; expected one of the two"),
        ({"bond_line": "30 um", "yield_stress": "150 Pa", **PASTE}, "paste: both bond_line and yield_stress"),
        ({"resistance": "9 mm^2*K/W", "pressure": "300 kPa"}, "paste: both resistance and pressure are given"),
        ({"resistance": "9 mm^2*K/W", "bow": "30 um"}, "paste: both resistance and bow are given"),
        (
            {"interface": "ceramic paste", "bow": "30 um"},
            "paste: bow without a bond line; expected bond_line='30 um', or "
            "pressure='200 kPa' of a paste, beside it: the resistance of a class holds for joints of usual flatness",
        ),
        ({"interface": "ceramic paste", "gap": "30 um"}, "paste: gap without a bond line; expected bond_line='30 um'"),
        ({"bow": "30 um"}, "or pressure='200 kPa' of a paste, beside it"),
        ({"interface": "ceramic paste", "yield_stress": "90 Pa"}, "paste: yield_stress without a pressure"),
        ({"pressure": "300 kPa", **PASTE}, "paste: a pressure without yield_stress, and no class"),
        ({"pressure": "300 kPa", "yield_stress": "90 Pa", "contact": "0 mm^2*K/W"}, "a pressure without conductivity"),
    ],
)
def test_bad_joints(words, said):
    with pytest.raises((InputError, UnitError)) as caught:
        ts.Interface("paste", **words)
    assert said in str(caught.value)


def test_a_class_that_pressure_does_not_thin():
    metal = part(ts.Interface("paste", "gallium alloy", pressure="300 kPa"))
    with pytest.raises(InputError, match=r"paste.yield_stress: .* has no yield stress of its own .* or bond_line="):
        metal.inputs()


def test_pressures_beyond_the_law():
    for pressure, outside in (("60 kPa", True), ("70 kPa", False), ("1 MPa", False), ("1.2 MPa", True)):
        stack = part(ts.Interface("paste", "ceramic paste", pressure=pressure))
        with warnings.catch_warnings(record=True) as caught:
            warnings.simplefilter("always")
            model_of(stack)
        assert bool([w for w in caught if "70 to 1000 kPa" in str(w.message)]) == outside
    with pytest.warns(ThermostackWarning, match="yield stress of 900 Pa .* 30 to 500 Pa"):
        model_of(part(ts.Interface("paste", "ceramic paste", pressure="300 kPa", yield_stress="900 Pa")))
    with pytest.raises(
        InputError, match=r"paste.pressure: the pressure does not exceed the yield stress.* 70 to 1000 kPa"
    ):
        model_of(part(ts.Interface("paste", "ceramic paste", pressure="100 Pa")))
    with pytest.raises(InputError, match=r"paste\.pressure: the pressure does not exceed"):
        specific(part(ts.Interface("paste", **FULL)), paste__pressure=[3e5, 100.0])


# -- bad input of the laws

CALLS = {
    bond_line.pressed_bond_line: {"yield_stress": 150.0, "pressure": 3e5},
    bond_line.squeezed_disk: {"yield_stress": 150.0, "pressure": 3e5, "radius": 0.01},
    bond_line.boundary_contact: {"roughness_1": 1e-6, "roughness_2": 1e-6, "conductivity": 3.5, "wetted": 0.9},
    gaps.bow_within: {"bow": 3e-5, "size": [0.03, 0.03], "part": [0.01, 0.01]},
    gaps.bowed_extra_bond_line: {"bow": 3e-5, "size": [0.03, 0.03], "part": [0.01, 0.01], "centre": [0.0, 0.0]},
    gaps.wedge_resistance: {"least": 1e-5, "most": 3e-5, "conductivity": 3.5, "contact": 1e-6},
    gaps.cylindrical_gap_resistance: {"least": 1e-5, "bow": 3e-5, "conductivity": 3.5, "contact": 1e-6},
    gaps.spherical_gap_resistance: {
        "least": 1e-5, "bow": 3e-5, "size": [0.03, 0.03], "conductivity": 3.5, "contact": 1e-6
    },
    interface.void_rim_rise: {
        "flux": 1e6, "radius": 1e-3, "conductivity": 120.0, "thickness": 1e-3, "resistance": 1e-5
    },
    ageing.pump_out_factor: {"cycles": 100.0, "loss": 0.5, "cycle_constant": 200.0},
    ageing.gallium_copper_layer: {"time": 1e6, "bond_line": 3e-5},
    ageing.gallium_copper_resistance: {"layer": 5e-6},
    ageing.dried_share: {"layer": 5e-6, "bond_line": 3e-5},
}  # fmt: skip
ANY_SIGN = {"bow", "centre"}


@pytest.mark.parametrize(("law", "name"), [(law, name) for law, good in CALLS.items() for name in good])
def test_bad_arguments_are_named(law, name):
    good = CALLS[law]
    assert np.all(np.isfinite(np.asarray(law(**good))))
    for bad in (np.nan, np.inf) if name in ANY_SIGN else (-1.0, np.nan, np.inf):
        with pytest.raises(InputError) as caught:
            law(**(good | {name: np.full(np.shape(good[name]), bad)}))
        assert caught.value.where == name
        assert caught.value.expected


@pytest.mark.parametrize(
    ("call", "where"),
    [
        (lambda: bond_line.pressed_bond_line(150.0, [1e5, 150.0]), "pressure"),
        (lambda: bond_line.boundary_contact(1e-6, 1e-6, 3.5, 1.1), "wetted"),
        (lambda: gaps.wedge_resistance(3e-5, 1e-5, 3.5), "most"),
        (lambda: gaps.wedge_resistance(0.0, 1e-5, 3.5), "least"),
        (lambda: gaps.bowed_extra_bond_line(1e-5, [0.03, 0.03], [0.04, 0.01]), "part"),
        (lambda: ageing.pump_out_bounds(10, "heat pipe"), "place"),
        (lambda: ageing.dried_share(4e-5, 3e-5), "layer"),
        (lambda: meter_bars.line_to_face([80.0], [0.01], 0.0), "position"),
        (lambda: meter_bars.line_to_face([80.0, 70.0], [0.01, 0.01], 0.0), "position"),
        (lambda: meter_bars.line_to_face([80.0, np.nan], [0.01, 0.02], 0.0), "temperature"),
        (
            lambda: meter_bars.bar_joint_resistance(*[meter_bars.FaceLine(np.array(50.0), np.array(1.0))] * 2, 4.0),
            "hot",
        ),
    ],
)
def test_what_does_not_fit_together(call, where):
    with pytest.raises(InputError) as caught:
        call()
    assert caught.value.where == where


# -- the reduction of stepped thicknesses

T = np.array([30.0, 60.0, 90.0, 150.0, 260.0])  # µm
R = np.array([9.1, 17.9, 25.2, 44.6, 74.8])  # mm² K/W
U = np.array([0.5, 0.6, 0.9, 1.5, 2.5])


def reduced(t=T, r=R, u=None, u_t=None):
    heights = [f"{a} um" if u_t is None else f"{a} um (sd {u_t} um)" for a in t]
    return ts.reduce_thickness_steps(
        heights, [f"{b} mm^2*K/W" + ("" if u is None else f" (sd {u[n]} mm^2*K/W)") for n, b in enumerate(r)]
    )


def test_unweighted_line_against_polyfit():
    (slope, intercept), covariance = np.polyfit(T * 1e-6, R * 1e-6, 1, cov=True)
    found = reduced()
    assert (found.slope, found.intercept) == (pytest.approx(slope), pytest.approx(intercept))
    assert found.covariance[::-1, ::-1] == pytest.approx(covariance, rel=1e-9)
    assert found.conductivity.si == pytest.approx(1 / slope, rel=1e-7)
    assert found.conductivity.spread_si == pytest.approx(covariance[0, 0] ** 0.5 / slope**2, rel=1e-7)
    assert found.contact.si == pytest.approx(intercept, rel=1e-7)
    assert not found.weighted
    assert found.chi_squared is None


def test_weighted_line_against_polyfit():
    (slope, intercept), covariance = np.polyfit(T * 1e-6, R * 1e-6, 1, w=1e6 / U, cov="unscaled")
    found = reduced(u=U)
    assert (found.slope, found.intercept) == (pytest.approx(slope), pytest.approx(intercept))
    assert found.covariance[::-1, ::-1] == pytest.approx(covariance, rel=1e-9)
    assert found.chi_squared == pytest.approx(np.sum(((R * 1e-6 - intercept - slope * T * 1e-6) / (U * 1e-6)) ** 2))
    from scipy.stats import chi2

    assert found.scatter_probability == pytest.approx(1 - chi2.cdf(found.chi_squared, 3))


def test_errors_of_both_coordinates_against_the_likelihood():
    """Second road: minimise the sum of squares of both residuals over line and true thicknesses."""
    from scipy.optimize import least_squares

    u_t = 4.0

    def residuals(p):
        return np.concatenate([(p[2:] - T) / u_t, (p[0] + p[1] * p[2:] - R) / U])

    best = least_squares(residuals, [0.5, 0.28, *T], xtol=1e-15, ftol=1e-15, gtol=1e-15)
    found = reduced(u=U, u_t=u_t)
    assert (found.intercept * 1e6, found.slope) == (
        pytest.approx(best.x[0], rel=1e-6),
        pytest.approx(best.x[1], rel=1e-7),
    )
    covariance = np.linalg.inv(best.jac.T @ best.jac)[:2, :2]
    scale = np.array([1e-6, 1.0])  # mm²·K/W over µm is m·K/W
    assert found.covariance == pytest.approx(covariance * np.outer(scale, scale), rel=0.02)  # to first order, as York's
    plain = reduced(u=U)
    assert found.covariance[1, 1] > plain.covariance[1, 1]


def test_the_reduction_feeds_an_interface():
    found = reduced(u=U)
    joint = ts.Interface("paste", bond_line="45 um", conductivity=found.conductivity, contact=found.contact)
    assert specific(part(joint)) == pytest.approx(found.intercept + 45e-6 * found.slope, rel=1e-6)
    whole = found.at("45 um (sd 5 um)")
    row = np.array([1, 45e-6])
    assert whole.spread_si**2 == pytest.approx(row @ found.covariance @ row + (found.slope * 5e-6) ** 2, rel=1e-6)
    assert specific(part(ts.Interface("paste", resistance=whole))) == pytest.approx(whole.si)
    # the correlation makes the joint far better known than two independent inputs would
    apart = found.covariance[0, 0] + 45e-6**2 * found.covariance[1, 1]
    assert found.at("45 um").spread_si ** 2 < 0.9 * apart


def test_the_table_of_the_reduction():
    found = reduced(u=U)
    assert found.to_dict()["thickness_um"] == pytest.approx(T)
    assert list(found.to_pandas().columns) == list(found.to_dict())
    assert f"conductivity {found.conductivity.si:.4g} ± " in str(found)
    assert "weighted with the stated uncertainties" in found._repr_html_()
    assert "too small" not in str(found)
    assert "uncertainties above are too small" in str(reduced(u=U / 10))
    assert "from the scatter of the points" in str(reduced())


def test_the_picture_of_the_reduction():
    import matplotlib as mpl

    mpl.use("Agg")
    from matplotlib import pyplot as plt

    found = reduced(u=U)
    ax = found.plot()
    joints = next(line for line in ax.lines if line.get_marker() == "o")
    assert joints.get_xydata() == pytest.approx(np.stack([T, R], axis=1))
    line = next(line for line in ax.lines if len(line.get_xdata()) > 10)
    assert line.get_xdata()[0] == 0.0
    assert line.get_ydata() == pytest.approx(1e6 * found.intercept + found.slope * line.get_xdata())
    (band,) = ax.collections
    edge = band.get_paths()[0].vertices
    at_zero = edge[edge[:, 0] == 0.0, 1]
    half = 1e6 * found.covariance[0, 0] ** 0.5
    assert [at_zero.min(), at_zero.max()] == pytest.approx([1e6 * found.intercept - half, 1e6 * found.intercept + half])
    assert any(f"contact {1e6 * found.intercept:.3g} mm²·K/W" in text.get_text() for text in ax.texts)
    figure, own = plt.subplots(figsize=(2.6, 2.0))
    assert reduced().plot(ax=own) is own
    figure.canvas.draw()
    plt.close("all")


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda: reduced(T[:2], R[:2]), "thickness: 2 joints: a line takes two.* expected three or more"),
        (lambda: reduced(T[:1], R[:1]), "thickness: 1 joint:"),
        (lambda: reduced(T, R[:4]), "resistance: 5 thicknesses and 4 resistances; expected one for each"),
        (lambda: reduced(T * 0 + 50, R), "thickness: all joints are of one thickness"),
        (lambda: reduced(T, R[::-1]), "resistance: the resistance does not rise"),
        (lambda: reduced(T, -R), "resistance 1: '-9.1 mm.* is not possible"),
        (lambda: reduced(T, R, u_t=5), "resistance: some values have a standard uncertainty and some have none"),
        (
            lambda: ts.reduce_thickness_steps(["30", "60 um", "90 um"], ["9 mm^2*K/W"] * 3),
            "thickness 1: '30' has no unit",
        ),
        (lambda: ts.reduce_thickness_steps("30 um", "9 mm^2*K/W"), "thickness: '30 um' is not a list"),
        (lambda: reduced(T, R - 5).contact, "contact: the line gives -4.* at zero thickness"),
        (lambda: reduced().at("-3 um"), "bond_line: '-3 um' is not possible"),
    ],
)
def test_bad_steps(call, said):
    with pytest.raises(InputError, match=said):
        call()
