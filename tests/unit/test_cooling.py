"""Cooling side: descriptions, inputs, files, and operating points against sums by hand."""

import math

import numpy as np
import pytest
from scipy.optimize import brentq

import thermostack as ts
from thermostack.catalogue import fluid
from thermostack.model import model_of
from thermostack.operating import operate, to_limit
from thermostack.solvers.series import one_dimensional
from thermostack.stack.files import from_toml, to_toml

SIDE = ("30 mm", "20 mm")
AREA = 600e-6
METAL, CHIP = ts.Material.of("plain metal", 250.0), ts.Material.of("plain chip", 110.0)
R_SOLID = (0.8e-3 / 110 + 5e-6 + 3e-3 / 250) / AREA
PLATE = ts.ChannelPlate("0.2 mm", "0.2 mm", "2 mm", fin_conductivity="390 W/m/K", factor=1.0)
JETS = ts.JetPlate("0.8 mm", "4 mm", "3 mm", factor=1.0)
TOWER = ts.AirTower(50, "120 mm", "50 mm", "2 mm", "0.4 mm", 12, "6 mm", "0.03 K/W", factor=0.8)
RADIATOR = ts.Radiator(resistance="0.03 K/W", pump_heat="10 W")


def column(coolant, power="200 W", leakage=None, board=None, layers=None):
    """One footprint all through, so that resistances add up."""
    die = ts.Die("die", CHIP, "0.8 mm", SIDE, power, ts.Interface("joint", resistance="5 mm^2*K/W"), leakage=leakage)
    return ts.Stack("a column", die, layers or [ts.Layer("plate", METAL, "3 mm", SIDE)], coolant, board=board)


def solved(stack, values=None):
    model = model_of(stack)
    return operate(model, one_dimensional, None if values is None else model.values(values))


def die_mean(point):
    return point.coolant + point.probe("mean", "die")


def rate(flow, at, name="water"):
    p = fluid(name).at(at)
    return flow * float(p.density * p.heat_capacity)


FLOW = 4e-3 / 60

# -- films by hand


def test_a_channel_plate_by_hand():
    film = model_of(column(ts.Coolant("30 degC", model=PLATE, flow="4 L/min", reference="mean"))).film()
    p = fluid("water").at(303.15)
    nu, pr, k = float(p.kinematic_viscosity), float(p.prandtl), float(p.conductivity)
    velocity = FLOW / (0.020 / 0.4e-3 * 0.2e-3 * 2e-3)
    D = 2 * 0.2e-3 * 2e-3 / 2.2e-3
    reynolds, a = velocity * D / nu, 0.1
    developed = 8.235 * (1 - 2.0421 * a + 3.0853 * a**2 - 2.4765 * a**3 + 1.0578 * a**4 - 0.1861 * a**5)
    shear = 24 * (1 - 1.3553 * a + 1.9467 * a**2 - 1.7012 * a**3 + 0.9564 * a**4 - 0.2537 * a**5)
    entry = 1.5 * 0.517 * (shear * reynolds * pr * D / 0.030) ** (1 / 3)
    h = (developed**5 + entry**5) ** 0.2 * k / D
    m = math.sqrt(2 * h / (390 * 0.2e-3)) * 2e-3
    whole = h * (0.2e-3 + 2 * math.tanh(m) / m * 2e-3) / 0.4e-3
    assert 1 / float(film.resistance) == pytest.approx(whole, rel=1e-9)
    assert float(film.figures["Reynolds number in the channels"][0]) == pytest.approx(reynolds, rel=1e-9)
    head = float(p.density) * velocity**2 / 2
    K = 0.6796 + 1.2197 * a + 3.3089 * a**2 - 9.5921 * a**3 + 8.9089 * a**4 - 2.9959 * a**5
    drop = (4 * shear / reynolds * 0.030 / D + K) * head
    assert float(film.figures["pressure drop, channels alone"][0]) == pytest.approx(drop, rel=1e-9)


def test_split_and_direction_of_channels():
    def film(**more):
        plate = ts.ChannelPlate("0.2 mm", "0.2 mm", "2 mm", fin_conductivity="390 W/m/K", factor=1.0, **more)
        return model_of(column(ts.Coolant("30 degC", model=plate, flow="4 L/min"))).film().figures

    whole, split, across = film(), film(split=True), film(along="y")
    reynolds = "Reynolds number in the channels"
    assert float(split[reynolds][0]) == pytest.approx(float(whole[reynolds][0]) / 2, rel=1e-3)  # another temperature
    assert float(across[reynolds][0]) == pytest.approx(float(whole[reynolds][0]) * 20 / 30, rel=1e-3)
    drop = "pressure drop, channels alone"
    assert float(split[drop][0]) < 0.26 * float(whole[drop][0])  # half the velocity over half the length


