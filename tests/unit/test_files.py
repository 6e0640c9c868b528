"""Stacks in files: what is read, what is written, and what is said of a file that cannot be read."""

import dataclasses
import math
import os
import stat
import tomllib

import pytest

import thermostack as ts
from thermostack.catalogue import InterfaceClass, Material, Range, TemperatureLaw, interface_class, material
from thermostack.errors import FileError, InputError
from thermostack.stack.cooling import ChannelPlate, Radiator
from thermostack.stack.files import from_toml, read_stack, read_variants, to_toml, write_stack
from thermostack.stack.lines import Lines
from thermostack.stack.parts import Board, Coolant, Die, Interface, Layer, Leakage, Patch, PowerMap, Region, Sensor
from thermostack.stack.stack import Stack
from thermostack.units import parse

BASE = """\
name = "workstation part, as delivered"

[[die]]
name = "die"
material = "silicon"
thickness = "0.72 mm"
footprint = ["12.4 mm", "17.6 mm"]
power = "230 W"

[[die.joint]]
name = "solder"
interface = "indium solder"
bond_line = "0.25 mm (sd 0.04 mm)"

[[layer]]
name = "lid"
material = "copper"
thickness = "2.4 mm"
footprint = ["36 mm", "36 mm"]

[[layer]]
name = "paste"
interface = "ceramic paste"

[[layer]]
name = "cold plate"
material = "copper"
thickness = "3 mm"
footprint = ["50 mm", "50 mm"]

[coolant]
temperature = "26 degC"
conductance = "35 kW/m^2/K"
"""

RELID = """
[[mod]]
name = "relid with liquid metal"
replace.solder = { name = "liquid metal", interface = "gallium alloy" }
"""


def soldered(**changes):
    parts = {
        "name": "workstation part, as delivered",
        "dies": [
            Die("die", "silicon", "0.72 mm", ("12.4 mm", "17.6 mm"), "230 W",
                Interface("solder", "indium solder", bond_line="0.25 mm (sd 0.04 mm)"))
        ],
        "layers": [
            Layer("lid", "copper", "2.4 mm", ("36 mm", "36 mm")),
            Interface("paste", "ceramic paste"),
            Layer("cold plate", "copper", "3 mm", ("50 mm", "50 mm")),
        ],
        "coolant": Coolant("26 degC", conductance="35 kW/m^2/K"),
    }  # fmt: skip
    return Stack(**{**parts, **changes})


def mounts(stack):
    return {part.name: part.mount for part in stack.parts() if isinstance(part, Interface)}


def line_of(text, beginning, nth=1):
    hits = [n for n, line in enumerate(text.split("\n"), 1) if line.startswith(beginning)]
    return hits[nth - 1]


# -- reading and writing


def test_the_part_is_read_as_described_and_its_mods_are_left_alone(tmp_path):
    path = tmp_path / "part.toml"
    path.write_text(BASE + '\n[[mod]]\nname = "broken"\nreplace.nothing = 3\n', encoding="utf-8")
    assert read_stack(path) == soldered()
    with pytest.raises(FileError, match="nothing"):
        read_variants(path)


def test_a_mod_in_a_file_is_the_mod_of_the_library(tmp_path):
    path = tmp_path / "part.toml"
    path.write_text(BASE + RELID, encoding="utf-8")
    base, relid = read_variants(str(path))
    expected = soldered().replace("solder", Interface("liquid metal", "gallium alloy"))
    assert (base, relid) == (soldered(), expected)
    assert mounts(relid) == mounts(expected)
    assert mounts(relid) != mounts(base)
    assert relid.edits == expected.edits
    assert relid.label == "relid with liquid metal"


def test_the_plain_part_is_written_as_a_person_would():
    assert to_toml(soldered()) == BASE
    relid = soldered().replace("solder", Interface("liquid metal", "gallium alloy")).named("relid with liquid metal")
    assert to_toml(soldered(), relid) == BASE + RELID


