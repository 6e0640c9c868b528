"""The public face of prediction, comparison and sweeps: figures that fit together, text and data that hold them all."""

import json
import math

import numpy as np
import pytest

import thermostack as ts
from thermostack.catalogue import TemperatureLaw
from thermostack.model import model_of
from thermostack.operating import TOLERANCE
from thermostack.units import quantity, show

ONE = "one-dimensional"
SIDE = ("12 mm", "10 mm")
PLAIN = ts.Material.of("plain metal", 250.0)
CHIP = ts.Material.of("bent chip", 110.0, law=TemperatureLaw("power", exponent=-1.3))


def part(name="a part", *, power="150 W", sensors=(), board=None, leakage=None, names=("die", "joint", "lid")):
    die, joint, lid = names
    return ts.Stack(
        name,
        ts.Die(die, CHIP, "0.8 mm", SIDE, power, ts.Interface(joint, resistance="5 mm^2*K/W"), leakage=leakage),
        [
            ts.Layer(lid, PLAIN, "2 mm", ("30 mm", "24 mm")),
            ts.Interface("paste", resistance="9 mm^2*K/W"),
            ts.Layer("plate", PLAIN, "3 mm", ("40 mm", "40 mm")),
        ],
        ts.Coolant("25 degC", conductance="30 kW/m^2/K"),
        board=board,
        sensors=sensors,
    )


def core_map():
    return ts.PowerMap("150 W", [ts.Region("core", "60 W", ("1 mm", "2 mm"), ("3 mm", "3 mm"))])


# -- prediction


def test_figures_fit_together():
    p = ts.predict(part(), solver=ONE)
    rise = float(p.junction.magnitude) - 25
    assert float(p.resistance.magnitude) == pytest.approx(rise / 150, rel=1e-12)
    assert float(p.specific_resistance.magnitude) == pytest.approx(
        (float(p.mean.magnitude) - 25) * 120 / 150, rel=1e-12
    )
    assert str(p.junction.units) == "degree_Celsius"
    assert p.mean < p.junction
    assert p.limiting == max(zip(*(p.breakdown.to_dict()[k][:-1] for k in ("drop_K", "part")), strict=True))[1]
    assert p.heat_imbalance < 1e-12
    assert dict(p.temperatures)["junction"][0] == pytest.approx(p.junction.to("K").magnitude)


def test_breakdown_adds_up():
    data = ts.predict(part(), solver=ONE).breakdown.to_dict()
    assert data["part"] == ["die", "joint", "lid", "paste", "plate", "coolant", "die, mean to coolant"]
    for key in ("one_dimensional_K_per_W", "spreading_K_per_W", "resistance_K_per_W", "drop_K"):
        assert data[key][-1] == pytest.approx(sum(data[key][:-1]), rel=1e-12), key
    assert data["share_percent"][-1] == pytest.approx(100)
    assert data["below_degC"][1:-1] == pytest.approx(data["above_degC"][:-2], rel=1e-12)
    assert data["above_degC"][-2] == pytest.approx(25)
    together = np.add(data["one_dimensional_K_per_W"], data["spreading_K_per_W"])
    assert data["resistance_K_per_W"] == pytest.approx(together, rel=1e-12)
    straight = dict(zip(data["part"], data["one_dimensional_K_per_W"], strict=True))
    assert straight["joint"] == pytest.approx(5e-6 / 120e-6)
    assert straight["lid"] == pytest.approx(2e-3 / 250 / (0.030 * 0.024))
    assert straight["coolant"] == pytest.approx(1 / 30e3 / 1600e-6)
    for name in ("die", "joint", "paste", "coolant"):
        assert data["spreading_K_per_W"][data["part"].index(name)] == pytest.approx(0, abs=1e-12), name


STACKS = {
    "bent": part,
    "leaking": lambda: part(leakage=ts.Leakage("20 W", "60 degC", "50 K")),
    "board": lambda: part(board=ts.Board("2 K/W", "45 degC")),
}