def test_a_jet_plate_by_hand():
    film = model_of(column(ts.Coolant("30 degC", model=JETS, flow="4 L/min", reference="mean"))).film()
    p = fluid("water").at(303.15)
    jets, f = AREA / 16e-6, math.pi * 0.8**2 / 4 / 16
    velocity = FLOW / (jets * math.pi * 0.8e-3**2 / 4)
    reynolds, height = velocity * 0.8e-3 / float(p.kinematic_viscosity), 3 / 0.8
    K = (1 + (height / (0.6 / math.sqrt(f))) ** 6) ** -0.05
    G = 2 * math.sqrt(f) * (1 - 2.2 * math.sqrt(f)) / (1 + 0.2 * (height - 6) * math.sqrt(f))
    h = K * G * reynolds ** (2 / 3) / 2 * float(p.prandtl) ** 0.42 * float(p.conductivity) / 0.8e-3
    assert 1 / float(film.resistance) == pytest.approx(h, rel=1e-9)


def test_an_air_tower_lies_where_towers_lie():
    coolant = ts.Coolant("24 degC", model=TOWER, flow="60 m^3/h", reference="ambient")
    film = model_of(column(coolant)).film()
    # common practice, no source: 0.09 to 0.20 K/W from lid to air
    assert 0.09 < float(film.figures["plate to air"][0]) < 0.20
    assert float(film.resistance) / AREA == pytest.approx(float(film.figures["plate to air"][0]), rel=1e-12)
    # the air can take no more than its own capacity rate
    assert float(film.figures["fins to air"][0]) > 1 / rate(60 / 3600, 297.15, "air")
    point = solved(column(coolant))
    assert float(point.coolant[0]) == 297.15
    assert float(point.coolant_outlet[0]) == pytest.approx(297.15 + 200 / rate(60 / 3600, 297.15, "air"), rel=1e-9)


def test_an_air_tower_by_hand():
    import ht

    film = model_of(column(ts.Coolant("24 degC", model=TOWER, flow="60 m^3/h", reference="ambient"))).film()
    p = fluid("air").at(297.15)
    velocity, D, a = 60 / 3600 / (50 * 0.002 * 0.120), 2 * 0.002 * 0.120 / 0.122, 2 / 120
    reynolds = velocity * D / float(p.kinematic_viscosity)
    developed = 8.235 * (1 - 2.0421 * a + 3.0853 * a**2 - 2.4765 * a**3 + 1.0578 * a**4 - 0.1861 * a**5)
    shear = 24 * (1 - 1.3553 * a + 1.9467 * a**2 - 1.7012 * a**3 + 0.9564 * a**4 - 0.2537 * a**5)
    entry = 1.5 * 0.517 * (shear * reynolds * float(p.prandtl) * D / 0.050) ** (1 / 3)
    h = (developed**5 + entry**5) ** 0.2 * float(p.conductivity) / D
    around = math.sqrt(0.120 * 0.050 / 12 / math.pi)
    k = (
        model_of(column(ts.Coolant("24 degC", model=TOWER, flow="60 m^3/h")))
        .inputs["coolant.fin_conductivity"]
        .value.si
    )
    efficiency = ht.fin_efficiency_Kern_Kraus(Do=0.006, D_fin=2 * around, t_fin=0.4e-3, k_fin=k, h=h)
    surface = 2 * 50 * (0.120 * 0.050 - 12 * math.pi * 0.003**2)
    C = rate(60 / 3600, 297.15, "air")
    to_air = 1 / (C * (1 - math.exp(-0.8 * efficiency * h * surface / C)))
    assert float(film.resistance) / AREA == pytest.approx(0.03 + to_air, rel=1e-6)


def test_the_film_has_the_properties_of_the_warmed_coolant():
    hot = ts.Radiator(resistance="0.15 K/W")
    stack = column(ts.Coolant("24 degC", model=JETS, flow="4 L/min", reference="ambient", radiator=hot))
    point = solved(stack)
    assert float(point.coolant[0]) > 297.15 + 25
    given = ts.Coolant((float(point.coolant[0]), "K"), model=JETS, flow="4 L/min", reference="mean")
    assert float(point.model.film().resistance) == pytest.approx(
        float(model_of(column(given)).film().resistance), rel=1e-9
    )


