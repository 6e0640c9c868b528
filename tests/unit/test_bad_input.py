"""Bad input: each error names part and field, and shows a right value."""

import pytest

import thermostack as ts

SIZE = ("36 mm", "36 mm")
COOLANT = ts.Coolant("26 degC", conductance="35 kW/m^2/K")
PLATE = ts.Layer("plate", "copper", "3 mm", ("50 mm", "50 mm"))
METAL = ts.Interface("metal", "gallium alloy")


def die(name="die", **changes):
    given = {
        "material": "silicon",
        "thickness": "0.72 mm",
        "footprint": ("12 mm", "17 mm"),
        "power": "230 W",
        "joint": METAL,
    }
    return ts.Die(name, **{**given, **changes})


def stack(dies, layers=(PLATE,), coolant=COOLANT, **more):
    return ts.Stack("a part", dies, layers, coolant, **more)


PARTS = {
    "no unit": (lambda: ts.Layer("lid", "copper", 2.4, SIZE), "lid.thickness: 2.4 has no unit", "'2.4 mm'"),
    "wrong dimension": (lambda: ts.Layer("lid", "copper", "2.4 W", SIZE), "lid.thickness: 'W' is not a unit of length", "'0.25 mm'"),
    "zero": (lambda: ts.Layer("lid", "copper", "0 mm", SIZE), "lid.thickness: '0 mm' is not possible", "above zero"),
    "negative": (lambda: ts.Layer("lid", "copper", "-1 mm", SIZE), "lid.thickness: '-1 mm' is not possible", "above zero"),
    "NaN": (lambda: ts.Layer("lid", "copper", "nan mm", SIZE), "lid.thickness: nan is not a finite number", "'0.25 mm'"),
    "infinite": (lambda: die(power="inf W"), "die.power: inf is not a finite number", "'230 W'"),
    "thick layer": (lambda: ts.Layer("lid", "copper", "240 mm", SIZE), "is this micrometres ('240 um')?", "at most 100 mm"),
    "thick bond line": (
        lambda: ts.Interface("solder", "indium solder", bond_line="40 mm"),
        "solder.bond_line: '40 mm' is more than 2 mm; is this micrometres ('40 um')?",
        "at most 2 mm",
    ),
    "void fraction": (
        lambda: ts.Interface("solder", "indium solder", bond_line="0.2 mm", void_fraction=1.2),
        "solder.void_fraction: '1.2' is not a fraction",
        "0 to below 1",
    ),
    "all void": (lambda: ts.Interface("p", "ceramic paste", void_fraction="100 %"), "p.void_fraction", "0 to below 1"),
    "negative void": (lambda: ts.Interface("p", "ceramic paste", void_fraction=-0.1), "p.void_fraction", "0 to below 1"),
    "unknown material": (lambda: ts.Layer("lid", "coper", "2 mm", SIZE), "lid.material", "did you mean 'copper'"),
    "unknown class": (lambda: ts.Interface("tim", "indium soldr"), "tim.interface", "did you mean 'indium solder'"),
    "dot in a name": (lambda: ts.Layer("lid 1.5", "copper", "2 mm", SIZE), "holds a dot", "'lid 1 5'"),
    "no name": (lambda: ts.Layer("  ", "copper", "2 mm", SIZE), "is not a name", "'lid'"),
    "two ways": (
        lambda: ts.Interface("tim", resistance="5 mm^2*K/W", bond_line="40 um"),
        "tim: both resistance and bond_line are given",
        "either a resistance, or a bond line",
    ),
    "no way": (lambda: ts.Interface("tim"), "neither a class nor a resistance", "'ceramic paste'"),
    "no contact": (lambda: ts.Interface("tim", bond_line="40 um", conductivity="5 W/m/K"), "without contact", "'0 mm^2*K/W'"),
    "no bond line": (lambda: ts.Interface("tim", conductivity="5 W/m/K"), "conductivity without a bond line", "a class"),
    "zero resistance": (lambda: ts.Interface("tim", resistance="0 mm^2*K/W"), "tim.resistance", "leave the interface out"),
    "limits reversed": (lambda: ts.Layer("lid", "copper", "3 .. 2 mm", SIZE), "lid.thickness: limits '3 .. 2 mm'", "'2 .. 3 mm'"),
    "limit below zero": (lambda: ts.Layer("lid", "copper", "-1 .. 2 mm", SIZE), "lid.thickness: the lower limit", "above zero"),
    "one side": (lambda: ts.Layer("lid", "copper", "2 mm", "36 mm"), "lid.footprint: '36 mm' is not a pair", "('36 mm', '36 mm')"),
    "bare sides": (lambda: ts.Layer("lid", "copper", "2 mm", (36, 36)), "lid.footprint", "('36 mm', '36 mm')"),
    "coolant twice": (
        lambda: ts.Coolant("26 degC", conductance="35 kW/m^2/K", resistance="0.03 K/W"),
        "coolant: conductance and resistance given",
        "conductance='35 kW/m^2/K'",
    ),
    "coolant never": (lambda: ts.Coolant("26 degC"), "coolant: neither", "resistance='0.03 K/W'"),
    "cold by mistake": (lambda: ts.Coolant("26 K", resistance="0.03 K/W", contains_plate=False), "coolant.temperature: '26 K' is -247 °C", "'26 degC'"),
    "reference": (lambda: ts.Coolant("26 degC", resistance="0.03 K/W", contains_plate=False, reference="outlet"), "coolant.reference", "inlet, mean"),
    "too hot a map": (
        lambda: ts.PowerMap("20 W", [ts.Region("core", "21 W", ("0 mm", "0 mm"), ("1 mm", "1 mm"))]),
        "the regions make 21 W, more than the whole die",
        "at least 21 W",
    ),
    "leaks too much": (lambda: die(leakage=ts.Leakage("300 W", "60 degC")), "die.leakage_power", "at most 230 W"),
    "slope without pivot": (lambda: ts.Sensor("probe", "lid", slope=0.02), "probe.pivot", "'100 degC'"),
    "part in a wrong place": (lambda: stack([PLATE]), "stack.dies", "Die"),
    "coolant in a wrong place": (lambda: stack([die()], coolant=PLATE), "stack.coolant", "Coolant"),
}  # fmt: skip


