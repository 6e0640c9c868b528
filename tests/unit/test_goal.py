"""The value at which a goal is met: against closed forms, predictions at that value, and dense sweeps."""

import numpy as np
import pytest

import thermostack as ts
from thermostack.catalogue import Material
from thermostack.errors import InputError, UnitError, UnknownNameError
from thermostack.goal import ValueFor, _crossings, _met, _with_turns, value_for

ONE = {"solver": "one-dimensional"}
LINE = "liquid metal.bond_line"
MICRONS = ("10 um", "300 um")


@pytest.fixture
def plain(make):
    """Return a part whose conductivities do not change with temperature."""
    joint = ts.Interface("tim", bond_line="50 um", conductivity="20 W/m/K", contact="0 mm^2*K/W")
    fixed = Material.of("fixed", 120.0)
    die = ts.Die("die", fixed, "0.7 mm", ("10 mm", "20 mm"), "200 W", joint)
    plate = ts.Layer("plate", fixed, "3 mm", ("10 mm", "20 mm"))
    return ts.Stack("plain", die, [plate], ts.Coolant("20 degC", conductance="50 kW/m^2/K"))


def at(stack, found, value, **more):
    return ts.predict(stack.change(found.path, value), **more)


@pytest.mark.parametrize("solver", ["one-dimensional", "layered"])
def test_a_slab_meets_the_closed_form(plain, solver):
    # 1 W/mm² through t/k: 3 K less are 60 µm of 20 W/m/K less than the 100 µm of the baseline
    found = value_for(
        plain, "tim.bond_line", drop="3 K", baseline=plain.change("tim.bond_line", "100 um"),
        between=("5 um", "200 um"), solver=solver,
    )  # fmt: skip
    assert found.value.to("um").magnitude == pytest.approx(40.0, rel=1e-5)
    assert found.met == ((5e-6, found.crossings[0]),)
    # 200 W over 200 mm²: 0.7/120 + 3/120 + 0.05/20 + 1/50 (K·mm²/mW) = 5.833 + 25 + 2.5 + 20 = 53.33 K over coolant
    assert value_for(
        plain, "die.power", junction="100 degC", between=("50 W", "1000 W"), solver=solver
    ).value.to("W").magnitude == pytest.approx(200 * 80 / (160 / 3), rel=1e-5)  # fmt: skip


@pytest.mark.parametrize(
    ("path", "goal", "between"),
    [
        (LINE, {"drop": "3 K"}, MICRONS),
        (LINE, {"drop": "2 K", "of": "mean"}, MICRONS),
        ("coolant.conductance", {"junction": "70 degC"}, ("5 kW/m^2/K", "100 kW/m^2/K")),
        ("paste.resistance", {"mean": "60 degC"}, ("2 mm^2*K/W", "60 mm^2*K/W")),
        ("lid.conductivity", {"resistance": "0.14 K/W"}, ("100 W/m/K", "400 W/m/K")),
        ("coolant.temperature", {"headroom": "150 W", "limit": "95 degC"}, ("10 degC", "60 degC")),
    ],
)
def test_a_prediction_at_the_value_just_meets_the_goal(soldered, relid, path, goal, between):
    if "drop" in goal:
        goal["baseline"] = soldered
    found = value_for(relid, path, between=between, **goal)
    there = at(relid, found, found.value)
    figure = {
        "drop": lambda: (getattr(ts.predict(soldered), goal.get("of", "junction")) - getattr(
            there, goal.get("of", "junction"))).magnitude,
        "junction": lambda: there.junction.magnitude,
        "mean": lambda: there.mean.magnitude,
        "resistance": lambda: there.resistance.magnitude,
        "headroom": lambda: there.headroom(goal.get("limit")).magnitude,
    }  # fmt: skip
    name = next(iter(goal))
    wanted = float(goal[name].split()[0])
    # headroom itself is worked out to 1e-4 K of the limit, 0.14 K/W: 0.001 W
    assert figure[name]() == pytest.approx(wanted, abs=2e-3 if name == "headroom" else 1e-4)


def test_what_destroys_the_gain(soldered, relid):
    found = value_for(relid, LINE, drop="0 K", baseline=soldered, between=MICRONS)
    assert "up to" in found.text
    assert (at(relid, found, "80 um").junction - ts.predict(soldered).junction).magnitude < 0
    assert (at(relid, found, "95 um").junction - ts.predict(soldered).junction).magnitude > 0
    assert 80 < found.value.magnitude < 95