FULL = soldered(
    dies=[
        Die("die", "silicon", "0.72 mm", ("12.4 mm", "17.6 mm"),
            PowerMap("230 W", [Region("core 0", "21 W (sd 1 W)", ("0 mm", "1 mm"), ("2 mm", "2 mm")),
                               Region("core 1", "20 W", ("3 mm", "1 mm"), ("2 mm", "2 mm"))]),
            [Layer("plating", "nickel plating", "4 um"),
             Interface("solder", "indium solder", resistance="5 mm^2*K/W (x/ 1.4)", void_fraction=0.05,
                       footprint=("10 mm", "16 mm"), centre=("0.5 mm", "0 mm"),
                       patches=[Patch("void", ("0 mm", "0 mm"), ("1 mm", "1 mm"), "9600 mm^2*K/W")])],
            centre=("-8 mm", "0 mm"), mirrored=True, conductivity="120 W/m/K",
            leakage=Leakage("20 W (x/ 1.3)", "70 degC", "50 K", "linear")),
        Die("second", "silicon", "0.72 mm", ("5 mm", "5 mm"), "10 W",
            Interface("pressed", "ceramic paste", pressure="300 kPa (sd 50 kPa)", yield_stress="150 Pa (x/ 1.5)",
                      gap="10 um", bow="-5 um (sd 9 um)"),
            centre=("8 mm", "1 mm")),
    ],
    layers=[Layer("lid", "copper", "2.4 mm", ("36 mm", "36 mm"), centre=("1 mm", "0 mm"), conductivity="380 W/m/K",
                  conductivity_in_plane="25 .. 60 W/m/K"),
            Interface("paste", bond_line="25 .. 60 um", conductivity="5(1) W/m/K", contact="0 mm^2*K/W", mount="third"),
            Layer("cold plate", "copper", "3 mm", ("50 mm", "50 mm"))],
    coolant=Coolant("26 degC (sd 0.5 K)", resistance="0.03 K/W", contains_plate=False, wetted=("40 mm", "40 mm"), centre=("1 mm", "2 mm"),
                    reference="mean"),
    board=Board("5 K/W", "40 degC"),
    sensors=[Sensor("tc", "lid", point=("1 mm", "-2 mm"), offset="0 K (sd 0.5 K)", slope="0(1) %", pivot="100 degC",
                    step="1 K", reads="truncating")],
)  # fmt: skip


COOLANTS = [
    Coolant("26 degC", resistance="0.03 K/W", contains_plate=True),
    Coolant(
        "26 degC",
        model=ChannelPlate("0.2 mm", "0.2 mm", "2 mm"),
        flow="4 L/min",
        reference="ambient",
        radiator=Radiator(resistance="0.03 K/W"),
    ),
]
"""Their round trip is made in test_cooling.py."""


def test_every_field_of_every_part_makes_the_round_trip():
    (again,) = from_toml(to_toml(FULL))
    assert again == FULL
    assert repr(again) == repr(FULL)  # mounts and values as written too
    text = to_toml(FULL)
    assert (
        '    { name = "core 0", power = "21 W (sd 1 W)", corner = ["0 mm", "1 mm"], size = ["2 mm", "2 mm"] },' in text
    )
    for kind in (Die, Region, Interface, Patch, Layer, Coolant, Board, Sensor):
        for field in dataclasses.fields(kind):
            told = [getattr(p, field.name) for p in [*FULL.parts(), *soldered().parts(), *COOLANTS] if type(p) is kind]
            assert any(value not in (None, (), False) for value in told), f"{kind.__name__}.{field.name} is not tried"


def test_defaults_are_not_written():
    text = to_toml(soldered())
    for word in ("mount", "centre", "reference", "mirrored", "reads", "title"):
        assert word not in text


def test_a_variant_alone_keeps_its_mounts_and_its_label(tmp_path):
    relid = soldered().replace("solder", Interface("liquid metal", "gallium alloy"))
    write_stack(tmp_path / "relid.toml", relid)
    again = read_stack(tmp_path / "relid.toml")
    assert (again, again.label) == (relid, relid.label)
    assert mounts(again) == mounts(relid)
    assert "first" not in mounts(again).values()
    remounted = relid.remounted().named("on again")
    base, variant = from_toml(to_toml(relid, remounted))
    assert (base, variant, mounts(variant)) == (relid, remounted, mounts(remounted))
    assert variant.edits == remounted.edits[1:]