def test_warm_coolant_is_thin():
    def conductance(at, name):
        coolant = ts.Coolant(at, model=JETS, flow="8 L/min", fluid=name, reference="mean")
        with pytest.warns(ts.ThermostackWarning) if name != "water" else nothing():
            return 1 / float(model_of(column(coolant)).film().resistance)

    assert conductance("60 degC", "water") > 1.1 * conductance("25 degC", "water")
    assert conductance("25 degC", "water-glycol 50 %") < 0.6 * conductance("25 degC", "water")


class nothing:  # noqa: N801
    def __enter__(self):
        pass

    def __exit__(self, *_):
        pass


# -- where the temperature is read


def test_inlet_and_mean():
    C = rate(FLOW, 298.15)
    inlet = solved(column(ts.Coolant("25 degC", model=PLATE, flow="4 L/min")))
    assert float(inlet.coolant_inlet[0]) == 298.15
    assert float(inlet.coolant[0]) == pytest.approx(298.15 + 200 / (2 * C), rel=1e-12)
    assert float(inlet.coolant_outlet[0]) == pytest.approx(298.15 + 200 / C, rel=1e-12)
    mean = solved(column(ts.Coolant("25 degC", model=PLATE, flow="4 L/min", reference="mean")))
    assert float(mean.coolant[0]) == 298.15
    assert float(mean.coolant_inlet[0]) == pytest.approx(298.15 - 200 / (2 * C), rel=1e-12)
    rise = 200 * (R_SOLID + float(model_of(mean.model.stack).film().resistance) / AREA)
    assert float(die_mean(mean)[0]) == pytest.approx(298.15 + rise, rel=1e-9)


def test_a_figure_refers_to_where_the_temperature_is_read():
    for reference in ("inlet", "mean", "ambient"):
        plain = solved(column(ts.Coolant("25 degC", conductance="30 kW/m^2/K", reference=reference)))
        flowing = solved(column(ts.Coolant("25 degC", conductance="30 kW/m^2/K", reference=reference, flow="4 L/min")))
        assert float(die_mean(plain)[0]) == float(die_mean(flowing)[0])


def test_sensors_in_the_loop():
    coolant = ts.Coolant("25 degC", model=PLATE, flow="4 L/min", reference="ambient", radiator=RADIATOR)
    stack = column(coolant)
    stack = ts.Stack(stack.name, stack.dies, stack.layers, coolant,
                     sensors=[ts.Sensor("in", "coolant"), ts.Sensor("out", "coolant outlet")])  # fmt: skip
    read = {name: float(t[0]) for name, _, t in solved(stack).readings()}
    assert read["out"] == pytest.approx(298.15 + 0.03 * 210, rel=1e-12)
    assert read["in"] == pytest.approx(read["out"] - 200 / rate(FLOW, 298.15), rel=1e-12)
    without = ts.Stack("s", stack.dies, stack.layers, ts.Coolant("25 degC", conductance="30 kW/m^2/K"),
                       sensors=[ts.Sensor("out", "coolant outlet")])  # fmt: skip
    with pytest.raises(ts.UnknownNameError, match="coolant outlet"):
        model_of(without)


# -- a loop with a radiator: everything is a straight line over the power


def looped(power="200 W", **more):
    coolant = ts.Coolant("24 degC", conductance="40 kW/m^2/K", flow="4 L/min", reference="ambient", radiator=RADIATOR)
    return column(coolant, power, **more)


R_FILM = 1 / 40e3 / AREA
R_LOOP = 0.03 - 1 / rate(FLOW, 297.15)
AIR = 297.15 + 0.03 * 10


def test_a_radiator_by_hand():
    point = solved(looped())
    assert float(point.coolant[0]) == pytest.approx(AIR + 200 * R_LOOP, rel=1e-12)
    assert float(die_mean(point)[0]) == pytest.approx(AIR + 200 * (R_LOOP + R_SOLID + R_FILM), rel=1e-12)
    assert float(point.coolant_outlet[0]) == pytest.approx(297.15 + 0.03 * 210, rel=1e-12)
    powers = np.array([50.0, 100.0, 300.0])
    swept = solved(looped(), {"die.power": powers})
    np.testing.assert_allclose(swept.coolant, AIR + powers * R_LOOP, rtol=1e-12)