def test_a_goal_met_in_the_middle_only_has_two_values(relid):
    """A thicker lid spreads better and conducts worse."""
    found = value_for(relid, "lid.thickness", junction="56.8 degC", between=("0.5 mm", "20 mm"))
    assert len(found.values) == 2
    assert found.met == (found.crossings,)
    with pytest.raises(InputError, match="2 values"):
        _ = found.value
    for value in found.values:
        assert at(relid, found, value).junction.magnitude == pytest.approx(56.8, abs=1e-4)
    assert "from" in found.text
    assert " to " in found.text


def test_a_peak_between_two_values_looked_at_is_found(relid):
    span = {"between": ("0.5 mm", "20 mm"), "points": 5}
    none = value_for(relid, "lid.thickness", junction="20 degC", **span)
    assert none.value is None
    assert none.met == ()
    best = none.best_figure
    dense = ts.sweep(relid, "lid.thickness", "4 mm", "8 mm", points=201)
    assert best - 273.15 == pytest.approx(dense.junction.min(), abs=1e-4)
    assert none.figures.min() > best + 0.05  # none of the five values comes near
    found = value_for(relid, "lid.thickness", junction=f"{best + 0.02} K", **span)
    assert len(found.values) == 2
    assert found.crossings[0] < none.best < found.crossings[1]


@pytest.mark.parametrize("sign", [1, -1])
def test_turns_that_touch_zero_between_two_values_are_found(sign):
    def margin(x):
        return sign * ((x - 0.37) ** 2 - 0.01)  # zero at 0.27 and 0.47

    u = np.linspace(0, 1, 5)
    crossings = _crossings(*_with_turns(u, np.array([margin(x) for x in u]), margin), margin)
    assert crossings == pytest.approx([0.27, 0.47], abs=1e-6)
    assert _met(0.0, 1.0, crossings, sign > 0) == (
        ((0.0, crossings[0]), (crossings[1], 1.0)) if sign > 0 else (tuple(crossings),)
    )


def test_no_value_and_any_value_are_answers(soldered, relid):
    none = value_for(relid, LINE, drop="30 K", baseline=soldered, between=MICRONS)
    assert none.value is None
    assert none.values == none.met == ()
    assert none.best == pytest.approx(10e-6)
    assert none.best_figure == pytest.approx(
        (ts.predict(soldered).junction - at(relid, none, "10 um").junction).magnitude, abs=1e-4
    )
    assert none.text.startswith("No liquid metal.bond_line from 10 µm to 300 µm brings a drop")
    assert "the best is" in none.text
    everywhere = value_for(relid, LINE, junction="90 degC", between=MICRONS)
    assert everywhere.value is None
    assert everywhere.met == ((10e-6, 300e-6),)
    assert everywhere.text.startswith("Any liquid metal.bond_line")
    assert "whole range" in str(everywhere.table)


def test_where_the_die_runs_away_the_goal_is_missed(make):
    leaky = make(leakage=ts.Leakage("60 W", "60 degC", "20 K"))
    span = ("1.5 kW/m^2/K", "60 kW/m^2/K")
    found = value_for(leaky, "coolant.conductance", junction="120 degC", between=span, **ONE)
    assert np.isnan(found.figures).any()
    assert len(found.values) == 1
    assert at(leaky, found, found.value, **ONE).junction.magnitude < 120.01
    assert "no operating point" in str(found.table)
    # however hot it may get: what is left is the edge beyond which it runs away
    edge = value_for(leaky, "coolant.conductance", junction="1000 degC", between=span, **ONE)
    assert edge.crossings[0] <= found.crossings[0]
    ts.predict(leaky.change("coolant.conductance", edge.value * 1.001), **ONE)
    with pytest.raises(ts.SolveError):
        ts.predict(leaky.change("coolant.conductance", edge.value * 0.999), **ONE)
    never = value_for(leaky, "coolant.conductance", junction="1000 degC", between=("0.5 kW/m^2/K", "1 kW/m^2/K"), **ONE)
    assert "nowhere is there an operating point" in never.text


def test_it_shows_itself(soldered, relid):
    found = value_for(relid, LINE, drop="3 K", baseline=soldered, between=MICRONS)
    assert isinstance(found, ValueFor)
    assert found.text in str(found)
    assert "no uncertainty" in str(found)
    assert "gallium" in str(found)  # the cautions of the mod stand beside the number
    assert "<table" in found._repr_html_()
    data = found.to_dict()
    assert set(data) == {"text", "rows", "curve", "cautions"}
    assert len(data["curve"]["liquid metal.bond_line [µm]"]) == 33
    assert list(found.to_pandas()["to"]) == [pytest.approx(found.value.magnitude)]