def all_verbs():
    base = soldered()
    relid = base.replace("solder", Interface("liquid metal", "gallium alloy")).named("relid")
    bare = relid.without("lid", "paste").named("bare")
    one_by_one = relid.without("lid").without("paste").named("bare, one by one")
    film = base.insert_after("lid", Interface("film", resistance="3 mm^2*K/W")).named("film")
    tuned = film.change({"paste.resistance": ("9", "mm^2*K/W"), "die.power": "200 W"}).named("tuned")
    turns = base.remounted().change("die.power", "200 W").remounted("paste").named("there and back")
    swapped = base.replace(
        "die",
        Die("die", "silicon", "0.8 mm", ("12 mm", "17 mm"), PowerMap("99 W", [
            Region("core", "9 W", ("0 mm", "0 mm"), ("2 mm", "2 mm"))]), Interface("glue", "ceramic paste")),
    ).named("another die")  # fmt: skip
    cooler = base.replace("coolant", Coolant("20 degC", resistance="0.02 K/W", contains_plate=False)).named("cooler")
    return base, relid, bare, one_by_one, film, tuned, turns, swapped, cooler


def test_every_verb_makes_the_round_trip():
    given = all_verbs()
    read = from_toml(to_toml(*given))
    assert read == given
    assert [s.label for s in read] == [s.label for s in given]
    assert [s.edits for s in read] == [s.edits for s in given]
    assert [mounts(s) for s in read] == [mounts(s) for s in given]
    assert mounts(given[2]) != mounts(given[3])  # lid and paste in one go, or one after the other


def test_a_mod_starts_from_the_latest_variant_that_leads_to_it():
    mods = {mod["name"]: mod for mod in tomllib.loads(to_toml(*all_verbs()))["mod"]}
    assert {name: mod.get("from") for name, mod in mods.items()} == {
        "relid": None, "bare": "relid", "bare, one by one": "relid", "film": None, "tuned": "film",
        "there and back": None, "another die": None, "cooler": None,
    }  # fmt: skip
    assert mods["bare"]["without"] == ["lid", "paste"]
    assert mods["bare, one by one"]["step"] == [{"without": ["lid"]}, {"without": ["paste"]}]
    assert mods["there and back"]["step"] == [
        {"remounted": True}, {"change": {"die.power": "200 W"}}, {"remounted": "paste"},
    ]  # fmt: skip


def test_verbs_are_executed_in_the_order_in_which_they_stand():
    mod = '\n[[mod]]\nname = "m"\n{}\n{}\n'
    verbs = ('without = ["lid"]', 'insert_after.die = { name = "lid", resistance = "1 mm^2*K/W" }')
    with pytest.raises(FileError, match="two parts are named 'lid'"):
        from_toml(BASE + mod.format(*reversed(verbs)))
    stack = from_toml(BASE + mod.format(*verbs))[1]
    assert [joint.name for joint in stack.dies[0].joint] == ["lid", "solder"]


def test_a_change_may_be_written_with_dots():
    mod = '\n[[mod]]\nname = "m"\nchange.paste.bond_line = "40 um"\nchange."lid.footprint_x" = "30 mm"\n'
    stack = from_toml(BASE + mod)[1]
    assert stack == soldered().change("paste.bond_line", "40 um").change("lid.footprint_x", "30 mm")


def test_a_variant_that_its_mods_do_not_lead_to_is_refused():
    other = soldered(coolant=Coolant("30 degC", conductance="35 kW/m^2/K")).without("lid")
    for stranger in (other, soldered().named("same"), soldered().without("lid").swap("paste", [])):
        with pytest.raises(InputError, match="is not reached from 'workstation part, as delivered' by its mods"):
            to_toml(soldered(), stranger)
    twice = soldered().without("lid").named("x")
    with pytest.raises(InputError, match="two variants are called 'x'"):
        to_toml(soldered(), twice, soldered().without("paste").named("x"))
    with pytest.raises(InputError, match="without a die"):
        to_toml(soldered(dies=[]))


HOSTILE = ['q"uote', "back\\slash", "[[brackets]]", "{ x = 1 }", "# no comment", "µ é 漢 😀", "new\nline\ttab", "a = b",
           "'single'", '"""', "\x7f\x01", "a\u2028b", "-"]  # fmt: skip


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_names_survive(name, tmp_path):
    base = soldered(name=name, layers=[Interface(name, "ceramic paste"), Layer("plate", "copper", "3 mm")])
    mod = base.change(f"{name}.resistance", "9 mm^2*K/W").replace(name, Interface(name + "'", "gallium alloy"))
    mod = mod.insert_after(name + "'", Layer("p", "copper", "1 um")).remounted(name + "'").without(name + "'")
    write_stack(tmp_path / "part.toml", base, mod.named(name), mod.remounted("p"))
    again = read_variants(tmp_path / "part.toml")
    assert again == (base, mod, mod.remounted("p"))
    assert again[1].edits == mod.edits


