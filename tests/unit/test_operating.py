"""Operating point against roads of its own: hand sums, quadrature of k(T), scalar roots of leakage."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.optimize import brentq

import thermostack as ts
from thermostack.catalogue import TemperatureLaw
from thermostack.laws.flux_channel import rectangle_on_flux_channel
from thermostack.laws.kirchhoff import kirchhoff_linear, kirchhoff_power
from thermostack.laws.leakage import exponential_leakage, linear_leakage
from thermostack.model import model_of
from thermostack.operating import TOLERANCE, operate, to_limit
from thermostack.solvers.graph import Response
from thermostack.solvers.series import one_dimensional

SIDE = ("12 mm", "10 mm")
AREA = 120e-6
T_C = 298.15
PLAIN = ts.Material.of("plain metal", 250.0)
CHIP = ts.Material.of("plain chip", 110.0)
LAWS = {
    "power": TemperatureLaw("power", exponent=-1.3),
    "inverse": TemperatureLaw("power", exponent=-1.0),
    "linear": TemperatureLaw("linear", slope=-2e-3),
}


def column(power="100 W", *, material=CHIP, plate=PLAIN, leakage=None, h="60 kW/m^2/K", board=None):
    """One footprint all through: t/k of die, joint, plate and film in series."""
    die = ts.Die(
        "die", material, "0.8 mm", SIDE, power, ts.Interface("joint", resistance="5 mm^2*K/W"), leakage=leakage
    )
    return ts.Stack("a column", die, [ts.Layer("plate", plate, "3 mm", SIDE)],
                    ts.Coolant("25 degC", conductance=h), board=board)  # fmt: skip


def point_of(stack, **more):
    return operate(model_of(stack), one_dimensional, **more)


def mean(point):
    return float(point.probe("mean", "die")[0])


R_JOINT, R_PLATE, R_FILM = 5e-6 / AREA, 3e-3 / 250 / AREA, 1 / 60e3 / AREA
R_ABOVE = R_JOINT + R_PLATE + R_FILM
R_COLUMN = 0.8e-3 / 110 / AREA + R_ABOVE

# -- one dimension


def test_a_column_is_a_sum():
    point = point_of(column())
    assert mean(point) == pytest.approx(100 * R_COLUMN, rel=1e-12)
    assert float(point.probe("centre", "die")[0]) == pytest.approx(100 * R_COLUMN, rel=1e-12)
    rows = point.model.rows["die"]
    parts = {row.part: float(point.difference(row)[0]) / 100 for row in rows}
    by_hand = {"die": 0.8e-3 / 110 / AREA, "joint": R_JOINT, "plate": R_PLATE, "coolant": R_FILM}
    assert parts == pytest.approx(by_hand, rel=1e-12)
    assert {row.part: float(point.one_dimensional(row)[0]) for row in rows} == pytest.approx(by_hand, rel=1e-12)
    assert point.imbalance[0] < 1e-14
    assert point.error[0].max() == 0


def test_one_step_in_width_is_the_flux_channel():
    die = ts.Die("die", CHIP, "0.8 mm", SIDE, "100 W", ts.Interface("joint", resistance="5 mm^2*K/W"),
                 centre=("3 mm", "-2 mm"))  # fmt: skip
    stack = ts.Stack("step", die, [ts.Layer("plate", PLAIN, "3 mm", ("30 mm", "20 mm"))],
                     ts.Coolant("25 degC", conductance="20 kW/m^2/K"))  # fmt: skip
    point = point_of(stack)
    law = rectangle_on_flux_channel([0.03, 0.02], [0.012, 0.010], [0.018, 0.008], 3e-3, 250.0, 20e3)
    below = 0.8e-3 / 110 / AREA + R_JOINT
    assert mean(point) == pytest.approx(100 * (below + float(law.mean)), rel=1e-9)
    assert float(point.junction_rise[0]) == pytest.approx(100 * (below + float(law.centre)), rel=1e-9)
    plate = next(row for row in point.model.rows["die"] if row.part == "plate")
    straight = 3e-3 / 250 / (0.03 * 0.02)
    assert float(point.one_dimensional(plate)[0]) == pytest.approx(straight, rel=1e-12)
    assert float(point.difference(plate)[0]) == pytest.approx(100 * (straight + float(law.spreading_mean)), rel=1e-9)
    assert float(point.below(plate)[0]) == pytest.approx(100 * float(law.mean), rel=1e-9)


def test_a_narrow_plate_constricts():
    """Heat that enters a wide lid evenly and leaves it over less: the same channel turned round."""
    wide = ts.Die("die", CHIP, "0.8 mm", ("30 mm", "20 mm"), "100 W", ts.Interface("joint", resistance="5 mm^2*K/W"))
    stack = ts.Stack("narrow", wide, [ts.Layer("lid", PLAIN, "3 mm", ("30 mm", "20 mm")),
                     ts.Interface("paste", resistance="9 mm^2*K/W"), ts.Layer("plate", PLAIN, "4 mm", SIDE)],
                     ts.Coolant("25 degC", conductance="20 kW/m^2/K"))  # fmt: skip
    turned = rectangle_on_flux_channel(
        [0.03, 0.02],
        [0.012, 0.010],
        None,
        [3e-3, 0.8e-3],
        [250.0, 110.0],
        1.0,
        r_above=[5e-6, 0.0],
        far_face="uniform flux",
    )
    straight = (0.8e-3 / 110 + 5e-6 + 3e-3 / 250) / 600e-6 + (9e-6 + 4e-3 / 250 + 1 / 20e3) / AREA
    point = point_of(stack)
    assert mean(point) == pytest.approx(100 * (straight + float(turned.spreading_mean)), rel=1e-9)
    assert float(turned.spreading_mean) > 0.02 * straight


def test_linear_in_power_where_nothing_depends_on_temperature():
    one, three = point_of(column()), point_of(column("300 W"))
    assert three.rise == pytest.approx(3 * one.rise, rel=1e-12)


def test_heat_balance_with_a_board():
    for temperature in (None, "60 degC"):
        point = point_of(column(board=ts.Board("1 K/W", temperature)))
        assert point.imbalance[0] < 1e-12
        assert 0 < abs(point.board_share[0]) < 1


# -- conductivity that depends on temperature


def bottom(law, k300, flux, thickness, top):
    """Temperature where heat enters a slab: ∫ k dT from its top equals flux times thickness, by quadrature."""

    def k(T):
        return k300 * ((T / 300) ** law.exponent if law.kind == "power" else 1 + law.slope * (T - 300))

    return brentq(lambda T: quad(k, top, T, epsabs=0, epsrel=1e-12)[0] - flux * thickness, top, top + 400, xtol=1e-11)


@pytest.mark.parametrize("power", [20.0, 150.0, 400.0])
@pytest.mark.parametrize("law", LAWS.values(), ids=LAWS.keys())
def test_a_die_of_any_law_is_exact(law, power):
    material = ts.Material.of("bent chip", 110.0, law=law)
    point = point_of(column(f"{power} W", material=material))
    top = T_C + power * R_ABOVE
    exact = bottom(law, 110.0, power / AREA, 0.8e-3, top) - T_C
    assert mean(point) == pytest.approx(exact, rel=1e-6)
    assert abs(exact - power * R_COLUMN) > 2e-4 * exact, "the law matters"


def test_a_layer_has_the_conductivity_of_its_mean():
    """A plate's k at the mean of its faces is exact for a linear law, and off by (ΔT/T)² for others."""
    law = LAWS["linear"]
    point = point_of(column("300 W", plate=ts.Material.of("bent metal", 250.0, law=law)))
    top = T_C + 300 * R_FILM
    under_plate = bottom(law, 250.0, 300 / AREA, 3e-3, top)
    exact = under_plate - T_C + 300 * (R_JOINT + 0.8e-3 / 110 / AREA)
    assert mean(point) == pytest.approx(exact, rel=TOLERANCE)
    assert abs(exact - 300 * R_COLUMN) > 1e-2 * exact, "the law matters"


