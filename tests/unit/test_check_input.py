"""What users write for causes, drops and plans, and get wrong: refused in words, or right. All parts are invented."""

import math
import warnings
from dataclasses import replace

import numpy as np
import pytest

import thermostack as ts
from thermostack.checking import Cause, Departure, Misreading, check, with_extra_resistance
from thermostack.checking.candidates import candidates_of
from thermostack.checking.effect import effects_of
from thermostack.checking.information import Information
from thermostack.checking.ranking import NextMeasurement, NextMeasurements
from thermostack.errors import InputError, UnitError, UnknownNameError
from thermostack.inference import Problem, posterior_of
from thermostack.inference.problem import Target
from thermostack.planning import plan
from thermostack.propagate import Normal, Variable
from thermostack.states import State, states_model

FAST = {"solver": "one-dimensional", "draws": 0, "samples": 300}
CORES = ("core 0", "core 1")


def part(name="invented part", regions=()):
    placed = [
        ts.Region(r, "60 W", corner=(f"{1 + 6 * i} mm", "2 mm"), size=("4 mm", "5 mm")) for i, r in enumerate(regions)
    ]
    return ts.Stack(
        name,
        dies=[
            ts.Die("die", "silicon", "0.72 mm", footprint=("12.4 mm", "17.6 mm"), power=ts.PowerMap("230 W", placed),
                   joint=ts.Interface("solder", "indium solder", bond_line="0.25 mm (sd 0.04 mm)"))
        ],
        layers=[
            ts.Layer("lid", "copper", "2.4 mm", footprint=("36 mm", "36 mm")), ts.Interface("paste", "ceramic paste"),
            ts.Layer("cold plate", "copper", "3 mm", footprint=("50 mm", "50 mm")),
        ],
        coolant=ts.Coolant("26 degC", conductance="35 kW/m^2/K (x/ 1.2)"),
    )  # fmt: skip


def mod(stack):
    return stack.replace("solder", ts.Interface("liquid metal", "gallium alloy")).named("relid")


def read(temperature, sensors=("die",), **labels):
    shown = {name: f"{temperature} degC (sd 0.2 K)" for name in sensors}
    return ts.Reading.of(shown, power="230 W (sd 2 W)", coolant="26 degC (sd 0.1 K)", **labels)


def pair(sensors=("die",), regions=()):
    before = part(regions=regions)
    return State(before, read(62, sensors, source="b")), State(mod(before), read(58, sensors, source="a"))


@pytest.fixture(scope="module")
def found():
    return check(*pair(), **FAST)


@pytest.fixture(scope="module")
def cores():
    return states_model(pair(CORES, CORES), "one-dimensional")


def thicker(stack, size):
    return with_extra_resistance(stack, "paste", size)


SENSORS, PROBE, METER = (Misreading("after", of) for of in ("sensors", "coolant", "power"))
CHANGED = Departure("after", thicker)


def cause(ways=(SENSORS,), size="1 K", largest="20 K", **more):
    return Cause("own", "A cause of one's own.", size=size, largest=largest, source="invented", ways=ways, **more)


# -- causes


@pytest.mark.parametrize(
    ("given", "error", "words"),
    [
        ({"ways": (METER,), "size": "5 K"}, UnitError, r"'own'.size: '5 K' has not the unit.*such as '5 %'$"),
        ({"ways": (PROBE,), "size": "5 %"}, UnitError, r"'own'.size: '5 %' has not the unit.*such as '1 K'$"),
        ({"ways": (SENSORS,), "size": "5 mm^2*K/W"}, UnitError, r"'own'.size: .*such as '1 K'$"),
        ({"ways": (CHANGED, SENSORS), "size": "5 mm^2*K/W"}, UnitError, r"'own'.size: .*such as '1 K'$"),
        ({"ways": (SENSORS, METER)}, InputError, "'own': its ways have no dimension in common"),
        ({"ways": (SENSORS,), "dimension": "fraction"}, InputError, "'own': its ways have no dimension in common"),
        ({"ways": (METER,), "size": "5 %"}, UnitError, r"'own'.largest: 'K' is not a unit of fraction"),
        ({"ways": (METER,), "size": "5 %", "largest": "100 %", "two_sided": True}, InputError, "'own'.largest: no meter"),
        ({"size": 5}, UnitError, r"'own'.size: 5 has not the unit"),
        ({"ways": (CHANGED,), "size": 5}, UnitError, r"'own'.size: 5 has not the unit.*'6 mm\^2\*K/W' or .* or '5 %', or dimension="),
        ({"ways": (CHANGED,), "size": 0.05, "largest": 0.3}, UnitError, r"'own'.size: 0.05 has not the unit"),
        ({"size": "nan K"}, InputError, r"'own'.size: nan is not a finite number"),
        ({"ways": (CHANGED,), "dimension": "watts"}, UnknownNameError, "'own'.dimension: no dimension is named 'watts'"),
        ({"odds": math.inf}, InputError, "odds inf; expected a finite number above zero"),
        ({"odds": math.nan}, InputError, "odds nan"),
        ({"odds": "2"}, InputError, "odds '2'"),
        ({"odds": True}, InputError, "odds True"),
        ({"chance": math.nan}, InputError, "chance nan; expected a number from 0"),
        ({"chance": "0.1"}, InputError, "chance '0.1'"),
        ({"ways": ()}, InputError, "acts in no way"),
        ({"ways": (SENSORS, "after")}, InputError, "'after' is no way"),
        ({"ways": None}, InputError, "None is no way"),
    ],
)  # fmt: skip
def test_a_cause_that_cannot_be(given, error, words):
    with pytest.raises(error, match=words):
        cause(**given)