def test_a_name_that_is_no_text_is_refused_and_nothing_is_left(tmp_path):
    with pytest.raises(InputError, match="is not a character"):
        write_stack(tmp_path / "part.toml", soldered(name="\ud800"))
    assert list(tmp_path.iterdir()) == []


# -- materials and classes of one's own


def test_own_materials_and_classes_are_read_with_the_limits_that_a_spread_means():
    text = (
        BASE.replace('"ceramic paste"', '"my paste"').replace('material = "copper"', 'material = "My  Copper"', 1)
        + """
[[material]]
name = "my copper"
conductivity = "380 W/m/K (sd 5 W/m/K)"
conductivity_in_plane = ["300 W/m/K", "310 W/m/K", "400 W/m/K"]
density = "8.9 g/cm^3"
max_service = "200 degC"
law = { kind = "linear", slope = "-0.0005 1/K", fit_range = ["250 K", "400 K"] }
source = "my bench"

[[material]]
name = "grease"
conductivity = "4 W/m/K"
electrical = "insulator"

[[interface_class]]
name = "my paste"
resistance = "10 mm^2*K/W (x/ 1.5)"
bond_line = "20 .. 60 um"
material = "grease"
mount_sigma_ln = "0.1"
source = "my bench"
"""
    )
    stack = read = from_toml(text)[0]
    mine, paste = stack.part("lid").material, stack.part("paste").interface
    # 97.5 % point of a normal distribution 1.96 sd from its middle
    assert mine.conductivity.low == pytest.approx(380 - 1.96 * 5, rel=1e-12)
    assert mine.conductivity.high == pytest.approx(380 + 1.96 * 5, rel=1e-12)
    assert mine.conductivity_in_plane == Range(300, 310, 400)
    assert (mine.density, mine.max_service, mine.law.slope) == (8900.0, 473.15, -0.0005)
    assert mine.law.fit_range == (250.0, 400.0)
    assert (mine.source, mine.provenance) == ("my bench", "given by the user")
    row = paste.at("die to plate")
    assert row.resistance.typical == 1e-5
    assert row.resistance.factor == pytest.approx(1.5, rel=1e-12)
    assert row.resistance.high / row.resistance.typical == pytest.approx(1.5**1.96, rel=1e-12)
    # of limits from 20 to 60 um, 95 % lie between 21 and 59
    assert (row.bond_line.low, row.bond_line.typical, row.bond_line.high) == pytest.approx((21e-6, 40e-6, 59e-6))
    assert row.material.electrical == "insulator"
    assert row.mount_sigma_ln == 0.1
    written = to_toml(read)
    assert from_toml(written)[0] == read
    for told in ('"380 W/m/K (sd 5 W/m/K)"', '"10 mm^2*K/W (x/ 1.5)"', '"8900 kg/m^3"', '"200 degC"', '"-0.0005 1/K"'):
        assert told in written


def test_own_values_are_written_to_the_last_bit():
    third = Material.of("third", (1 / 3, math.pi, 10 / 3), density=8900 / 7, solidus=500 / 3, law=TemperatureLaw(
        "power", exponent=-1 / 3, reference=1000 / 3))  # fmt: skip
    joint = InterfaceClass.of("joint", (1e-6 / 3, 1e-5 / 7, 1e-5 / 3), contact_resistance=1e-6 / 7,
                              contact_factor=4 / 3, bad_mounts=(0.01, 1 / 30, 0.1), demountable=False,
                              material=third)  # fmt: skip
    base = soldered(layers=[Interface("paste", joint), Layer("plate", third, "3 mm", ("50 mm", "50 mm"))])
    mod = base.replace("paste", Interface("new", InterfaceClass.of("only in the mod", 1e-5)))
    again = from_toml(to_toml(base, mod))
    assert again == (base, mod)
    assert mounts(again[1]) == mounts(mod)
    assert again[0].part("plate").material == third