@given(st.floats(250, 450), st.floats(-20, 60), st.floats(-2.5, 1.5))
def test_kirchhoff_power_against_quadrature(reference, step, exponent):
    reached = float(kirchhoff_power(reference, step, exponent))
    assert quad(lambda T: (T / reference) ** exponent, reference, reached, epsrel=1e-12)[0] == pytest.approx(
        step, rel=1e-9, abs=1e-9
    )


@given(st.floats(250, 450), st.floats(-20, 60), st.floats(-6e-3, 6e-3))
def test_kirchhoff_linear_against_quadrature(reference, step, slope):
    reached = float(kirchhoff_linear(reference, step, slope))
    integral = quad(lambda T: 1 + slope * (T - reference), reference, reached, epsrel=1e-12)[0]
    assert integral == pytest.approx(step, rel=1e-9, abs=1e-9)


def test_kirchhoff_limits():
    assert kirchhoff_power(330.0, 20.0, 0.0) == pytest.approx(350.0, rel=1e-14)
    assert kirchhoff_linear(330.0, 20.0, 0.0) == pytest.approx(350.0, rel=1e-14)
    near = float(kirchhoff_power(330.0, 20.0, -1 + 1e-7))
    assert float(kirchhoff_power(330.0, 20.0, -1.0)) == pytest.approx(near, rel=1e-7)
    with pytest.raises(ts.InputError, match="beyond what the solid can carry"):
        kirchhoff_power(300.0, 600.0, -1.6)
    with pytest.raises(ts.InputError, match="falls to zero"):
        kirchhoff_linear(300.0, 130.0, -4e-3)