@pytest.mark.parametrize("limit", ["60 degC", "90 degC", "115 degC"])
@pytest.mark.parametrize("make", STACKS.values(), ids=STACKS.keys())
def test_headroom_leads_to_the_limit(make, limit):
    """Predicted at the power that the headroom allows, the junction is at the limit to 1 mK."""
    p = ts.predict(make(), solver=ONE)
    total = float(p.point.total[0]) + float(p.headroom(limit).magnitude)
    celsius = float(limit.split()[0])
    leakage = p.stack.dies[0].leakage
    described = total
    for _ in range(60 if leakage else 0):  # what leaks more at the limit than where it is described
        mean = ts.predict(p.stack.change("die.power", f"{described:.15g} W"), solver=ONE).mean.to("K").magnitude
        described = total - leakage.power.si * math.expm1((mean - leakage.at.si) / leakage.e_fold.si)
    again = ts.predict(p.stack.change("die.power", f"{described:.15g} W"), solver=ONE)
    assert float(again.junction.magnitude) == pytest.approx(celsius, abs=1e-3)
    assert (float(p.headroom(limit).magnitude) > 0) == (float(p.junction.magnitude) < celsius)


def test_headroom_takes_any_temperature_form():
    p = ts.predict(part(), solver=ONE)
    forms = [
        "95 degC",
        (95, "degC"),
        "368.15 K",
        ts.Value(95.0, "degC", "temperature"),
        quantity(368.15, "temperature"),
    ]
    watts = [float(p.headroom(form).magnitude) for form in forms]
    assert watts == pytest.approx([watts[0]] * len(forms), rel=1e-12)


def test_board_share():
    free = ts.predict(part(), solver=ONE)
    p = ts.predict(part(board=ts.Board("2 K/W")), solver=ONE)
    shares = dict(zip(*(p.summary.to_dict()[k] for k in ("what", "value")), strict=True))
    rise = float(p.mean.magnitude) - 25
    assert shares["share that leaves by the board"] == pytest.approx(100 * rise / 2 / 150, rel=TOLERANCE)
    assert "share that leaves by the board" not in str(free.summary)
    assert p.breakdown.to_dict()["drop_K"][-1] == pytest.approx(rise)


def test_to_dict_is_plain():
    p = ts.predict(part(power=core_map(), board=ts.Board("2 K/W")), solver=ONE)
    again = json.loads(json.dumps(p.to_dict(), allow_nan=False))
    assert again["junction_degC"] == pytest.approx(float(p.junction.magnitude))
    assert again["breakdown"]["part"] == p.breakdown.to_dict()["part"]
    assert again["power_W"] == 150
    assert again["error_K"] > 0


HOSTILE = ("<b>die</b>", '"joint" & co', "<script>alert(1)</script>")


def test_text_and_html_hold_all_rows_and_escape_names():
    stack = part("<i>a part</i>", names=HOSTILE)
    p = ts.predict(stack, solver=ONE)
    text, page = str(p), p._repr_html_()
    for name in (*HOSTILE, "paste", "plate", "coolant", "junction (hottest point)"):
        assert name in text
    for bad in ("<script", "<b>", "<i>"):
        assert bad not in page
    for good in (
        "&lt;script&gt;alert(1)&lt;/script&gt;",
        "&lt;b&gt;die&lt;/b&gt;",
        "&quot;joint&quot; &amp; co",
        "coolant",
    ):
        assert good in page
    for value in p.breakdown.to_dict()["drop_K"]:
        assert f"{value:.2f}" in text
        assert f"{value:.2f}" in page
    compared = ts.compare(stack, stack.remounted(), solver=ONE)._repr_html_()
    assert "<i>" not in compared
    swept = ts.sweep(stack, "<script>alert(1)</script>.thickness", "1 mm", "2 mm", points=2, solver=ONE)._repr_html_()
    assert "<script" not in swept


def test_uniform_map_is_cautioned():
    assert any("spread evenly" in c.text for c in ts.predict(part(), solver=ONE).cautions)
    assert not any("spread evenly" in c.text for c in ts.predict(part(power=core_map()), solver=ONE).cautions)


def test_assumptions_and_error_are_told(soldered):
    notes = ts.predict(soldered, solver=ONE).breakdown.notes
    assert any("assumed" in note and "solder.contact" in note for note in notes)
    assert any("own error estimate" in note for note in notes)


# -- sensors


def test_default_sensors():
    assert ts.predict(part(), solver=ONE).sensors.to_dict()["at"] == ["die"]
    assert ts.predict(part(power=core_map()), solver=ONE).sensors.to_dict()["at"] == ["core"]