def test_a_name_of_the_library_may_be_taken_by_the_file_but_not_by_two():
    mine = Material.of("copper", 350.0)
    layers = [Layer("plate", mine, "3 mm", ("50 mm", "50 mm"))]
    assert from_toml(to_toml(soldered(layers=layers)))[0].part("plate").material == mine
    with pytest.raises(InputError, match="two of Material are named 'copper'"):
        to_toml(soldered(layers=[*layers, Layer("lid", "copper", "3 mm")]))


def test_what_the_file_has_no_words_for_is_refused():
    odd = dataclasses.replace(material("copper"), name="odd")
    with pytest.raises(InputError, match="the Material 'odd' holds more than a file can"):
        to_toml(soldered(layers=[Layer("lid", odd, "3 mm")]))
    odd_class = dataclasses.replace(interface_class("ceramic paste"), name="odd")
    with pytest.raises(InputError, match="the InterfaceClass 'odd' holds more than a file can"):
        to_toml(soldered(layers=[Interface("x", odd_class)]))
    pinned = soldered(layers=[Interface("x", "ceramic paste, die to plate")])
    assert from_toml(to_toml(pinned)) == (pinned,)


# -- errors


def bad(text, *words, line=None):
    with pytest.raises(FileError) as caught:
        from_toml(text, "part.toml")
    said = str(caught.value)
    for word in words:
        assert word in said, said
    assert said.startswith("part.toml" if line is None else f"part.toml, line {line}"), said
    if line is not None:
        assert not said.startswith(f"part.toml, line {line}0"), said
    return said


def changed(old, new, nth=1):
    """Return the file with one line changed, and the number of this line."""
    n = line_of(BASE, old, nth)
    lines = BASE.split("\n")
    lines[n - 1] = new
    return "\n".join(lines), n


@pytest.mark.parametrize(
    ("old", "nth", "new", "words"),
    [
        ("thickness", 2, 'thickness = "2.4"', ["lid.thickness", "no unit", "'2.4 mm'"]),
        ("thickness", 3, "thickness = 3", ["cold plate.thickness", "3 has no unit", "'3 mm'"]),
        ("thickness", 1, 'thickness = "720 mm"', ["die.thickness", "720 um"]),
        ("footprint", 2, 'footprint = ["36 mm", "36 K"]', ["lid.footprint_y", "'K' is not a unit of length"]),
        ("footprint", 2, 'footprint = "36 mm"', ["lid.footprint", "not a pair", "('36 mm', '36 mm')"]),
        ("power", 1, "power = 230", ["die.power", "230 has no unit", "'230 W'"]),
        ("power", 1, 'pwer = "230 W"', ["die", "unknown key 'pwer'", "did you mean 'power'?"]),
        ("power", 1, 'power = { total = "9 K" }', ["die.power", "'K' is not a unit of power"]),
        ("power", 1, "power = { region = [] }", ["die.power.total", "is missing", 'total = "230 W"']),
        ("power", 1, 'power = "9 W"\nleakage = 3', ["die.leakage", "3 is not a table", "{ power"]),
        ("power", 1, 'power = "9 W"\nleakage = { power = "3 W" }', ["leakage.at", "missing", 'at = "70 degC"']),
        ("power", 1, 'power = "9 W"\nleakage = { power = "3 W", at = 70 }', ["die.leakage", "'70 degC'", "no unit"]),
        ("power", 1, "power = { total = '9 W', region = 3 }", ["3 is not an array of tables", "[[region]]"]),
        ("material", 2, 'material = "coper"', ["lid.material", "'coper'", "did you mean 'copper'"]),
        ("material", 2, "material = 3", ["lid.material", "3 is not a name", 'material = "copper"']),
        ("interface", 2, 'interface = "ceramic past"', ["paste.interface", "did you mean 'ceramic paste'"]),
        ("interface", 2, 'thickness = "20 um"', ["paste", "needs material", "bond_line"]),
        ("name", 4, 'name = "solder"', ["two parts are named 'solder'", "a name of its own"]),
        ("name", 4, 'name = "coolant"', ["two parts are named 'coolant'"]),
        ("name", 4, "name = 4", ["4 is not a name"]),
        ("name", 4, 'name = "l.id"', ["'l.id' holds a dot"]),
        ("temperature", 1, 'temperature = "26 K"', ["coolant.temperature", "did you mean '26 degC'?"]),
        ("temperature", 1, "temperature = 1979-05-27", ["coolant.temperature", "cannot read"]),
        ("name", 1, "name = 3", ["3 is not a name"]),
        ("bond_line", 1, 'bond_line = "0.25 mm (sd 0.04 K)"', ["solder.bond_line", "does not fit"]),
    ],
)
def test_an_error_names_the_line_the_part_the_field_and_a_right_value(old, nth, new, words):
    text, line = changed(old, new, nth)
    bad(text, *words, line=line + new.count("\n"))