def test_headroom_counts_the_coolant():
    limit = 273.15 + 90
    expected = (limit - AIR) / (R_LOOP + R_SOLID + R_FILM)
    assert float(to_limit(solved(looped()), one_dimensional, limit)[0]) == pytest.approx(expected, abs=1e-3)
    prediction = ts.predict(looped(), solver="one-dimensional")
    assert float(prediction.headroom("90 degC").magnitude) == pytest.approx(expected - 200, abs=1e-3)
    # a limit below the coolant as it is at this power, but above the air: less power reaches it
    low = prediction.headroom("28 degC")
    assert float(low.magnitude) == pytest.approx((301.15 - AIR) / (R_LOOP + R_SOLID + R_FILM) - 200, abs=1e-3)


def test_headroom_in_a_loop_needs_no_more_solves_than_elsewhere():
    calls = []

    def counted(graph, arrays):
        calls.append(1)
        return one_dimensional(graph, arrays)

    def solves(stack):
        point = solved(stack)
        calls.clear()
        to_limit(point, counted, 273.15 + 90)
        return len(calls)

    assert solves(looped()) == solves(column(ts.Coolant("24 degC", conductance="40 kW/m^2/K")))


def test_radiator_by_effectiveness():
    coolant = ts.Coolant("24 degC", conductance="40 kW/m^2/K", flow="4 L/min", reference="ambient",
                         radiator=ts.Radiator(conductance="60 W/K", air_flow="120 m^3/h"))  # fmt: skip
    point = solved(column(coolant))
    C, air = rate(FLOW, 297.15), rate(120 / 3600, 297.15, "air")
    import ht

    effectiveness = ht.effectiveness_from_NTU(NTU=60 / air, Cr=air / C, subtype="crossflow")
    assert float(point.coolant_outlet[0]) == pytest.approx(297.15 + 200 / (effectiveness * air), rel=1e-9)
    more = solved(column(coolant), {"coolant.radiator_air_flow": np.array([60, 120, 240]) / 3600})
    assert np.all(np.diff(more.coolant) < 0)


LEAK = ts.Leakage("40 W", "70 degC", "50 K")


def test_leakage_together_with_a_radiator():
    R = R_LOOP + R_SOLID + R_FILM

    def power(T):
        return 200 - 40 + 40 * math.exp((T - 343.15) / 50)

    T = brentq(lambda T: AIR + R * power(T) - T, AIR, 343.15)
    point = solved(looped(leakage=LEAK))
    assert float(die_mean(point)[0]) == pytest.approx(T, abs=1e-5)
    assert float(point.total[0]) == pytest.approx(power(T), abs=1e-5)
    assert float(point.coolant[0]) == pytest.approx(AIR + R_LOOP * power(T), abs=1e-5)


def test_a_loop_can_make_a_die_run_away():
    # each watt of leakage warms the die by R, of which more than half is the loop's: dP/dT = 8 W/K at most 1/R
    leak = ts.Leakage("150 W", "30 degC", "20 K", "linear")
    slope = 150 / 20
    R = R_LOOP + R_SOLID + R_FILM
    assert slope * R < 1
    solved(looped(leakage=leak))
    weak = ts.Coolant("24 degC", conductance="40 kW/m^2/K", flow="4 L/min", reference="ambient",
                      radiator=ts.Radiator(resistance="0.09 K/W"))  # fmt: skip
    assert slope * (R + 0.06) > 1 > slope * (R_SOLID + R_FILM)
    with pytest.raises(ts.SolveError, match="runs away"):
        solved(column(weak, leakage=leak))


def test_a_board_of_its_own_temperature_beside_a_radiator():
    point = solved(looped(board=ts.Board("2 K/W", "60 degC")))
    # T = coolant + up (R_solid + R_film), coolant = AIR + up R_loop, up = P - (T - 333.15)/2
    R = R_LOOP + R_SOLID + R_FILM
    up = (200 + (333.15 - AIR) / 2) / (1 + R / 2)
    assert float(point.coolant[0]) == pytest.approx(AIR + R_LOOP * up, abs=2e-4)
    assert float(die_mean(point)[0]) == pytest.approx(AIR + R * up, abs=2e-3)
    assert float(point.imbalance[0]) < 1e-9


def test_layered_and_one_dimensional_agree_with_a_radiator():
    first, second = (ts.predict(looped(), solver=name).mean for name in ("layered", "one-dimensional"))
    assert float(first.magnitude) == pytest.approx(float(second.magnitude), abs=2e-3)


# -- the figure that contains the plate