@pytest.mark.parametrize(
    ("given", "dimension"),
    [
        ({"ways": (SENSORS,)}, "temperature difference"),
        ({"ways": (METER,), "size": 0.05, "largest": "30 %"}, "fraction"),
        ({"ways": (SENSORS, CHANGED)}, "temperature difference"),
        ({"ways": (CHANGED,), "size": "40 um", "largest": "0.2 mm"}, "bond line"),
        ({"ways": (CHANGED,), "size": 0.05, "largest": 0.3, "dimension": "fraction"}, "fraction"),
        ({"ways": (CHANGED,), "size": "5 W", "largest": "30 W", "dimension": "power"}, "power"),
    ],
)
def test_the_dimension_of_a_size(given, dimension):
    assert cause(**given).dimension == dimension


def test_a_way_may_stand_by_itself():
    assert cause(ways=SENSORS).ways == (SENSORS,)
    assert cause(ways=[SENSORS, CHANGED]).ways == (SENSORS, CHANGED)
    assert Misreading("after", "sensors", sensors="core 1").sensors == ("core 1",)


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: Misreading("afterwards", "sensors"), "Misreading.where: 'afterwards' .* did you mean 'after'"),
        (lambda: Misreading("after", "sensor"), "Misreading.of: 'sensor' .* did you mean 'sensors'"),
        (lambda: Misreading("after", "sensors", tied="benches"), "Misreading.tied: .* did you mean 'bench'"),
        (lambda: Misreading("after", "power", sensors=("die",)), "Misreading.sensors: .* what the power read"),
        (lambda: Departure("befor", thicker), "Departure.where: 'befor' .* did you mean 'before'"),
        (lambda: Departure("after", thicker, tied="mounts"), "Departure.tied: .* did you mean 'mount'"),
        (lambda: Departure("after", "paste"), "Departure.change: 'paste' changes no stack"),
    ],
)
def test_a_way_that_cannot_be(make, words):
    with pytest.raises(InputError, match=words):
        make()


@pytest.mark.parametrize("name", ["core 1", "core 1 mean"])
def test_sensors_are_known_by_the_names_of_the_reading(cores, name):
    own = cause(ways=(Misreading("after", "sensors", sensors=(name,)),))
    (effect,) = effects_of(cores, [own]).on(cores)
    shown = [np.interp(1.5, effect.edges, column) for column in effect.shifts.T]
    assert shown == pytest.approx([0, 0, 0, 1.5])


def test_a_sensor_that_no_reading_has(cores):
    with pytest.raises(UnknownNameError, match="'own': no reading has a sensor 'cor 1'; did you mean 'core 1'"):
        effects_of(cores, [cause(ways=(Misreading("after", "sensors", sensors=("cor 1",)),))])


def test_no_interface_to_resist_more():
    with pytest.raises(InputError, match="'lid' is a Layer, no interface; expected 'solder' or 'paste'"):
        with_extra_resistance(part(), "lid", 1e-6)