@pytest.mark.parametrize(
    ("cut", "nth", "header", "words"),
    [
        ("thickness", 2, ("[[layer]]", 1), ["lid.thickness", "is missing", 'thickness = "2.4 mm"']),
        ("power", 1, ("[[die]]", 1), ["die.power", "is missing", 'power = "230 W"']),
        ("name", 4, ("[[layer]]", 1), ["layer.name", "is missing", 'name = "lid"']),
        ("conductance", 1, ("[coolant]", 1), ["coolant", "neither conductance, resistance nor model"]),
        ("name", 1, None, ["'name' is missing"]),
    ],
)
def test_a_missing_key_is_named_at_its_table(cut, nth, header, words):
    text, _ = changed(cut, "", nth)
    bad(text, *words, line=1 if header is None else line_of(text, *header))


def test_parts_that_must_be_there():
    text, _ = changed("conductance", "conductance = 1" + "0" * 400)
    bad(text, "coolant", "too large", line=line_of(text, "[coolant]"))
    bad(BASE.replace("[coolant]", "[board]"), "'coolant' is missing", 'temperature = "26 degC"')
    bad(BASE.replace("[[die", "[[dye"), "unknown key 'dye'; did you mean 'die'?", line=3)
    bad(BASE.replace("[[die]]", "[die]"), "not an array of tables", "[[die]]", line=3)
    bad(BASE.replace("[coolant]", "[[coolant]]"), "is not a table", "[coolant]", line=line_of(BASE, "[coolant]"))
    bad('name = "x"', "'die' is missing", "[[die]]")
    bad("", "empty")
    bad("# nothing but this\n", "empty")


@pytest.mark.parametrize(
    ("text", "line"),
    [(BASE + "thickness 3\n", BASE.count("\n") + 1), (BASE.replace('"2.4 mm"', '"2.4 mm'), 18), ('x = "a', 1),
     ("x = " + "[" * 20000, None), ("x = 1" + "0" * 5000, None), ('a = 1\na = 2\n', 2)],
)  # fmt: skip
def test_broken_toml_names_its_line(text, line):
    bad(text, "not valid TOML", "expected", line=line)


@pytest.mark.parametrize(
    ("mod", "row", "words"),
    [
        ('replace.soldr = { name = "x", interface = "gallium alloy" }', 3, ["'soldr'", "did you mean 'solder'?"]),
        ('replace.solder = { name = "x", interface = "galium alloy" }', 3, ["x.interface", "gallium alloy"]),
        ('replace.solder = { name = "x", bond_line = "4 mm" }', 3, ["x.bond_line", "micrometres"]),
        ("replace.solder = 3", 3, ["m.replace", "3 is not a table"]),
        ("replace = {}", 3, ["no part is named"]),
        ('without = ["lid", "past"]', 3, ["'past'", "did you mean 'paste'?"]),
        ('without = "lid"', 3, ["is not a list of names", '["lid", "paste"]']),
        ('without = ["coolant"]', 3, ["without a coolant"]),
        ('wihtout = ["lid"]', 3, ["unknown key 'wihtout'", "did you mean 'without'?"]),
        ('change = { "paste.bond_lin" = "4 um" }', 3, ["'bond_lin'", "did you mean 'bond_line'"]),
        ('change = { "paste.bond_line" = "4" }', 3, ["paste.bond_line", "no unit"]),
        ('change = { paste = "4 um" }', 3, ["'paste' is not a path"]),
        ("remounted = false", 3, ["False is not a name", "remounted = true"]),
        ('remounted = "lidd"', 3, ["did you mean 'lid'?"]),
        ('insert_after.coolant = { name = "x", interface = "gallium alloy" }', 3, ["nothing can lie above"]),
        ("", 1, ["changes nothing", "replace.solder"]),
        ('from = "relid"\nwithout = ["lid"]', 3, ["no earlier mod is named 'relid'"]),
        ('without = ["lid"]\n[[mod.step]]\nremounted = true', 1, ["verbs beside steps"]),
        ('[[mod.step]]\nremounted = true\nwithout = ["lid"]', 3, ["a step with 2 verbs"]),
        ('[[mod.step]]\nremouted = true', 4, ["unknown key 'remouted'"]),
        ('change."die.power" = "2 W"\nremounted = true\nchange."lid.thickness" = "2 mm"', 3, ["twice", "[[mod.step]]"]),
        ('[mod.replace.lid]\nname = "x"\nmaterial = "copper"\nthickness = 3', 6, ["x.thickness", "3 has no unit"]),
    ],
)  # fmt: skip
def test_errors_of_mods_stand_at_their_line(mod, row, words):
    bad(f'{BASE}[[mod]]\nname = "m"\n{mod}\n', *words, line=BASE.count("\n") + row)