def test_a_figure_that_contains_the_plate():
    paste = ts.Interface("paste", resistance="12 mm^2*K/W")
    coolant = ts.Coolant("24 degC", resistance="0.05 K/W", contains_plate=True)
    point = solved(column(coolant, layers=[ts.Layer("lid", METAL, "3 mm", SIDE), paste]))
    drops = {row.part: float(point.difference(row)[0]) for row in point.model.rows["die"]}
    by_hand = {"die": 0.8e-3 / 110 / AREA, "joint": 5e-6 / AREA, "lid": 3e-3 / 250 / AREA, "paste": 12e-6 / AREA,
               "coolant": 0.05}  # fmt: skip
    assert drops == pytest.approx({part: 200 * R for part, R in by_hand.items()}, rel=1e-9)
    straight = {row.part: float(point.one_dimensional(row)[0]) for row in point.model.rows["die"]}
    assert straight == pytest.approx(by_hand, rel=1e-9)
    rows = point.model.rows["die"]
    below = [float(point.below(row)[0]) for row in rows]
    assert below[1:] == pytest.approx([b - d for b, d in zip(below, drops.values(), strict=True)][:-1], rel=1e-9)
    prediction = ts.predict(point.model.stack)
    assert float(prediction.breakdown.rows[-1][5]) == pytest.approx(200 * sum(by_hand.values()), rel=1e-4)


def test_a_plate_counted_twice():
    coolant = ts.Coolant("24 degC", resistance="0.05 K/W", contains_plate=True)
    layers = [
        ts.Layer("lid", METAL, "3 mm", SIDE),
        ts.Interface("paste", "ceramic paste"),
        ts.Layer("plate", METAL, "3 mm", SIDE),
    ]
    with pytest.raises(ts.InputError, match=r"'plate' would be that plate a second time.*without\('plate'\)"):
        model_of(column(coolant, layers=layers))
    twice = column(coolant, layers=layers).without("plate")
    assert model_of(twice).rows["die"][-2].part == "paste"
    with pytest.raises(ts.InputError, match="lies on top"):
        model_of(column(ts.Coolant("24 degC", conductance="40 kW/m^2/K"), layers=layers[:2]))


# -- classes


def test_a_class_of_cooling():
    stack = column(ts.Coolant("24 degC", model="water block"))
    (entry,) = (e for e in stack.inputs() if e.path == "coolant.conductance")
    assert entry.assumed
    assert entry.value.si == 40e3
    assert entry.value.kind == "lognormal"
    assert float(solved(stack).junction_rise[0]) == pytest.approx(200 * (R_SOLID + R_FILM), rel=1e-9)
    own = stack.change("coolant.conductance", "30 kW/m^2/K")
    assert own.coolant.model is None
    assert from_toml(to_toml(stack)) == (stack,)
    tower = ts.Coolant("24 degC", model="air tower", reference="ambient")
    assert tower.whole
    whole = column(tower).change("coolant.resistance", "0.1 K/W").coolant
    assert (whole.model, whole.contains_plate) == (None, True)
    with pytest.raises(ts.InputError, match=r"water block is not meant for -150 °C.*0 °C to 60 °C"):
        solved(column(ts.Coolant("-150 degC", model="water block")))


def test_tables_of_coolants_and_coolers():
    assert {row[0] for row in ts.fluids().rows} == {"water", "water-glycol 30 %", "water-glycol 50 %", "water-propylene glycol 30 %", "air"}  # fmt: skip
    for row in ts.coolers().rows:
        assert 0 < row[1] < row[2] < row[3]
        assert row[7]


def test_what_the_cooling_does():
    table = ts.cooling(column(ts.Coolant("25 degC", model=ts.ChannelPlate("0.2 mm", "0.2 mm", "2 mm"), flow="4 L/min")))
    shown = {row[0]: (row[1], row[2]) for row in table.rows}
    assert shown["coolant out of the block"][0] == pytest.approx(25.72, abs=0.01)
    assert shown["conductance on the wetted area"][1] == "kW/m²/K"
    assert "coolant.factor 0.6 (x/ 1.4)" in str(table)
    assert ts.cooling(looped()).rows[0][1] == pytest.approx(40.0)


# -- inputs and sweeps