def test_sensors_read_as_they_are_off():
    sensors = [
        ts.Sensor("true", "die"),
        ts.Sensor("high", "die", offset="1.5 K"),
        ts.Sensor("steep", "die", slope="4 %", pivot="100 degC"),
        ts.Sensor("both", "die", offset="-2 K", slope=-0.05, pivot="40 degC"),
        ts.Sensor("water", "coolant", offset="0.3 K"),
        ts.Sensor("thermocouple", "lid", point=("3 mm", "2 mm")),
        ts.Sensor("plate top", "plate"),
    ]
    p = ts.predict(part(sensors=sensors), solver=ONE)
    data = p.sensors.to_dict()
    reads = dict(zip(data["sensor"], data["reading_degC"], strict=True))
    true = float(p.mean.magnitude)
    assert reads["true"] == pytest.approx(true, abs=1e-9)
    assert reads["high"] == pytest.approx(true + 1.5, abs=1e-9)
    assert reads["steep"] == pytest.approx(true + 0.04 * (true - 100), abs=1e-9)
    assert reads["both"] == pytest.approx(true - 2 - 0.05 * (true - 40), abs=1e-9)
    assert reads["water"] == pytest.approx(25.3, abs=1e-9)
    above = dict(zip(p.breakdown.to_dict()["part"], p.breakdown.to_dict()["above_degC"], strict=True))
    assert reads["thermocouple"] == pytest.approx(above["lid"], abs=1e-9), "in one dimension a face has one temperature"
    assert reads["plate top"] == pytest.approx(above["plate"], abs=1e-9)
    assert data["rise_K"] == pytest.approx(np.array(data["reading_degC"]) - 25, abs=1e-9)


# -- comparison


def test_drops_are_differences(soldered, relid, bare):
    predictions = [ts.predict(s, solver=ONE) for s in (soldered, relid, bare)]
    data = ts.compare(soldered, relid, bare, limit="95 degC", solver=ONE).table.to_dict()
    for key, figure in (("drop_junction_K", "junction"), ("drop_mean_K", "mean")):
        first = getattr(predictions[0], figure).magnitude
        drops = [float(first - getattr(p, figure).magnitude) for p in predictions]
        assert data[key][0] is None
        assert data[key][1:] == pytest.approx(drops[1:], abs=1e-9)
        assert min(drops[1:]) > 1
    assert data["headroom_W"] == pytest.approx([float(p.headroom("95 degC").magnitude) for p in predictions])
    assert data["limiting"] == [p.limiting for p in predictions]


def test_comparison_says_at_what_power(soldered, relid):
    assert "equal power: 230 W, coolant 26 °C" in str(ts.compare(soldered, relid, solver=ONE).table)
    other = ts.compare(soldered, relid.change("die.power", "200 W"), solver=ONE).table
    assert "each at its own power" in str(other)
    assert "headroom to 95 °C [W]" in str(ts.compare(soldered, relid, limit=(95, "degC"), solver=ONE).table)
    json.dumps(ts.compare(soldered, relid, solver=ONE).to_dict(), allow_nan=False)


# -- sweeps


PATHS = {
    "joint.resistance": ("1 mm^2*K/W", "30 mm^2*K/W"),
    "die.power": ("50 W", "250 W"),
    "coolant.temperature": ("10 degC", "40 degC"),
    "coolant.conductance": ("5 kW/m^2/K", "80 kW/m^2/K"),
    "lid.thickness": ("0.5 mm", "5 mm"),
    "lid.footprint_x": ("12 mm", "50 mm"),
    "die.centre_x": ("-8 mm", "8 mm"),
    "die.thickness": ("0.3 mm", "0.8 mm"),
    "lid.conductivity": ("100 W/m/K", "1000 W/m/K"),
    "plate.conductivity_in_plane": ("100 W/m/K", "1000 W/m/K"),
}