# -- leakage


def test_leakage_laws_are_the_solution_and_its_tangent():
    at = exponential_leakage(np.array([330.0, 385.0]), 40.0, 330.0, 55.0)
    assert at == pytest.approx([40.0, 40 * math.e], rel=1e-14)
    # dP/dT = P/T_e, by a central difference, and the linear law's slope is that at T_0
    step = 1e-3
    slope = np.diff(exponential_leakage(np.array([329.999, 330.001]), 40.0, 330.0, 55.0))[0] / (2 * step)
    line = np.diff(linear_leakage(np.array([320.0, 340.0]), 40.0, 330.0, 55.0))[0] / 20
    assert slope == pytest.approx(40 / 55, rel=1e-8)
    assert line == pytest.approx(40 / 55, rel=1e-12)
    assert linear_leakage(330.0, 40.0, 330.0, 55.0) == pytest.approx(40.0)


def leaking(power, leak, *, law="exponential", at="60 degC", e_fold="50 K", **more):
    return column(f"{power} W", leakage=ts.Leakage(f"{leak:.15g} W", at, e_fold, law), **more)


def root_of(power, leak, law, resistance, at=333.15, e_fold=50.0):
    def leaks(T):
        return leak * (math.exp((T - at) / e_fold) if law == "exponential" else 1 + (T - at) / e_fold)

    def off(T):
        return T_C + resistance * (power - leak + leaks(T)) - T

    highest = at + e_fold * math.log(e_fold / (resistance * leak)) if law == "exponential" else 1e5
    stable = brentq(off, T_C - 200, highest, xtol=1e-11)
    return stable, power - leak + leaks(stable)


@pytest.mark.parametrize("law", ["exponential", "linear"])
@pytest.mark.parametrize(("power", "leak"), [(60.0, 15.0), (100.0, 30.0), (150.0, 20.0)])
def test_leakage_against_a_scalar_root(law, power, leak):
    point = point_of(leaking(power, leak, law=law))
    temperature, total = root_of(power, leak, law, R_COLUMN)
    assert T_C + mean(point) == pytest.approx(temperature, abs=1e-6)
    assert float(point.total[0]) == pytest.approx(total, rel=1e-8)
    assert float(point.die_power("die")[0]) == pytest.approx(total, rel=1e-8)
    assert abs(total - power) > 0.5, "the leakage matters"
    assert point.imbalance[0] < 1e-12


def test_leakage_together_with_a_conductivity_that_falls():
    law = LAWS["power"]
    point = point_of(leaking(150.0, 30.0, material=ts.Material.of("bent chip", 110.0, law=law)))

    def at_power(total):
        return bottom(law, 110.0, total / AREA, 0.8e-3, T_C + total * R_ABOVE)

    total = brentq(lambda P: 150 - 30 + 30 * math.exp((at_power(P) - 333.15) / 50) - P, 50, 220, xtol=1e-11)
    assert float(point.total[0]) == pytest.approx(total, rel=TOLERANCE)
    assert mean(point) == pytest.approx(at_power(total) - T_C, rel=TOLERANCE)


def largest_leakage(power):
    """Leakage for which line and exponential touch: R P_l(T)/T_e = 1 at the root."""

    def off(leak):
        touching = 333.15 + 50 * math.log(50 / (R_COLUMN * leak))
        return T_C + R_COLUMN * (power - leak) + 50 - touching

    return brentq(off, 1e-3, power)