@pytest.mark.parametrize(("make", "problem", "right"), PARTS.values(), ids=PARTS.keys())
def test_a_part_that_cannot_be(make, problem, right):
    with pytest.raises(ts.InputError) as caught:
        make()
    assert problem in str(caught.value)
    assert right in str(caught.value)


def dies(x):
    return [die("left", centre=(f"-{x}", "0 mm"), joint=()), die("right", centre=(x, "0 mm"), joint=())]


def region(corner):
    return die(power=ts.PowerMap("230 W", [ts.Region("core", "20 W", corner, ("2 mm", "2 mm"))]))


STACKS = {
    "duplicate names": (lambda: stack([die("plate")]), "two parts are named 'plate'", "a name of its own"),
    "die off the lid": (
        lambda: stack([die(centre=("22 mm", "0 mm"))]),
        "die: it reaches 3 mm over the edge of 'plate'",
        "within 'plate', which is 50 mm x 50 mm",
    ),
    "no overlap": (lambda: stack([die(centre=("80 mm", "0 mm"))]), "die: it does not meet 'plate' above it", "footprints that overlap"),
    "plate beside the lid": (
        lambda: stack([die()], [ts.Layer("lid", "copper", "2 mm", SIZE), ts.Interface("paste", "ceramic paste"),
                                ts.Layer("far", "copper", "2 mm", SIZE, centre=("60 mm", "0 mm"))]),
        "lid: it does not meet 'far' above it",
        "centre=",
    ),
    "dies that overlap": (lambda: stack(dies("5 mm")), "the dies 'left' and 'right' overlap", "centres apart"),
    "empty": (lambda: stack([]), "the stack is empty", "dies=[Die(…)]"),
    "no plate": (lambda: stack([die()], []), "no layer lies above the dies", "Layer('cold plate'"),
    "touching interfaces": (
        lambda: stack([die()], [ts.Interface("paste", "ceramic paste"), PLATE]),
        "the interfaces 'metal' and 'paste' touch",
        "without('paste')",
    ),
    "interface on top": (lambda: stack([die()], [PLATE, ts.Interface("paste", "ceramic paste")]), "lies on top", "coolant wets"),
    "region off the die": (lambda: stack([region(("11 mm", "0 mm"))]), "core: it reaches 1 mm over the edge of 'die'", "12 mm x 17 mm"),
    "patch off the joint": (
        lambda: stack([die(joint=ts.Interface("m", "gallium alloy", patches=[
            ts.Patch("void", ("11 mm", "0 mm"), ("2 mm", "2 mm"), "9600 mm^2*K/W")]))]),
        "void: it reaches 1 mm over the edge of 'm'",
        "within 'm'",
    ),
    "patches that overlap": (
        lambda: stack([die(joint=ts.Interface("m", "gallium alloy", patches=[
            ts.Patch("a", ("1 mm", "1 mm"), ("2 mm", "2 mm"), "9600 mm^2*K/W"),
            ts.Patch("b", ("2 mm", "2 mm"), ("2 mm", "2 mm"), "9600 mm^2*K/W")]))]),
        "b: it overlaps the patch 'a'",
        "side by side",
    ),
    "wetted beyond the plate": (
        lambda: stack([die()], coolant=ts.Coolant("26 degC", conductance="1 kW/m^2/K", wetted=("60 mm", "20 mm"))),
        "coolant.wetted: it reaches 5 mm over the edge of 'plate'",
        "within 'plate'",
    ),
    "sensor nowhere": (lambda: stack([die()], sensors=[ts.Sensor("probe", "plat")]), "probe.at", "did you mean 'plate'"),
    "joint that covers nothing": (
        lambda: stack([die(joint=ts.Interface("m", "gallium alloy", footprint=("2 mm", "2 mm"), centre=("20 mm", "0 mm")))]),
        "m: it covers nothing",
        "a footprint and centre",
    ),
    "first layer without footprint": (lambda: stack([die()], [ts.Layer("lid", "copper", "2 mm")]), "lid: the first layer", "footprint="),
}  # fmt: skip