def test_two_mods_of_one_name_are_refused():
    bad(BASE + RELID + RELID, "two mods are named 'relid with liquid metal'", line=(BASE + RELID).count("\n") + 3)


@pytest.mark.parametrize(
    ("table", "row", "words"),
    [
        ('[[material]]\nname = "x"', 1, ["x.conductivity", "is missing", "W/m/K"]),
        ("[[material]]\nconductivity = 3", 1, ["material.name"]),
        ('[[material]]\nname = "x"\nconductivity = 4', 3, ["x.conductivity", "no unit"]),
        ('[[material]]\nname = "x"\nconductivity = "4 W/m/K (sd 3 W/m/K)"', 3, ["is not a range"]),
        ('[[material]]\nname = "x"\nconductivity = "4 W/m/K"\ndensty = "1 g/cm^3"', 4, ["did you mean 'density'"]),
        ('[[material]]\nname = "x"\nconductivity = "4 W/m/K"\nelectrical = "yes"', 4, ["x.electrical", "insulator"]),
        ('[[material]]\nname = "x"\nconductivity = "4 W/m/K"\nlaw = { knd = "power" }', 4, ["'knd'", "exponent"]),
        ('[[material]]\nname = "x"\nconductivity = "4 W/m/K"\nlaw = { kind = "cubic" }', 4, ["x.law", "linear"]),
        ('[[material]]\nname = "x"\nconductivity = "4 W/m/K"\nsource = ""', 4, ["x.source", "assumed"]),
        ('[[material]]\nname = "x"\nconductivity = "4 W/m/K"\nis_aluminium = 1', 4, ["true or false"]),
        ('[[interface_class]]\nname = "x"\nresistance = "4 mm^2*K/W"\nmaterial = "nil"', 4, ["x.material", "'nil'"]),
        ('[[interface_class]]\nname = "x"\nresistance = "4 mm^2*K/W"\nmount_sigma_ln = "0.1(1)"', 4, ["spread"]),
    ],
)  # fmt: skip
def test_errors_of_own_materials_stand_at_their_line(table, row, words):
    bad(f"{BASE}{table}\n", *words, line=BASE.count("\n") + row)
    name = '[[material]]\nname = "x"\nconductivity = "4 W/m/K"\n'
    bad(BASE + name + name.replace("x", "X"), "described twice", line=BASE.count("\n") + 5)


# -- files


def test_files_that_are_none(tmp_path):
    with pytest.raises(FileError, match=r"nowhere\.toml: cannot be read: no such file"):
        read_stack(tmp_path / "nowhere.toml")
    with pytest.raises(FileError, match="cannot be read: is a directory"):
        read_variants(tmp_path)
    with pytest.raises(FileError, match="cannot be read"):
        read_stack("a\0b")
    (tmp_path / "latin.toml").write_bytes(BASE.encode() + '# 5 µm\nx = "µ"'.encode("latin-1"))
    with pytest.raises(FileError, match=rf"line {BASE.count(chr(10)) + 1}: byte 0xb5 is not text in UTF-8"):
        read_stack(tmp_path / "latin.toml")


def test_a_file_from_another_editor(tmp_path):
    (tmp_path / "part.toml").write_bytes(b"\xef\xbb\xbf" + BASE.replace("\n", "\r\n").encode())
    assert read_stack(tmp_path / "part.toml") == soldered()