@pytest.mark.parametrize("power", [150.0, 220.0])
def test_runaway_exponential(power):
    """The stable point ends where the loop gain reaches one."""
    most = largest_leakage(power)
    assert most < power, "a leakage that can be described"
    point = point_of(leaking(power, most * 0.9999))
    leaks = float(point.total[0]) - power + most * 0.9999
    assert 0.97 < R_COLUMN * leaks / 50 < 1, "just below"
    with pytest.raises(ts.SolveError, match="runs away"):
        point_of(leaking(power, most * 1.0001))


def test_runaway_linear():
    most = 50 / R_COLUMN  # gain R P0/T_e = 1
    kept = 1.5 * most
    at = f"{25 + R_COLUMN * kept:.15g} degC"  # where the described power brings the die
    assert float(point_of(leaking(kept, 0.999 * most, law="linear", at=at)).total[0]) == pytest.approx(kept, rel=1e-6)
    with pytest.raises(ts.SolveError, match="runs away"):
        point_of(leaking(kept, 1.001 * most, law="linear", at=at))


@given(st.floats(1, 900), st.floats(0.05, 1.0), st.floats(0.5, 80), st.floats(-20, 120))
@settings(deadline=None, max_examples=60)
def test_leakage_settles_or_says_that_it_runs_away(power, share, e_fold, at):
    """Whatever is described: a point that satisfies the law, or a clear error; never anything else."""
    leak = power * share
    stack = leaking(f"{power:.15g}", leak * (1 - 1e-12), at=f"{at:.15g} degC", e_fold=f"{e_fold:.15g} K")
    try:
        point = point_of(stack)
    except ts.SolveError as caught:
        told = str(caught)
    else:
        told = ""
    if told:
        assert "runs away" in told
        return
    leaks = leak * math.exp((T_C + mean(point) - at - 273.15) / e_fold)
    assert float(point.total[0]) == pytest.approx(power - leak + leaks, rel=1e-6, abs=1e-9 * power)
    assert R_COLUMN * leaks / e_fold < 1 + 1e-6


def test_runaway_says_in_how_many_samples():
    model = model_of(leaking(100.0, 30.0))
    values = model.values({"coolant.conductance": np.array([90e3, 2e3, 1e3])})
    with pytest.raises(ts.SolveError, match=r"runs away in 2 of 3 samples"):
        operate(model, one_dimensional, values)


def two_dies():
    dies = [
        ts.Die(name, CHIP, "0.8 mm", ("8 mm", "8 mm"), power, ts.Interface(f"{name} joint", resistance="5 mm^2*K/W"),
               centre=(x, "0 mm"), leakage=ts.Leakage(leak, "60 degC", "50 K"))
        for name, power, leak, x in (("left", "80 W", "20 W", "-6 mm"), ("right", "50 W", "10 W", "6 mm"))
    ]  # fmt: skip
    return ts.Stack("two dies", dies, [ts.Layer("plate", PLAIN, "3 mm", ("30 mm", "20 mm"))],
                    ts.Coolant("25 degC", conductance="20 kW/m^2/K"))  # fmt: skip


def matrix_solver(own, other):
    """A solver with one mean rise a die: own and mutual resistance, and nothing else."""

    def solve(graph, arrays):
        of = [graph.block_of_slab[p.slab] for p in graph.probes]
        gain = np.array([[own if b == s.block else other for s in graph.sources] for b in of])
        return Response(gain[None], np.ones((1, len(graph.contacts), 2)), np.zeros((1, *gain.shape)), "matrix")

    return solve


def test_two_leaking_dies_against_a_root_of_two_unknowns():
    """Second road: plain fixed-point iteration to the last digit."""
    point = operate(model_of(two_dies()), matrix_solver(0.4, 0.15))
    T = np.full(2, T_C)
    for _ in range(2000):
        power = np.array([60.0, 40.0]) + np.array([20.0, 10.0]) * np.exp((T - 333.15) / 50)
        T = T_C + np.array([[0.4, 0.15], [0.15, 0.4]]) @ power
    assert point.power[0] == pytest.approx(power, rel=1e-8)
    assert [float(point.probe("mean", d)[0]) for d in ("left", "right")] == pytest.approx(T - T_C, rel=1e-8)
    with pytest.raises(ts.SolveError, match="runs away"):
        operate(model_of(two_dies()), matrix_solver(0.8, 0.7))