@pytest.mark.parametrize("model", [PLATE, JETS, TOWER], ids=lambda m: m.kind)
def test_every_size_is_an_input(model):
    air = model is TOWER
    stack = column(ts.Coolant("24 degC", model=model, flow="60 m^3/h" if air else "6 L/min"))
    inputs = {e.path: e for e in stack.inputs()}
    at_rest = float(solved(stack).junction_rise[0])
    for name in model.sizes:
        path = f"coolant.{name}"
        assert path in inputs
        other = inputs[path].value.si * 1.03
        changed = stack.change(
            path, ts.Value(inputs[path].value.magnitude * 1.03, inputs[path].value.unit, inputs[path].value.dimension)
        )
        sampled = solved(stack, {path: np.array([inputs[path].value.si, other])}).junction_rise
        assert sampled[0] == pytest.approx(at_rest, rel=1e-12)
        assert sampled[1] == pytest.approx(float(solved(changed).junction_rise[0]), rel=1e-12)
        assert abs(sampled[1] / at_rest - 1) > 1e-6, path
    assert inputs["coolant.flow"].scope == "run"


def test_sweep_over_flow_is_a_row_of_predictions():
    stack = column(ts.Coolant("25 degC", model=PLATE, flow="4 L/min"))
    swept = ts.sweep(stack, "coolant.flow", "1 L/min", "8 L/min", points=4, solver="one-dimensional")
    alone = [float(ts.predict(stack.change("coolant.flow", f"{flow} L/min"), solver="one-dimensional").junction.magnitude)
             for flow in swept.axes[0].shown]  # fmt: skip
    np.testing.assert_allclose(swept.junction, alone, rtol=1e-9)
    assert np.all(np.diff(swept.junction) < 0)
    assert swept.axes[0].unit == "L/min"


def test_what_is_not_told_is_assumed():
    stack = column(
        ts.Coolant("25 degC", model=ts.ChannelPlate("0.2 mm", "0.2 mm", "2 mm"), flow="4 L/min (sd 0.3 L/min)")
    )
    assumed = {e.path: str(e.value) for e in stack.inputs() if e.assumed}
    assert assumed["coolant.factor"] == "0.6 (x/ 1.4)"
    assert "coolant.fin_conductivity" in assumed
    assert float(stack.change("coolant.factor", 0.9).coolant.model.factor.si) == 0.9


# -- bad input


