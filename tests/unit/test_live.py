"""Quick answers: they are those of the layered solver within their stated error, and what is moved is described."""

import numpy as np
import pytest

import thermostack as ts
from thermostack.live import Quick, controls, moved
from thermostack.stack.paths import get_value


@pytest.fixture(scope="module")
def small():
    """Return a bare die with liquid metal, with few inputs to move."""
    die = ts.Die(
        "die", "silicon", "0.72 mm", ("12.4 mm", "17.6 mm"), "230 W",
        ts.Interface("liquid metal", "gallium alloy", bond_line="40 um (sd 8 um)"),
    )  # fmt: skip
    plate = ts.Layer("cold plate", "copper", "3 mm", footprint=("50 mm", "50 mm"))
    return ts.Stack("bare", die, [plate], ts.Coolant("26 degC", conductance="35 kW/m^2/K (x/ 1.2)"))


@pytest.fixture(scope="module")
def quick(small):
    """Return its quick answers, prepared."""
    made = Quick(small)
    assert made.prepare()
    return made


def celsius(prediction):
    return float(prediction.junction.magnitude)


def test_controls_hold_what_is_described(small):
    found = {c.path: c for c in controls(small)}
    assert set(found) == {
        "die.power", "die.thickness", "liquid metal.bond_line", "liquid metal.conductivity",
        "liquid metal.void_fraction", "coolant.temperature", "coolant.conductance",
    }  # fmt: skip
    for control in found.values():
        assert control.low <= control.described <= control.high
        assert control.low < control.high
    assert found["liquid metal.bond_line"].scale == "logarithmic"
    assert found["liquid metal.bond_line"].described == pytest.approx(40e-6)
    assert found["liquid metal.bond_line"].unit == "µm"
    assert found["liquid metal.bond_line"].read(40.0000001) == 40e-6  # four digits, as a slider has them


def test_a_joint_of_a_class_is_moved_by_its_typical_bond_line(relid):
    found = {c.path: c for c in controls(relid)}
    row = relid.part("liquid metal").interface.at("die to lid")
    assert found["liquid metal.bond_line"].described == pytest.approx(row.bond_line.typical)
    # described so it is the same stack: what the class is worth is bond line over conductivity and contact
    as_class, by_bond_line = ts.predict(relid), ts.predict(moved(relid, {"liquid metal.bond_line": 1.0001 * 30e-6}))
    assert celsius(by_bond_line) == pytest.approx(celsius(as_class), abs=2e-3)


def test_moving_nothing_changes_nothing(small, relid):
    for stack in (small, relid):
        assert moved(stack, {c.path: c.described for c in controls(stack)}) is stack
        assert moved(stack, {"no such part.power": 1.0}) is stack


def test_a_moved_input_keeps_its_spread_and_the_stack_its_label(small):
    there = moved(small, {"liquid metal.bond_line": 20e-6, "coolant.conductance": 20e3, "die.power": 115.0})
    assert str(get_value(there, "liquid metal.bond_line")) == "20 um (sd 4 um)"
    assert str(get_value(there, "coolant.conductance")) == "20 kW/m^2/K (x/ 1.2)"
    assert str(get_value(there, "die.power")) == "115 W"
    assert there.label == small.label


def test_before_it_is_ready_the_solver_answers(small):
    quick = Quick(small)
    prediction = quick.at({"die.power": 150.0})
    assert not quick.ready
    assert prediction.point.response.solver == "layered"
    exact = quick.exact({"die.power": 150.0})
    assert celsius(quick.at({"die.power": 150.0})) == pytest.approx(celsius(exact), abs=1e-4)


def test_every_end_of_every_control_is_within_the_stated_error(quick, small):
    for control in quick.controls:
        for end in (control.low, control.high):
            values = {control.path: end}
            told, exact = quick.at(values), ts.predict(moved(small, values))
            assert told.point.response.solver.startswith("emulator"), values
            assert abs(celsius(told) - celsius(exact)) < told.point.error[0].max(), values
            assert told.point.error[0].max() < 3e-3 * exact.point.junction_rise[0]


def test_anywhere_in_the_box(quick, small):
    generator = np.random.default_rng(7)
    within = 0
    for _ in range(12):
        values = {}
        for c in quick.controls:
            u = generator.random()
            values[c.path] = c.low * (c.high / c.low) ** u if c.low > 0 else c.low + (c.high - c.low) * u
        told, exact = quick.at(values), ts.predict(moved(small, values))
        off = abs(celsius(told) - celsius(exact))
        assert off < 5e-3 * exact.point.junction_rise[0]
        within += off < told.point.error[0].max()
        assert float(told.mean.magnitude) == pytest.approx(
            float(exact.mean.magnitude), abs=2e-3 * exact.point.junction_rise[0]
        )
    assert within >= 10  # two standard errors