def test_writing_replaces_the_whole_file_or_nothing(tmp_path, monkeypatch):
    path = tmp_path / "part.toml"
    write_stack(path, FULL)
    path.chmod(0o640)
    write_stack(path, soldered())
    assert path.read_text(encoding="utf-8") == BASE
    assert stat.S_IMODE(path.stat().st_mode) == 0o640
    link = tmp_path / "link.toml"
    link.symlink_to(path)
    write_stack(link, FULL)
    assert link.is_symlink()
    assert read_stack(path) == FULL
    write_stack(path, soldered())

    def full_disk(*_):
        raise OSError(28, "No space left on device")

    for step in ("fsync", "replace"):
        with monkeypatch.context() as patch:
            patch.setattr(os, step, full_disk)
            with pytest.raises(FileError, match="cannot be written: no space left on device"):
                write_stack(path, FULL)
        assert path.read_text(encoding="utf-8") == BASE
        assert sorted(tmp_path.iterdir()) == [link, path]
    with pytest.raises(InputError, match="is not reached"):
        write_stack(path, FULL, soldered().without("lid"))
    assert path.read_text(encoding="utf-8") == BASE
    with pytest.raises(FileError, match="cannot be written"):
        write_stack(tmp_path, soldered())
    with pytest.raises(FileError, match="cannot be written: no such file"):
        write_stack(tmp_path / "no folder" / "part.toml", soldered())
    assert sorted(tmp_path.iterdir()) == [link, path]


# -- the locator


def test_lines_are_found_through_strings_arrays_and_comments():
    text = '''\
a = """
[[not.a.table]]
b = 1"""
c = [ # [
  "[x]", { d = 1 },
  { d = 2 },
]
[[t]]
k."q.r" = { z = "}" }
[[t]]
[[t.u]]
[t.u.v]
w = '\'
'''
    lines = Lines(text)
    expected = {("a",): 1, ("b",): 1, ("c",): 4, ("c", 0): 5, ("c", 1, "d"): 6, ("t", 0): 8, ("t", 0, "k", "q.r"): 9,
                ("t", 0, "k", "q.r", "z"): 9, ("t", 1): 10, ("t", 1, "u", 0): 11, ("t", 1, "u", 0, "v"): 12,
                ("t", 1, "u", 0, "v", "w"): 13, ("t", 1, "u", 0, "x"): 11, ("t", 1, "k"): 10}  # fmt: skip
    assert {place: lines.find(place) for place in expected} == expected
    assert Lines("x.a = 1\ny = 2\nx.b = 3").keys(()) == ["x", "y", "x"]


@pytest.mark.parametrize("text", ["25 .. 60 um", "0.001 .. 60 um", "1 mm (limits 1e-9 mm)", "0.1 .. 0.3 mm"])
def test_limits_read_back_as_what_was_written(text):
    value = parse(text, "length")
    assert parse(str(value), "length") == value
    assert str(parse(str(value), "length")) == str(value)
    if ".." in text:
        assert str(value) == text


def test_own_materials_and_classes_take_units_in_code():
    alloy = ts.own_material(
        "lid alloy", "360 W/m/K (x/ 1.03)", max_service="200 degC", law={"kind": "power", "exponent": -0.1}
    )
    assert alloy.max_service == pytest.approx(473.15)
    assert alloy.law.exponent == -0.1
    paste = ts.own_interface("bench paste", ("7 mm^2*K/W", "9 mm^2*K/W", "12 mm^2*K/W"), material="ceramic paste")
    assert paste.at("die to plate").resistance.high == pytest.approx(12e-6)
    assert paste.at("die to plate").hazards
    for make, text in (
        (lambda: ts.own_material("alloy", 360), "alloy.conductivity: 360 has no unit; expected for example '360 W/m/K'"),
        (lambda: ts.own_material("alloy", "360 W/m/K", densty="1 kg/m^3"), "alloy: there is no 'densty'; did you mean 'density'?"),
        (lambda: ts.own_interface("paste", "9 mm"), "paste.resistance: 'mm' is not a unit of specific resistance"),
        (lambda: ts.own_interface("paste", "9 mm^2*K/W", material="goo"), "no material is called 'goo'"),
    ):  # fmt: skip
        with pytest.raises(ts.InputError) as caught:
            make()
        assert text in str(caught.value)