def test_half_the_samples_meet_the_goal_where_the_centres_just_do(soldered):
    spread = ts.mods.relid(soldered, "gallium alloy", bond_line="30 um (x/ 1.5)", name="liquid metal")
    found = value_for(spread, LINE, drop="3 K", baseline=soldered, between=MICRONS, **ONE)
    # medians of all inputs, of which a drop is a rising or falling function: its median is nearly that of the centres
    assert found.chance(found.value, samples=2000) == pytest.approx(0.5, abs=3 * 0.5 / np.sqrt(2000) + 0.02)
    assert found.chance("10 um", samples=200) > 0.6 > 0.4 > found.chance("60 um", samples=200)
    # the same samples as a comparison draws
    compared = ts.compare(soldered, spread.change(LINE, "20 um"), samples=500, seed=4, **ONE).sampled
    drops = compared.drops(1, "junction", "as described")
    assert found.chance("20 um", samples=500, seed=4) == np.mean(drops >= 3)
    assert not np.array_equal(drops >= 3, 1.05 * drops >= 3)
    table = found.chances(samples=100).to_dict()
    assert table["value"] == sorted(table["value"])
    assert any(x == pytest.approx(found.value.magnitude) for x in table["value"])
    assert table["chance_percent"][-1] == 0
    hot = value_for(spread, LINE, junction="60 degC", between=MICRONS, **ONE)
    assert 0.05 < hot.chance("30 um", samples=500) < 0.95
    assert hot.chance("30 um", samples=500) == hot.chance("30 um", samples=500)
    room = value_for(spread, LINE, headroom="10 W", limit="95 degC", between=MICRONS, **ONE)
    assert room.chance("30 um", samples=100) == 1


def test_it_is_drawn(soldered, relid):
    matplotlib = pytest.importorskip("matplotlib")
    matplotlib.use("Agg")
    from matplotlib import pyplot

    found = value_for(relid, LINE, drop="3 K", baseline=soldered, between=MICRONS, **ONE)
    ax = found.plot()
    ax.figure.canvas.draw()
    assert np.allclose(ax.lines[0].get_xdata(), found.scanned * 1e6)
    assert np.allclose(ax.lines[0].get_ydata(), found.figures)
    assert ax.get_xscale() == "log"
    assert ax.lines[2].get_xdata()[0] == pytest.approx(found.value.magnitude)
    assert "at least 3 K" in ax.texts[-1].get_text()
    none = value_for(relid, LINE, drop="30 K", baseline=soldered, between=("10 um", "40 um"), **ONE).plot()
    assert none.get_xscale() == "linear"
    assert "met nowhere" in none.texts[-1].get_text()
    assert none.get_ylim()[1] > 30
    pyplot.close("all")


@pytest.mark.parametrize(
    ("more", "error", "match"),
    [
        ({}, InputError, "no goal is given"),
        ({"junction": "80 degC", "mean": "80 degC"}, InputError, "junction and mean are given"),
        ({"drop": "3 K"}, InputError, "baseline"),
        ({"headroom": "3 W"}, InputError, "limit"),
        ({"junction": "80 degC", "limit": "95 degC"}, InputError, "belong together"),
        ({"junction": "80 W"}, UnitError, "junction"),
        ({"junction": "80 degC", "between": ("10 um",)}, InputError, "two values"),
        ({"junction": "80 degC", "between": ("20 um", "10 um")}, InputError, "does not rise"),
        ({"junction": "80 degC", "between": ("0 um", "10 um")}, InputError, "above zero"),
        ({"junction": "80 degC", "between": ("1 K", "10 um")}, UnitError, "bond_line"),
        ({"junction": "80 degC", "points": 2}, InputError, "at least 3"),
        ({"junction": "80 degC", "scale": "log"}, InputError, "scale"),
        ({"junction": "80 degC", "of": "hottest"}, InputError, "junction or mean"),
        ({"junction": "80 degC", "path": "liquid.bond_line"}, UnknownNameError, "did you mean"),
    ],
)
def test_bad_input_is_told(relid, more, error, match):
    arguments = {"path": LINE, "between": MICRONS} | more
    with pytest.raises(error, match=match):
        value_for(relid, arguments.pop("path"), **arguments)