def test_an_exact_answer_anchors_quick_ones(quick):
    values = {"die.thickness": 1.2e-3, "liquid metal.bond_line": 90e-6}
    before = celsius(quick.at(values))
    exact = quick.exact(values)
    after = celsius(quick.at(values))
    assert abs(after - celsius(exact)) <= abs(before - celsius(exact)) + 1e-3
    assert after == pytest.approx(celsius(exact), abs=1e-3 * exact.point.junction_rise[0])


def test_headroom_is_the_solvers(quick, small):
    for values in ({}, {"liquid metal.bond_line": 120e-6, "coolant.temperature": 313.15}):
        told = float(quick.at(values).headroom("95 degC").magnitude)
        exact = float(ts.predict(moved(small, values)).headroom("95 degC").magnitude)
        assert told == pytest.approx(exact, abs=2e-3 * (230 + exact))
    # only the die's power moves: the power at the limit stays where it is
    told = quick.at({"die.power": 300.0})
    exact = float(ts.predict(moved(small, {"die.power": 300.0})).headroom("95 degC").magnitude)
    assert float(told.headroom("95 degC").magnitude) == pytest.approx(exact, abs=2e-3 * (300 + exact))
    with pytest.raises(ts.InputError, match="not above the coolant"):
        quick.at({}).headroom("20 degC")


def test_a_curve_over_one_input_is_what_single_answers_are(quick):
    at = np.array([15e-6, 40e-6, 100e-6])
    values = {"die.power": 180.0}
    curve = quick.over("liquid metal.bond_line", at, values)
    for x, kelvin in zip(at, curve, strict=True):
        assert kelvin - 273.15 == pytest.approx(celsius(quick.at({**values, "liquid metal.bond_line": x})), abs=1e-9)


def test_outside_the_box_the_solver_itself_answers(quick):
    told = quick.at({"coolant.conductance": 3e3})
    assert told.point.response.solver == "layered"


def test_regions_stop_and_power_of_a_region():
    region = ts.Region("hot", "60 W", corner=("1 mm", "2 mm"), size=("3 mm", "4 mm"))
    die = ts.Die("die", "silicon", "0.72 mm", ("12.4 mm", "17.6 mm"), ts.PowerMap("200 W", [region]),
                 ts.Interface("liquid metal", "gallium alloy"))  # fmt: skip
    stack = ts.Stack("s", die, [ts.Layer("plate", "copper", "3 mm", ("50 mm", "50 mm"))],
                     ts.Coolant("26 degC", conductance="35 kW/m^2/K"))  # fmt: skip
    quick = Quick(stack, [c for c in controls(stack) if c.path in ("die.power", "coolant.conductance")])
    assert not quick.prepare(stop=lambda: True)
    assert not quick.ready
    told, exact = quick.at({"hot.power": 80.0}), ts.predict(stack.change("hot.power", "80 W"))
    assert celsius(told) == pytest.approx(celsius(exact), abs=0.02 * exact.point.junction_rise[0])
    assert celsius(told) > celsius(quick.at({})) + 1.0


# -- what presses a joint, and what cools


def cooled(coolant, **joint):
    """Return a lidded part with a paste of so many details under this cooling."""
    die = ts.Die("die", "silicon", "0.72 mm", ("12.4 mm", "17.6 mm"), "230 W", ts.Interface("solder", "indium solder"))
    layers = [ts.Layer("lid", "copper", "2.4 mm", ("36 mm", "36 mm")), ts.Interface("paste", "ceramic paste", **joint),
              ts.Layer("plate", "copper", "3 mm", ("50 mm", "50 mm"))]  # fmt: skip
    return ts.Stack("cooled", die, layers, coolant)


FIGURE = {"conductance": "35 kW/m^2/K"}
FINS = {"model": ts.ChannelPlate("0.3 mm", "0.2 mm", "2 mm"), "flow": "3 L/min", "wetted": ("36 mm", "36 mm")}
PRESSED = {"pressure": "200 kPa (sd 20 kPa)", "gap": "0 um", "bow": "-30 um (sd 10 um)"}


def test_what_presses_and_bends_a_joint_is_moved_where_it_is_described():
    plain = {c.path for c in controls(cooled(ts.Coolant("26 degC", **FIGURE)))}
    found = {c.path: c for c in controls(cooled(ts.Coolant("26 degC", **FIGURE), **PRESSED))}
    assert set(found) - plain == {"paste.pressure", "paste.gap", "paste.bow"}
    assert plain - set(found) == {"paste.bond_line"}
    ends = {path: (found[path].shown(found[path].low), found[path].shown(found[path].high)) for path in found}
    assert ends["paste.pressure"] == pytest.approx((70, 600))  # no lower than the law holds
    assert ends["paste.gap"] == pytest.approx((0, 150))
    assert ends["paste.bow"] == pytest.approx((-80, 80))
    assert found["paste.bow"].described == pytest.approx(-30e-6)


