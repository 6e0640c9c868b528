"""What would be left if a layer were perfect, and what power is worth in clock."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.interpolate import pchip_interpolate

import thermostack as ts
from thermostack.clock import clock_at
from thermostack.errors import InputError
from thermostack.field import model_with_hot_points
from thermostack.local import answer
from thermostack.perfect import FACTOR, junction_without
from thermostack.solvers import solver_named

SIDES = ("10 mm", "10 mm")
SILICON, COPPER = ts.Material.of("plain silicon", 120.0), ts.Material.of("plain copper", 400.0)


def stack(*, side=SIDES, plate=SIDES, silicon=SILICON, copper=COPPER):
    die = ts.Die("die", silicon, "0.6 mm", SIDES, "100 W", ts.Interface("solder", resistance="5 mm^2*K/W"))
    layers = [ts.Layer("lid", copper, "2 mm", footprint=side), ts.Interface("paste", resistance="14 mm^2*K/W"),
              ts.Layer("plate", copper, "3 mm", footprint=plate)]  # fmt: skip
    return ts.Stack("part", die, layers, ts.Coolant("30 degC", conductance="50 kW/m^2/K"))


def remainders(part, solver):
    return {row[0]: row[1:] for row in ts.predict(part, solver=solver).remainders.rows}


@pytest.mark.parametrize("solver", ["one-dimensional", "layered"])
def test_without_spreading_exactly_its_own_drop_is_gained(solver):
    """All footprints alike, constant conductivity: P r/A each, less the share 1/FACTOR that a perfect part keeps."""
    own = {"die": 0.6e-3 / 120, "solder": 5e-6, "lid": 2e-3 / 400, "paste": 14e-6, "plate": 3e-3 / 400, "coolant": 2e-5}
    whole = sum(own.values()) * 100 / 1e-4
    found = remainders(stack(), solver)
    assert list(found) == list(own)
    for part, r in own.items():
        drop, left, gained = found[part]
        assert drop == pytest.approx(r * 1e6, rel=1e-9)
        assert left == pytest.approx(whole - r * 1e6, abs=1.1e6 * r / FACTOR)
        assert left + gained == pytest.approx(whole, rel=1e-9)


SPREADING = {"side": ("30 mm", "30 mm"), "plate": ("40 mm", "40 mm")}


def described_perfect(part, path):
    """Return the stack with one part as good as perfect by its own description: a second road to the same number."""
    for_part = {
        "die": lambda s: stack(**SPREADING, silicon=ts.Material.of("diamond", 120.0 * FACTOR)),
        "solder": lambda s: s.change("solder.resistance", "0.0005 mm^2*K/W"),
        "lid": lambda s: s.swap("lid", [replace(s.part("lid"), material=ts.Material.of("perfect", 400.0 * FACTOR))]),
        "paste": lambda s: s.change("paste.resistance", "0.0014 mm^2*K/W"),
        "plate": lambda s: s.swap(
            "plate", [replace(s.part("plate"), material=ts.Material.of("perfect", 400.0 * FACTOR))]
        ),
        "coolant": lambda s: s.change("coolant.conductance", "500000 kW/m^2/K"),
    }
    return for_part[path](part)


@pytest.mark.parametrize("solver", ["one-dimensional", "layered"])
@pytest.mark.parametrize("part", ["die", "solder", "lid", "paste", "plate", "coolant"])
def test_with_spreading_it_is_the_stack_described_so(part, solver):
    """A perfect part lets heat spread otherwise: what is left is not the rise less its drop."""
    plain = stack(**SPREADING)
    left = remainders(plain, solver)[part][1]
    again = ts.predict(described_perfect(plain, part), solver=solver)
    # both are solved to within their own error estimates
    error = float(again.point.error.max()) + float(ts.predict(plain, solver=solver).point.error.max())
    assert left == pytest.approx(float(again.point.junction_rise[0]), abs=1e-6 + 2 * error)


def test_a_perfect_lid_gains_more_than_its_own_drop():
    drop, _, gained = remainders(stack(**SPREADING), "layered")["lid"]
    assert gained > 1.05 * drop


def test_a_batch_is_solved_row_by_row():
    model = model_with_hot_points(stack(**SPREADING), "one-dimensional")
    solver = solver_named("one-dimensional")
    values = {"paste.resistance": np.array([10e-6, 14e-6, 30e-6])}
    point = answer(model, "one-dimensional", model.values(values))
    row = next(row for row in model.rows["die"] if row.part == "solder")
    found = junction_without(point, solver, row)
    one = [
        junction_without(
            answer(model, "one-dimensional", model.values({"paste.resistance": np.array([r])})), solver, row
        )[0]
        for r in values["paste.resistance"]
    ]
    np.testing.assert_allclose(found, one, rtol=1e-9)


# -- clock

POINTS = [("4.0 GHz", "200 W"), ("4600 MHz", "300 W"), ("5.1 GHz", "450 W")]


def test_clock_between_points():
    """Through the points, monotone between, and as the cubic of Fritsch and Carlson that SciPy has a second road to."""
    np.testing.assert_allclose(clock_at(POINTS, np.array([200.0, 300.0, 450.0])), [4.0e9, 4.6e9, 5.1e9])
    watts = np.linspace(200, 450, 101)
    found = clock_at(POINTS, watts)
    assert np.all(np.diff(found) > 0)
    np.testing.assert_allclose(found, pchip_interpolate([200, 300, 450], [4.0e9, 4.6e9, 5.1e9], watts), rtol=1e-12)
    np.testing.assert_allclose(clock_at(POINTS[:2], np.array([250.0])), [4.3e9])  # two points: straight
    np.testing.assert_array_equal(clock_at(POINTS[::-1], watts), found)  # in any order


def test_nothing_is_said_beyond_the_points():
    assert np.isnan(clock_at(POINTS, np.array([199.9, 450.1]))).all()
    assert clock_at(POINTS, np.zeros((2, 3))).shape == (2, 3)


@pytest.mark.parametrize(
    ("points", "message"),
    [
        ([], "0 point"),
        (POINTS[:1], r"1 point; expected two or more"),
        ([("4.0 GHz", "200 W"), ("3.9 GHz", "300 W")], "does not rise with the power"),
        ([("4.0 GHz", "200 W"), ("4.2 GHz", "200 W")], "does not rise with the power"),
        ([("4.0 GHz", "200 W"), ("4.2", "250 W")], "clock"),
        ([("200 W", "4.0 GHz"), ("4.2 GHz", "250 W")], "clock"),
    ],
)
def test_clocks_that_are_none(points, message):
    with pytest.raises(InputError, match=message):
        clock_at(points, np.array([210.0]))


def test_clock_gained_at_the_limit():
    """In the decision: the clock at the power that each variant may have at the limit, by hand for the median sample."""
    part = stack().change("solder.resistance", "5 mm^2*K/W (sd 0.2 mm^2*K/W)")
    mod = part.change("paste.resistance", "8 mm^2*K/W").named("thin")
    points = [("4.0 GHz", "60 W"), ("5.0 GHz", "160 W")]
    found = ts.compare(part, mod, samples=500, solver="one-dimensional", limit="95 degC", clock=points)
    powers = [found.sampled.samples("power", v) + found.sampled.samples("headroom", v) for v in (0, 1)]
    gained = 10e6 * np.median(powers[1] - powers[0]) / 1e6  # 1 GHz over 100 W
    text = dict((row[0], row[1]) for row in found.decision.rows)["clock gained at 95 °C"]
    assert float(text.split()[0]) == pytest.approx(gained, abs=0.6)
    far = ts.compare(
        part, mod, samples=500, solver="one-dimensional", limit="95 degC", clock=[("4 GHz", "10 W"), ("5 GHz", "20 W")]
    )
    assert dict((row[0], row[1]) for row in far.decision.rows)["clock gained at 95 °C"].startswith("beyond the clocks")
    with pytest.raises(InputError, match="1 point"):
        ts.compare(part, mod, samples=500, solver="one-dimensional", limit="95 degC", clock=points[:1])