def test_a_departure_makes_a_stack(cores):
    of_joint = {"size": "5 mm^2*K/W", "largest": "40 mm^2*K/W"}
    with pytest.raises(InputError, match="cause 'own': its change returns None, which is no stack"):
        effects_of(cores, [cause((Departure("after", lambda stack, size: None),), **of_joint)])
    lid = cause((Departure("after", lambda stack, size: with_extra_resistance(stack, "lid", size)),), **of_joint)
    (told,) = effects_of(cores, [lid]).left_out
    assert told.startswith("own: the stack cannot depart so (relid: 'lid' is a Layer, no interface")


# -- names that are asked for


def test_a_drop_that_is_not_there(found):
    with pytest.raises(UnknownNameError, match="no drop at 'same power'; did you mean 'equal power'"):
        found.drop("same power", "mean")
    with pytest.raises(
        UnknownNameError, match="'core 7' was not read before and after; known: 'mean', 'hottest', 'die'"
    ):
        found.drop("equal power", "core 7")
    assert found.drop("equal power", "die").measured == found.drop().measured


def test_a_cause_that_is_not_there(found):
    with pytest.raises(UnknownNameError, match="no cause is named 'one bad mont'; did you mean 'one bad mount'"):
        found.causes["one bad mont"]
    assert found.causes["one bad mount"].name == "one bad mount"


def test_a_measurement_that_is_not_there():
    settled = Information(0.0, 0.0, 0.0, (), np.empty(0), np.empty((0, 0)))
    one = NextMeasurement("idle, after", "x", "possible now", settled, (), "K")
    measurements = NextMeasurements((one,), "as described")
    with pytest.raises(UnknownNameError, match="no measurement is named 'idle'; did you mean 'idle, after'"):
        measurements["idle"]
    assert measurements["idle, after"] is one


# -- plans


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"seed": "x"}, "plan, seed: 'x' is not a whole number"),
        ({"seed": -1}, "plan, seed: -1 is too few"),
        ({"counts": 3}, "plan, counts: 3; expected numbers of mounts"),
        ({"counts": [1, "2"]}, "plan, counts"),
    ],
)
def test_a_plan_that_cannot_be(given, words):
    with pytest.raises(InputError, match=words):
        plan(part(), mod(part()), solver="one-dimensional", rank=False, tests=50, **given)


def test_a_plan_is_of_one_part():
    other = replace(mod(part()), name="another part")
    with pytest.raises(InputError, match="these are two parts: 'invented part' and 'another part'"):
        plan(part(), other, solver="one-dimensional", rank=False, tests=50)


# -- what an inference says


def problem(**more):
    variables = tuple(Variable(f"{name}.x", Normal(0, 1)) for name in "ab")
    return Problem(variables, lambda s: np.stack([s["a.x"], s["b.x"]], axis=1), [0.0, 12.0], 0.01 * np.eye(2), **more)


def test_the_farthest_is_named():
    named = posterior_of(problem(names=("idle: die", "full: die")), draws=200)
    assert "farthest is full: die, " in named.notes[0]
    assert "farthest is reading number 2, " in str(posterior_of(problem(), draws=200).conflict)
    with pytest.raises(InputError, match="names: 1 names for 2 data"):
        problem(names=("die",))


@pytest.mark.parametrize("nu", [math.inf, 4.0])
def test_what_is_impossible_stays_so_without_a_warning(nu):
    target = Target(problem(degrees_of_freedom=nu))
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        for t in (0.0, 0.5, 1.0):
            assert target.tempered(np.array([-np.inf, -3.0]), np.array([0.0, -1.0]), t)[0] == -np.inf
    assert target.tempered(np.array([-np.inf, -3.0]), np.array([0.0, -1.0]), 1.0)[1] == pytest.approx(-3.0)


def test_one_of_two_sensors_that_misreads_is_half_of_their_mean():
    """Power off, both sensors' mean against the coolant: the new error shows by half, a kelvin a kelvin of both."""
    one, both = (
        Cause(
            name, "A sensor reads otherwise.", size="2 K", largest="10 K", source="invented",
            ways=Misreading("after", "sensors", sensors=sensors),
        )
        for name, sensors in (("one of two", ("core 1",)), ("both of two", ()))
    )  # fmt: skip
    found = check(*pair(CORES, CORES), causes=[one, both], **FAST).causes
    off = next(c for c in candidates_of(found) if c.name.startswith("power off"))
    of = {found.effects.causes[e.cause].name: i for i, e in enumerate(found.active)}
    for name, share in (("one of two", 0.5), ("both of two", 1.0)):
        assert off.shifts[of[name]][:, -1] == pytest.approx(share * found.active[of[name]].edges)