# -- the power at a limit


STACKS = {
    "plain": column,
    "bent": lambda: column(material=ts.Material.of("bent chip", 110.0, law=LAWS["power"])),
    "warm board": lambda: column(board=ts.Board("1 K/W", "60 degC")),
    "cold board": lambda: column(board=ts.Board("1 K/W", "-20 degC")),
    "leaking": lambda: leaking(100.0, 25.0),
    "leaking much": lambda: leaking(60.0, 30.0),
}


@pytest.mark.parametrize("limit", [320.0, 345.0, 366.0])
@pytest.mark.parametrize("make", STACKS.values(), ids=STACKS.keys())
def test_the_junction_is_at_the_limit_at_that_power(make, limit):
    """The total found, less what leaks more at the limit than where it is described, is the power to describe."""
    stack = make()
    point = point_of(stack)
    total = float(to_limit(point, one_dimensional, limit)[0])
    leakage = stack.dies[0].leakage
    more = 0.0 if leakage is None else leakage.power.si * math.expm1((limit - leakage.at.si) / leakage.e_fold.si)
    there = point_of(stack.change("die.power", f"{total - more:.15g} W"))
    assert T_C + float(there.junction_rise[0]) == pytest.approx(limit, abs=1e-3)
    assert float(there.total[0]) == pytest.approx(total, rel=1e-5)
    assert (total < float(point.total[0])) == (limit < T_C + float(point.junction_rise[0]))


def test_a_limit_that_is_passed_without_power():
    with pytest.raises(ts.SolveError, match="there is no power at which the junction is at 40"):
        to_limit(point_of(column(board=ts.Board("0.1 K/W", "90 degC"))), one_dimensional, 313.15)


def test_a_limit_beyond_runaway():
    with pytest.raises(ts.SolveError, match="no power was found"):
        to_limit(point_of(leaking(100.0, 30.0)), one_dimensional, 600.0)


def test_each_sample_to_its_limit():
    model = model_of(column())
    values = model.values({"coolant.conductance": np.array([10e3, 20e3, 40e3])})
    totals = to_limit(operate(model, one_dimensional, values), one_dimensional, 350.0)
    by_hand = [(350 - T_C) / (R_COLUMN - R_FILM + 1 / h / AREA) for h in (10e3, 20e3, 40e3)]
    assert totals == pytest.approx(by_hand, rel=1e-6)


def test_samples_that_run_away_are_told_apart(make):
    """Some samples of a batch run away: the others are what they are alone."""
    stack = make(leakage=ts.Leakage("50 W", "60 degC", "28 K"))
    model = model_of(stack)
    coolant = np.array([290.0, 375.0, 300.0])
    values = model.values({"coolant.temperature": coolant})
    with pytest.raises(ts.SolveError, match="runs away in 1 of 3 samples"):
        operate(model, one_dimensional, values)
    point = operate(model, one_dimensional, values, partial=True)
    assert point.settled.tolist() == [True, False, True]
    assert np.isnan(point.rise[1]).all()
    for i in (0, 2):
        alone = operate(model, one_dimensional, model.values({"coolant.temperature": coolant[i : i + 1]}))
        assert point.rise[i] == pytest.approx(alone.rise[0], rel=1e-5)


def test_a_sample_hotter_than_any_law_does_not_stop_the_others():
    """Far in the tails a die may reach thousands of kelvin, where a linear conductivity would be negative."""
    stack = ts.Stack(
        "part", ts.Die("die", "silicon", "0.7 mm", ("12 mm", "12 mm"), "200 W", joint=ts.Interface("joint", "indium solder")),
        [ts.Layer("plate", "copper", "3 mm", ("40 mm", "40 mm"))], ts.Coolant("25 degC", conductance="30 kW/m^2/K"),
    )  # fmt: skip
    model = model_of(stack)
    values = model.values({"coolant.conductance": np.array([3e4, 10.0, 3e4])})
    point = operate(model, one_dimensional, values, partial=True)
    assert point.settled.tolist() == [True, False, True]
    assert np.isnan(point.junction_rise[1])
    alone = operate(model, one_dimensional)
    assert point.junction_rise[[0, 2]] == pytest.approx(alone.junction_rise[0], rel=1e-12)