LOOP = {"conductance": "40 kW/m^2/K", "flow": "4 L/min"}
BAD = {
    "nothing": (lambda: ts.Coolant("26 degC"), "coolant: neither conductance, resistance nor model", "model='water block'"),
    "two": (lambda: ts.Coolant("26 degC", conductance="35 kW/m^2/K", model=PLATE, flow="4 L/min"), "conductance and model given", "one of them"),
    "asked": (lambda: ts.Coolant("26 degC", resistance="0.03 K/W"), "coolant.contains_plate: does 0.03 K/W contain the cold plate", "contains_plate=False"),
    "not asked": (lambda: ts.Coolant("26 degC", conductance="35 kW/m^2/K", contains_plate=True), "coolant.contains_plate", "nothing here"),
    "no flow": (lambda: ts.Coolant("26 degC", model=PLATE), "coolant.flow", "4 L/min"),
    "no wind": (lambda: ts.Coolant("26 degC", model=TOWER), "coolant.flow", "60 m^3/h"),
    "unit": (lambda: ts.Coolant("26 degC", model=PLATE, flow="4 L"), "coolant.flow: 'L' is not a unit of flow", "4 L/min"),
    "no number": (lambda: ts.Coolant("26 degC", model=PLATE, flow=4.0), "coolant.flow: 4.0 has no unit", "4 L/min"),
    "minus": (lambda: ts.Coolant("26 degC", model=PLATE, flow="-4 L/min"), "coolant.flow", "above zero"),
    "fluid": (lambda: ts.Coolant("26 degC", model=PLATE, flow="4 L/min", fluid="watr"), "coolant.fluid: no coolant is named 'watr'", "water"),
    "air in channels": (lambda: ts.Coolant("26 degC", model=PLATE, flow="4 L/min", fluid="air"), "coolant.fluid", "a liquid"),
    "water in a tower": (lambda: ts.Coolant("26 degC", model=TOWER, flow="60 m^3/h", fluid="water"), "coolant.fluid", "air"),
    "fluid at rest": (lambda: ts.Coolant("26 degC", conductance="35 kW/m^2/K", fluid="water"), "coolant.flow", "4 L/min"),
    "class": (lambda: ts.Coolant("26 degC", model="water blok"), "coolant.model: no cooling class is named 'water blok'", "water block"),
    "model": (lambda: ts.Coolant("26 degC", model=5), "coolant.model: 5 is no model", "ChannelPlate"),
    "thin air": (lambda: ts.Coolant("26 degC", model=PLATE, flow="4 L/min", reference="ambient"), "coolant.radiator", "Radiator("),
    "radiator inside": (lambda: ts.Coolant("26 degC", **LOOP, radiator=RADIATOR), "coolant.reference", "'ambient'"),
    "radiator of a tower": (lambda: ts.Coolant("26 degC", model=TOWER, flow="60 m^3/h", radiator=RADIATOR, reference="ambient"), "coolant.radiator", "no radiator"),
    "radiator by halves": (lambda: ts.Radiator(conductance="60 W/K"), "coolant.radiator", "air_flow="),
    "radiator twice": (lambda: ts.Radiator(conductance="60 W/K", air_flow="60 m^3/h", resistance="0.03 K/W"), "coolant.radiator", "air_flow="),
    "gap": (lambda: ts.ChannelPlate("0 mm", "0.2 mm", "2 mm"), "coolant.gap", "above zero"),
    "fin unit": (lambda: ts.ChannelPlate("0.2 mm", "0.2 mm", "2 W"), "coolant.fin_height: 'W' is not a unit of length", "mm"),
    "along": (lambda: ts.ChannelPlate("0.2 mm", "0.2 mm", "2 mm", along="z"), "coolant.along", "'x' or 'y'"),
    "split": (lambda: ts.ChannelPlate("0.2 mm", "0.2 mm", "2 mm", split="yes"), "coolant.split", "True or False"),
    "huge fin": (lambda: ts.AirTower(50, "120 m", "50 mm", "2 mm", "0.4 mm", 12, "6 mm", "0.03 K/W"), "coolant.fin_width", "120 mm"),
    "no pipes": (lambda: ts.AirTower(50, "120 mm", "50 mm", "2 mm", "0.4 mm", 0.0, "6 mm", "0.03 K/W"), "coolant.pipes", "1 or more"),
    "freezes": (lambda: solved(column(ts.Coolant("-5 degC", model=PLATE, flow="4 L/min"))), "coolant.temperature: water freezes at -5 °C", "water-glycol 30 %"),
    "boils": (lambda: solved(column(ts.Coolant("100.5 degC", model=PLATE, flow="4 L/min"))), "coolant.temperature: water boils at 100.5 °C", "99.9 °C"),
    "boils in the loop": (lambda: solved(looped("4 kW")), "coolant.temperature: water boils at 144.3 °C", "99.9 °C"),
    "jets too near": (
        lambda: solved(column(ts.Coolant("25 degC", model=ts.JetPlate("2 mm", "3 mm", "8 mm"), flow="20 L/min"))),
        "coolant.open_area: 0.349066 cannot be used",
        "0.004 to 0.04",
    ),
    "torrent": (lambda: solved(column(ts.Coolant("25 degC", model=PLATE, flow="1e6 L/min"))), "coolant.reynolds", "5e+06"),
    "radiator too good": (
        lambda: solved(column(ts.Coolant("25 degC", **LOOP, reference="ambient", radiator=ts.Radiator(resistance="0.003 K/W")))),
        "coolant.radiator_resistance: the coolant would leave it colder than the air",
        "more flow",
    ),
    "no such size": (lambda: column(ts.Coolant("25 degC", model=PLATE, flow="4 L/min")).change("coolant.pitch", "3 mm"), "coolant.pitch: the coolant has no pitch", "a model that has it"),
    "no radiator": (lambda: column(ts.Coolant("25 degC", model=PLATE, flow="4 L/min")).change("coolant.radiator_air_flow", "60 m^3/h"), "the coolant has no radiator", "Radiator("),
}  # fmt: skip


@pytest.mark.parametrize(("make", "problem", "right"), BAD.values(), ids=BAD.keys())
def test_a_coolant_that_cannot_be(make, problem, right):
    with pytest.raises(ts.InputError) as caught:
        make()
    assert problem in str(caught.value)
    assert right in str(caught.value)


def test_slow_jets_are_warned_of_with_the_range():
    with pytest.warns(
        ts.ThermostackWarning, match=r"reynolds = 5\d\d.* lies outside 2000 to 100000, where Martin's jet array"
    ):
        solved(column(ts.Coolant("25 degC", model=ts.JetPlate("0.8 mm", "4 mm", "3 mm"), flow="0.66 L/min")))


# -- files