@pytest.mark.parametrize("scale", ["linear", "logarithmic"])
@pytest.mark.parametrize("path", PATHS)
def test_a_sweep_is_a_prediction_at_each_value(path, scale):
    if path == "die.centre_x" and scale == "logarithmic":
        pytest.skip("reaches zero")
    low, high = PATHS[path]
    for start, stop in ((low, high), (high, low)):
        swept = ts.sweep(part(), path, start, stop, points=4, scale=scale, solver=ONE)
        (axis,) = swept.axes
        between = np.linspace if scale == "linear" else np.geomspace
        assert axis.values == pytest.approx(between(axis.values[0], axis.values[-1], 4), rel=1e-12)
        for i, si in enumerate(axis.values):
            unit = {"temperature": "K", "power": "W", "length": "m", "conductivity": "W/m/K",
                    "specific resistance": "m^2*K/W", "conductance": "W/m^2/K"}[axis.dimension]  # fmt: skip
            p = ts.predict(part().change(path, f"{si:.15g} {unit}"), solver=ONE)
            assert swept.junction[i] == pytest.approx(float(p.junction.magnitude), abs=1e-4)
            assert swept.mean[i] == pytest.approx(float(p.mean.magnitude), abs=1e-4)
            assert swept.resistance[i] == pytest.approx(float(p.resistance.magnitude), rel=1e-5)


def test_a_sweep_over_two():
    swept = ts.sweep(
        part(), "joint.resistance", "1 mm^2*K/W", "16 mm^2*K/W", "coolant.conductance", "10 kW/m^2/K", "40 kW/m^2/K",
        points=(3, 2), scale=("logarithmic", "linear"), solver=ONE,
    )  # fmt: skip
    assert swept.shape == swept.junction.shape == (3, 2)
    for i, r in enumerate((1, 4, 16)):
        for j, h in enumerate((10, 40)):
            stack = part().change({"joint.resistance": f"{r} mm^2*K/W", "coolant.conductance": f"{h} kW/m^2/K"})
            p = ts.predict(stack, solver=ONE)
            assert swept.junction[i, j] == pytest.approx(float(p.junction.magnitude), abs=1e-4)
            assert swept.table.to_dict()["junction_degC"][2 * i + j] == swept.junction[i, j]
    json.dumps(swept.to_dict(), allow_nan=False)


def test_a_sweep_of_a_bond_line_that_a_class_describes(relid):
    swept = ts.sweep(relid, "liquid metal.bond_line", "10 um", "200 um", points=3, solver=ONE)
    p = ts.predict(relid.change("liquid metal.bond_line", "200 um"), solver=ONE)
    assert swept.junction[-1] - 26 == pytest.approx(float(p.junction.magnitude) - 26, rel=TOLERANCE)
    assert swept.axes[0].described is None


def test_a_sweep_to_coinciding_faces_keeps_them_apart():
    """A lid as wide as the die is one block with it, which a wider one is not: both ends of one sweep."""
    base = part().change({"lid.footprint_y": "10 mm"})
    assert len(model_of(base.change("lid.footprint_x", "12 mm")).graph.slabs_of_block) == 2
    for ends in (("12 mm", "24 mm"), ("24 mm", "12 mm")):
        swept = ts.sweep(base, "lid.footprint_x", *ends, points=3, solver=ONE)
        each = [
            ts.predict(base.change("lid.footprint_x", f"{x} mm"), solver=ONE).junction.magnitude for x in (12, 18, 24)
        ]
        assert sorted(swept.junction) == pytest.approx(sorted(each), abs=1e-4)


SWEEPS = {
    "an end off the lid": (
        lambda: ts.sweep(part(), "die.centre_x", "14 mm", "0 mm", solver=ONE),
        "over the edge of 'lid'",
    ),
    "a die's and its region's power": (
        lambda: ts.sweep(part(power=core_map()), "die.power", "1 W", "9 W", "core.power", "1 W", "2 W", solver=ONE),
        "the power of 'core' follows that of 'die'",
    ),
}


@pytest.mark.parametrize(("call", "text"), SWEEPS.values(), ids=SWEEPS.keys())
def test_sweeps_that_cannot_be(call, text):
    with pytest.raises(ts.InputError) as caught:
        call()
    assert text in str(caught.value)


def test_a_sweep_over_a_regions_power_keeps_the_total():
    swept = ts.sweep(part(power=core_map()), "core.power", "10 W", "100 W", points=3, solver=ONE)
    assert swept.point.total == pytest.approx([150.0] * 3)
    assert swept.point.power[:, 1] == pytest.approx([10.0, 55.0, 100.0])


def test_shown_units():
    swept = ts.sweep(part(), "die.power", "50 W", "250 W", points=2, solver=ONE)
    assert "die.power [W]" in str(swept)
    assert show(swept.axes[0].described, "power") == "150 W"