@pytest.mark.parametrize(
    ("coolant", "new"),
    [
        ({**FIGURE, "flow": "3 L/min"}, {"conductance"}),  # a figure holds for one flow
        ({"model": "water block"}, {"conductance"}),
        (FINS, {"flow", "gap", "fin_thickness", "fin_height", "factor"}),
        ({"model": ts.JetPlate("1 mm", "8 mm", "4 mm"), "flow": "8 L/min"},
         {"flow", "jet_diameter", "pitch", "stand_off", "factor"}),
        ({"model": ts.AirTower(50, "120 mm", "50 mm", "2 mm", "0.4 mm", 12, "6 mm", "0.03 K/W"), "flow": "90 m^3/h"},
         {"flow", "fins", "gap", "fin_thickness", "pipe_resistance", "factor"}),
        ({**FIGURE, "flow": "3 L/min", "reference": "ambient", "radiator": ts.Radiator(resistance="0.03 K/W")},
         {"conductance", "flow", "radiator_resistance"}),
    ],
    ids=["figure", "class", "fins", "jets", "tower", "radiator"],
)  # fmt: skip
def test_flow_and_sizes_of_what_cools_are_moved(coolant, new):
    found = [c for c in controls(cooled(ts.Coolant("26 degC", **coolant))) if c.path.startswith("coolant.")]
    assert {c.path.removeprefix("coolant.") for c in found} == new | {"temperature"}
    for control in found:
        assert control.low < control.described < control.high


def test_between_the_ends_the_coolant_stays_liquid():
    loop = ts.Coolant("26 degC", reference="ambient", radiator=ts.Radiator(resistance="0.09 K/W"), **FINS)
    small = ts.Coolant("26 degC", reference="ambient", radiator=ts.Radiator(resistance="0.04 K/W"), **FINS)
    wide, narrow = ({c.path: c for c in controls(cooled(coolant))} for coolant in (small, loop))
    assert wide["coolant.flow"].high / wide["coolant.flow"].low > 8
    assert narrow["coolant.flow"].high / narrow["coolant.flow"].low < 4
    worst = {path: c.low if path == "coolant.flow" else c.high for path, c in narrow.items()
             if path.startswith("coolant.") or path == "die.power"}  # fmt: skip
    there = ts.predict(moved(cooled(loop), worst), "one-dimensional")
    assert 80 < float(there.point.coolant_outlet[0]) - 273.15 < 100


def test_quick_answers_of_a_pressed_joint_under_fins():
    stack = cooled(ts.Coolant("26 degC", **FINS), **PRESSED)
    paths = ("paste.pressure", "paste.bow", "paste.gap", "coolant.flow", "coolant.fin_height")
    quick = Quick(stack, [c for c in controls(stack) if c.path in paths])
    assert quick.prepare()
    for control in quick.controls:
        for end in (control.low, control.high):
            told, exact = quick.at({control.path: end}), ts.predict(moved(stack, {control.path: end}))
            assert told.point.response.solver.startswith("emulator"), control.path
            assert abs(celsius(told) - celsius(exact)) < 2e-3 * exact.point.junction_rise[0]
    values = {"paste.bow": 40e-6, "coolant.flow": 6e-3 / 60}
    there = moved(stack, values)
    assert str(get_value(there, "paste.bow")) == "40 um (sd 10 um)"  # its spread is no share of it
    assert str(get_value(there, "coolant.flow")) == "6 L/min"
    assert celsius(ts.predict(there)) == pytest.approx(celsius(quick.exact(values)))


def test_what_another_variant_describes_is_left_alone_where_it_is_not():
    figure, fins = cooled(ts.Coolant("26 degC", **FIGURE)), cooled(ts.Coolant("26 degC", **FINS), **PRESSED)
    values = {"coolant.flow": 1e-4, "coolant.gap": 4e-4, "paste.pressure": 3e5, "paste.bow": 0.0}
    assert moved(figure, values) is figure
    assert moved(fins, values) != fins


def test_a_limit_between_the_air_and_a_warm_loop_is_below_what_is_drawn():
    loop = ts.Coolant("26 degC", reference="ambient", radiator=ts.Radiator(resistance="0.05 K/W"), **FINS)
    stack = cooled(loop)
    quick = Quick(stack, [c for c in controls(stack) if c.path in ("die.power", "coolant.flow")])
    assert quick.prepare()
    here = quick.at({})
    assert float(here.point.coolant[0]) - 273.15 > 35
    told, exact = (float(p.headroom("34 degC").magnitude) for p in (here, ts.predict(stack)))
    assert exact < -150
    assert told == pytest.approx(exact, abs=0.2)
    with pytest.raises(ts.InputError, match="not above the coolant"):
        here.headroom("26 degC")