@pytest.mark.parametrize(("make", "problem", "right"), STACKS.values(), ids=STACKS.keys())
def test_a_stack_that_cannot_be(make, problem, right):
    with pytest.raises(ts.InputError) as caught:
        ts.predict(make())
    assert problem in str(caught.value)
    assert right in str(caught.value)


CALLS = {
    "solver": (lambda s: ts.predict(s, solver="layerd"), "did you mean 'layered'"),
    "limit below the coolant": (lambda s: ts.predict(s).headroom("20 degC"), "limit: '20 degC' is not above the coolant at 26"),
    "limit without a unit": (lambda s: ts.compare(s, s.remounted(), limit=95).table, "limit: 95 has no unit"),
    "one variant": (lambda s: ts.compare(s), "a baseline and at least one mod"),
    "no stack": (lambda s: ts.compare(s, "relid"), "variant 2: 'relid' is no stack"),
    "sweep of nothing": (lambda s: ts.sweep(s, "paste.bondline", "1 um", "2 um"), "did you mean 'bond_line'"),
    "no path": (lambda s: ts.sweep(s, "paste", "1 um", "2 um"), "expected part and field, such as 'paste.bond_line'"),
    "equal ends": (lambda s: ts.sweep(s, "lid.thickness", "1 mm", "1 mm"), "two different values"),
    "ends without units": (lambda s: ts.sweep(s, "lid.thickness", 1, 2), "lid.thickness, start of the sweep: 1 has no unit"),
    "one point": (lambda s: ts.sweep(s, "lid.thickness", "1 mm", "2 mm", points=1), "an integer of at least 2"),
    "log to zero": (lambda s: ts.sweep(s, "paste.contact", "0 mm^2*K/W", "2 mm^2*K/W", scale="logarithmic"), "above zero"),
    "same path twice": (
        lambda s: ts.sweep(s, "lid.thickness", "1 mm", "2 mm", "lid.thickness", "1 mm", "2 mm"), "swept twice"),
    "half a second input": (lambda s: ts.sweep(s, "lid.thickness", "1 mm", "2 mm", "paste.bond_line"), "no start and stop"),
}  # fmt: skip


@pytest.mark.parametrize(("call", "text"), CALLS.values(), ids=CALLS.keys())
def test_a_call_that_cannot_be(soldered, call, text):
    with pytest.raises(ts.InputError) as caught:
        call(soldered)
    assert text in str(caught.value)


def test_errors_travel_between_processes():
    import pickle

    error = ts.UnitError("2.4 has no unit", where="lid.thickness", expected="for example '2.4 mm'")
    again = pickle.loads(pickle.dumps(error))
    assert (type(again), str(again)) == (type(error), str(error))