COOLANTS = {
    "channel plate": ts.Coolant("26 degC", model=ts.ChannelPlate("0.2 mm", "0.15 .. 0.2 mm", "2 mm (sd 0.1 mm)", split=True, along="y"), flow="4(1) L/min"),
    "jet plate": ts.Coolant("26 degC", model=JETS, flow="4 L/min", fluid="water-glycol 30 %", wetted=("10 mm", "10 mm"), reference="mean"),
    "air tower": ts.Coolant("26 degC", model=TOWER, flow="60 m^3/h (x/ 1.1)", reference="ambient"),
    "radiator": ts.Coolant("26 degC", **LOOP, reference="ambient", radiator=RADIATOR),
    "fans": ts.Coolant("26 degC", model=PLATE, flow="4 L/min", reference="ambient", radiator=ts.Radiator(conductance="60 W/K (sd 5 W/K)", air_flow="120 m^3/h")),
    "plate inside": ts.Coolant("26 degC", resistance="0.03 K/W", contains_plate=True),
    "class": ts.Coolant("-185 degC", model="boiling nitrogen pot"),
}  # fmt: skip


@pytest.mark.parametrize("coolant", COOLANTS.values(), ids=COOLANTS.keys())
def test_coolants_make_the_round_trip(coolant):
    stack = column(ts.Coolant("20 degC", conductance="30 kW/m^2/K"))
    cooled = column(coolant)
    mod = stack.replace("coolant", coolant).named("other cooling")
    assert from_toml(to_toml(cooled)) == (cooled,)
    assert from_toml(to_toml(stack, mod)) == (stack, mod)
    assert from_toml(to_toml(cooled))[0].inputs() == cooled.inputs()
    assert "coolant" in str(cooled.table)


TEXT = """name = "part"
[[die]]
name = "die"
material = "silicon"
thickness = "0.7 mm"
footprint = ["10 mm", "10 mm"]
power = "100 W"
[[layer]]
name = "plate"
material = "copper"
thickness = "3 mm"
footprint = ["30 mm", "30 mm"]
[coolant]
temperature = "26 degC"
flow = "4 L/min"
[coolant.model]
kind = "channel plate"
gap = "0.2 mm"
fin_thickness = "0.2 mm"
fin_height = "2 mm"
"""


@pytest.mark.parametrize(
    ("old", "new", "line", "words"),
    [
        ('kind = "channel plate"', 'kind = "channel plat"', 17, ["no model of cooling is named 'channel plat'", "channel plate"]),
        ('kind = "channel plate"\n', "", 16, ["coolant.model.kind", "'kind' is missing", 'kind = "channel plate"']),
        ('gap = "0.2 mm"\n', "", 16, ["coolant.gap", "'gap' is missing", 'gap = "0.2 mm"']),
        ('gap = "0.2 mm"', 'gap = "0.2"', 18, ["coolant.gap", "has no unit"]),
        ('fin_height = "2 mm"', 'fin_heigth = "2 mm"', 20, ["unknown key 'fin_heigth'", "fin_height"]),
        ('flow = "4 L/min"', 'flow = "4 mm"', 15, ["coolant.flow", "not a unit of flow"]),
        ('flow = "4 L/min"', 'flow = "4 L/min"\nradiator = "big"', 16, ["is not a table", 'radiator = { resistance = "0.03 K/W" }']),
        ('flow = "4 L/min"', 'flow = "4 L/min"\nfluid = 3', 16, ["coolant.fluid"]),
    ],
)  # fmt: skip
def test_a_file_that_is_wrong_names_the_line(old, new, line, words):
    assert TEXT.count(old) == 1
    with pytest.raises(ts.FileError) as caught:
        from_toml(TEXT.replace(old, new), "part.toml")
    said = str(caught.value)
    assert f"line {line}" in said, said
    for word in words:
        assert word in said


def test_the_file_reads():
    (stack,) = from_toml(TEXT)
    assert stack.coolant.model.kind == "channel plate"
    assert stack.coolant.fluid == "water"


def test_pictures_of_a_stack_with_a_model():
    from matplotlib import pyplot as plt

    from thermostack import plots

    paste = ts.Interface("paste", resistance="12 mm^2*K/W")
    whole = column(
        ts.Coolant("24 degC", resistance="0.05 K/W", contains_plate=True),
        layers=[ts.Layer("lid", METAL, "3 mm", SIDE), paste],
    )
    for stack, word in ((column(COOLANTS["channel plate"]), "channel plate"), (whole, "0.05 K/W")):
        prediction = ts.predict(stack)
        assert "coolant" in str(prediction)
        prediction.plot()
        plots.profile(prediction)
        drawn = " ".join(text.get_text() for text in plots.cross_section(prediction).texts)
        assert word in drawn
        assert "paste" in drawn or stack is not whole
    plt.close("all")
