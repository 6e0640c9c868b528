"""Mods in the trade's words: what each changes, opens, refuses and warns of, and how files hold it."""

import ast
import re
from pathlib import Path

import pytest

import thermostack as ts
import thermostack.cautions.changes
from thermostack.cautions import cautions
from thermostack.errors import FileError, InputError, UnknownNameError
from thermostack.stack import mods
from thermostack.stack.files import from_toml, to_toml
from thermostack.stack.parts import Coolant, Die, Interface, Layer
from thermostack.stack.roles import cold_plate, die_joints, joint_of_cold_plate, lid
from thermostack.stack.stack import Stack


@pytest.fixture
def two():
    """Two dies with a solder joint each under one plated lid; platings below and above it."""
    dies = [
        Die(name, "silicon", "0.7 mm", ("8 mm", "9 mm"), "60 W", Interface(f"{name} solder", "indium solder"),
            centre=(x, "0 mm"))
        for name, x in (("left", "-8 mm"), ("right", "8 mm"))
    ]  # fmt: skip
    return Stack(
        "two dies",
        dies,
        [
            Layer("inner plating", "electroless nickel", "4 um", ("36 mm", "36 mm")),
            Layer("lid", "copper", "2.4 mm", ("36 mm", "36 mm")),
            Layer("outer plating", "electroless nickel", "5 um", ("36 mm", "36 mm")),
            Interface("paste", "ceramic paste"),
            Layer("plate", "copper", "3 mm", ("50 mm", "30 mm")),
        ],
        Coolant("26 degC", conductance="35 kW/m^2/K"),
    )


def names(parts):
    return [part.name for part in parts]


def opened(after, before):
    """Names of the joints that are made anew."""
    mounts = {p.name: p.mount for p in before.parts() if isinstance(p, Interface)}
    return {p.name for p in after.parts() if isinstance(p, Interface) and mounts.get(p.name) != p.mount}


def keys(stack, before):
    return {c.key for c in cautions(stack, baseline=before)}


# -- who is who


def test_parts_are_found_by_where_they_lie(soldered, bare, two):
    assert names(lid(soldered)) == ["lid"]
    assert names(lid(two)) == ["inner plating", "lid", "outer plating"]
    assert lid(bare) == ()
    assert names(die_joints(two)) == ["left solder", "right solder"]
    assert names(joint_of_cold_plate(two)) == ["paste"]
    assert names(joint_of_cold_plate(bare)) == ["liquid metal"]
    assert names(cold_plate(soldered)) == ["cold plate"]


def test_a_shared_joint_counts_as_the_dies(two):
    dies = [Die(d.name, d.material, d.thickness, d.footprint, d.power, (), centre=d.centre) for d in two.dies]
    shared = Stack("shared", dies, [Interface("film", "ceramic paste"), *two.layers[1:]], two.coolant)
    assert names(die_joints(shared)) == ["film"]
    assert opened(mods.relid(shared, "gallium alloy"), shared) == {"gallium alloy", "paste"}


# -- relid, bare die, paste


def test_a_relid_is_the_joint_replaced_and_the_plate_remounted(soldered):
    relid = mods.relid(soldered, "gallium alloy", bond_line="30 um", name="liquid metal")
    same = soldered.replace("solder", Interface("liquid metal", "gallium alloy", bond_line="30 um"))
    assert relid == same  # the mounts too: it is the same step
    assert opened(relid, soldered) == {"liquid metal", "paste"}
    assert names(mods.relid(soldered, "gallium alloy").dies[0].joint) == ["gallium alloy"]
    assert mods.relid(soldered, Interface("mine", resistance="2 mm^2*K/W")).part("mine").resistance.magnitude == 2


def test_a_lid_off_several_dies_makes_a_joint_for_each(two):
    relid = mods.relid(two, "gallium alloy")
    assert names(die_joints(relid)) == ["gallium alloy for left solder", "gallium alloy for right solder"]
    assert opened(relid, two) == {*names(die_joints(relid)), "paste"}


def test_a_bare_die_is_lid_and_paste_taken_away(soldered, relid, bare, two):
    assert mods.bare_die(relid) == bare
    from_solder = mods.bare_die(soldered, Interface("liquid metal", "gallium alloy"))
    assert names(from_solder.layers) == ["cold plate"]
    assert ts.predict(from_solder).junction.magnitude == pytest.approx(ts.predict(bare).junction.magnitude)
    assert names(mods.bare_die(two, "gallium alloy").layers) == ["plate"]
    with pytest.raises(InputError, match="say what takes its place"):
        mods.bare_die(soldered)
    for act in (mods.bare_die, mods.relid):
        with pytest.raises(InputError, match="no lid"):
            act(bare, "gallium alloy")


def test_paste_is_what_lies_under_the_plate(soldered, bare):
    pad = mods.change_paste(soldered, "phase-change pad")
    assert pad == soldered.replace("paste", Interface("phase-change pad", "phase-change pad"))
    assert opened(pad, soldered) == {"phase-change pad"}
    assert names(mods.change_paste(bare, "ceramic paste").dies[0].joint) == ["ceramic paste"]
    # the name is taken by a part that stays
    again = mods.change_paste(mods.relid(soldered, "gallium alloy"), "gallium alloy")
    assert "gallium alloy for paste" in names(again.layers)
    with pytest.raises(InputError, match="beside a whole joint"):
        mods.change_paste(soldered, Interface("p", "ceramic paste"), bond_line="20 um")


def test_where_there_is_a_choice_the_candidates_are_named(soldered):
    chamber = soldered.insert_after("cold plate", Interface("upper paste", "ceramic paste")).insert_after(
        "upper paste", Layer("block", "copper", "3 mm", ("50 mm", "50 mm"))
    )
    with pytest.raises(InputError, match="joint='paste' or joint='upper paste'"):
        mods.change_paste(chamber, "phase-change pad")
    assert opened(mods.change_paste(chamber, "phase-change pad", joint="upper paste"), chamber) == {"phase-change pad"}
    with pytest.raises(UnknownNameError, match="did you mean 'paste'"):
        mods.change_paste(chamber, "phase-change pad", joint="past")
    glued = Stack("cooled lid", soldered.dies, soldered.layers[:1], soldered.coolant)
    with pytest.raises(InputError, match="relid"):
        mods.change_paste(glued, "ceramic paste")
    assert names(mods.relid(glued, "gallium alloy").dies[0].joint) == ["gallium alloy"]


# -- lapping


def test_lapping_a_lid_takes_thickness_off_and_opens_the_joint_above_only(soldered):
    lapped = mods.lap(soldered, "lid", by="0.25 mm")
    assert lapped.part("lid").thickness.si == pytest.approx(2.15e-3)
    assert opened(lapped, soldered) == {"paste"}
    assert mods.lap(soldered, "lid", to="2.15 mm").part("lid").thickness == lapped.part("lid").thickness
    assert ts.predict(lapped).point.total[0] == pytest.approx(230)
    below = mods.lap(soldered, "lid", by="0.25 mm", face="bottom", interface="gallium alloy")
    assert opened(below, soldered) == {"gallium alloy", "paste"}
    with pytest.raises(InputError, match="say what takes its place"):
        mods.lap(soldered, "lid", by="0.25 mm", face="bottom")


def test_spreads_of_what_was_and_what_comes_off_add_by_squares(soldered):
    rough = soldered.change("lid.thickness", "2.4 mm (sd 0.03 mm)")
    assert str(mods.lap(rough, "lid", by="0.2 mm").part("lid").thickness) == "2.2 mm (sd 0.03 mm)"
    assert str(mods.lap(rough, "lid", by="0.2 mm (sd 0.04 mm)").part("lid").thickness) == "2.2 mm (sd 0.05 mm)"
    limits = soldered.change("lid.thickness", "2.4 mm (limits 0.03 mm)")
    assert mods.lap(limits, "lid", by="200 um").part("lid").thickness.kind == "rectangular"


def test_a_plating_goes_first(two):
    through = mods.lap(two, "lid", by="0.105 mm")
    assert names(lid(through)) == ["inner plating", "lid"]
    assert through.part("lid").thickness.si == pytest.approx(2.3e-3)
    polished = mods.lap(two, "lid", by="2 um")
    assert polished.part("outer plating").thickness.si == pytest.approx(3e-6)
    assert polished.part("lid") == two.part("lid")
    assert opened(through, two) == opened(polished, two) == {"paste"}
    barely = mods.lap(two, "lid", by="8 um")
    assert names(lid(barely)) == ["inner plating", "lid"]
    assert barely.part("lid").thickness.si == pytest.approx(2.397e-3)
    below = mods.lap(two, "lid", to="2.3 mm", face="bottom", interface="gallium alloy")
    assert names(lid(below)) == ["lid", "outer plating"]


def test_a_lapped_plate_is_opened_from_below(soldered):
    lapped = mods.lap(soldered, "cold plate", by="0.1 mm")
    assert lapped.part("cold plate").thickness.si == pytest.approx(2.9e-3)
    assert opened(lapped, soldered) == {"paste"}
    assert mods.lap(soldered, "plate", by="0.1 mm") == lapped  # no part has this name: the role is meant


def test_a_die_gets_thinner_and_its_joint_is_another(soldered, relid, two):
    thin = mods.thin_die(relid, "0.5 mm")
    assert thin.part("die").thickness.si == pytest.approx(0.5e-3)
    assert opened(thin, relid) == {"liquid metal", "paste"}
    with pytest.raises(InputError, match="say what takes its place"):
        mods.thin_die(soldered, "0.5 mm")
    assert names(mods.thin_die(soldered, "0.5 mm", interface="gallium alloy").dies[0].joint) == ["gallium alloy"]
    with pytest.raises(InputError, match="part='left' or part='right'"):
        mods.thin_die(two, "0.5 mm", interface="gallium alloy")
    one = mods.thin_die(two, "0.5 mm", die="right", interface="gallium alloy")
    assert [d.thickness.si for d in one.dies] == pytest.approx([0.7e-3, 0.5e-3])
    assert "left solder" in names(one.dies[0].joint)


def test_flatness_is_the_bow_that_is_left(soldered):
    with pytest.raises(InputError, match=r"paste\.bow: how bowed"):
        mods.lap(soldered, "lid", flatness="5 um")
    bowed = soldered.change({"paste.bond_line": "25 um"}).change("paste.bow", "-40 um")
    flat = mods.lap(bowed, "lid", by="0.1 mm", flatness="5 um (sd 2 um)")
    assert str(flat.part("paste").bow) == "-5 um (sd 2 um)"  # on the side on which it was
    assert opened(flat, bowed) == {"paste"}
    assert ts.predict(flat).junction < ts.predict(bowed).junction
    with pytest.raises(InputError, match="zero or more"):
        mods.lap(bowed, "lid", flatness="-5 um")


def test_how_to_describe_a_bow_is_told_beside_what_is_known(soldered, relid):
    def told(stack, part, **more):
        with pytest.raises(InputError, match=r"\.bow: how bowed") as caught:
            mods.lap(stack, part, flatness="5 um", **more)
        return str(caught.value).partition("before lapping, change(")[2].removesuffix(")")

    pressed = soldered.change("paste.pressure", "150 kPa")
    for stack, part, beside in (
        (soldered, "lid", "'paste.pressure': '200 kPa', "),  # a paste by class: what presses it
        (relid, "die", "'liquid metal.bond_line': '30 um', "),  # nothing thins a liquid metal
        (pressed, "lid", ""),
        (soldered.change("paste.bond_line", "25 um"), "lid", ""),
    ):
        right = told(stack, part)
        assert right == f"{{{beside}'{'paste' if part == 'lid' else 'liquid metal'}.bow': '40 um'}}"
        described = stack.change(ast.literal_eval(right))
        assert ts.predict(mods.lap(described, part, flatness="5 um")).junction < ts.predict(described).junction
    with pytest.raises(InputError, match=r"'paste' by bond_line or pressure, .* in place of its resistance"):
        mods.lap(soldered.change("paste.resistance", "12 mm^2*K/W"), "lid", flatness="5 um")
    with pytest.raises(InputError, match="usual flatness"):
        soldered.change("paste.bow", "40 um")


@pytest.mark.parametrize(
    ("part", "how", "match"),
    [
        ("lid", {}, "nothing is lapped"),
        ("lid", {"by": "1 um", "to": "1 mm"}, "both by and to"),
        ("lid", {"by": "2.4 mm"}, "more than there is"),
        ("lid", {"by": "-0.1 mm"}, "above zero"),
        ("lid", {"by": "0.1"}, "no unit"),
        ("lid", {"to": "2.4 mm"}, "less than there is"),
        ("lid", {"by": "0.1 mm", "face": "side"}, "top or bottom"),
        ("die", {"by": "0.1 mm", "face": "bottom"}, "expected top"),
        ("cold plate", {"by": "0.1 mm", "face": "top"}, "expected bottom"),
        ("paste", {"by": "1 um"}, "cannot be lapped; expected 'die' or 'lid' or 'cold plate'"),
    ],
)
def test_what_cannot_be_lapped_is_told(soldered, part, how, match):
    with pytest.raises(InputError, match=match):
        mods.lap(soldered, part, **how)


# -- force, flow, plate


def test_a_force_is_a_pressure_over_where_lid_and_plate_meet(soldered, two, relid):
    pressed = mods.mount_force(soldered, "200 N (sd 10 N)")
    # 36 mm x 36 mm = 1296 mm²: 200 N are 154.3 kPa
    assert pressed.part("paste").pressure.si == pytest.approx(200 / 1296e-6, rel=1e-5)
    assert pressed.part("paste").pressure.spread_si == pytest.approx(10 / 1296e-6, rel=1e-5)
    assert opened(pressed, soldered) == {"paste"}
    assert opened(mods.mount_force(soldered, "200 N", remount=False), soldered) == set()
    assert mods.mount_force(two, "200 N").part("paste").pressure.si == pytest.approx(200 / (36e-3 * 30e-3), rel=1e-5)
    on_dies = mods.mount_force(mods.bare_die(two, "ceramic paste"), "50 N")
    assert [j.pressure.si for j in die_joints(on_dies)] == pytest.approx([50 / 144e-6] * 2, rel=1e-5)
    harder = mods.mount_force(soldered, "300 N")
    assert ts.predict(harder).junction < ts.predict(mods.mount_force(soldered, "100 N")).junction
    with pytest.raises(InputError, match="no yield stress"):
        mods.mount_force(mods.bare_die(relid), "50 N")
    with pytest.raises(InputError, match="its bond_line is written"):
        mods.mount_force(soldered.change("paste.bond_line", "30 um"), "50 N")


def test_a_plate_or_a_coolant_is_another(soldered):
    plate = Layer("thick plate", "copper", "6 mm", ("50 mm", "50 mm"))
    better = Coolant("26 degC", conductance="60 kW/m^2/K")
    for given in ({"plate": plate}, {"coolant": better}, {"plate": plate, "coolant": better}):
        changed = mods.cold_plate(soldered, **given)
        assert opened(changed, soldered) == {"paste"}
        assert (changed.coolant == better) == ("coolant" in given)
        assert ("thick plate" in names(changed.layers)) == ("plate" in given)
    with pytest.raises(InputError, match="neither"):
        mods.cold_plate(soldered)


def test_a_flow_needs_a_coolant_that_knows_it(soldered):
    with pytest.raises(InputError, match="figure for one flow"):
        mods.flow(soldered, "4 L/min")
    flowing = soldered.replace(
        "coolant", Coolant("26 degC", conductance="35 kW/m^2/K", reference="mean", flow="3 L/min")
    )
    faster = mods.flow(flowing, "6 L/min")
    assert faster.coolant.flow.si == pytest.approx(1e-4)
    assert opened(faster, flowing) == set()
    assert "other-flow" in keys(faster, flowing)
    assert "other-flow" not in keys(flowing, soldered)


# -- cautions


def test_each_mod_has_its_own_cautions(soldered, relid):
    lapped = mods.lap(soldered, "lid", by="0.1 mm")
    lapping = {"lapping-dust", "lapping-flatness", "lapping-debris", "lapping-plating"}
    for base in (soldered, None):
        assert lapping <= keys(lapped, base)
        assert "thin-die" not in keys(lapped, base)
        assert {"thin-die", "static"} <= keys(mods.thin_die(relid, "0.5 mm"), relid if base else None)
    assert not lapping & keys(relid, soldered)
    assert not lapping & keys(soldered.change("lid.thickness", "2 mm"), soldered)  # described otherwise, nothing opened
    assert {"lid-on-rim", "loose-lid", "static"} <= keys(relid, soldered)
    bare = mods.bare_die(relid)
    assert not {"lid-on-rim", "loose-lid"} & keys(bare, relid)
    assert "static" in keys(bare, relid)
    paste = mods.change_paste(soldered, "phase-change pad")
    assert not {"lid-on-rim", "loose-lid", "static", "mount-force"} & keys(paste, soldered)
    assert "mount-force" in keys(mods.mount_force(soldered, "200 N"), soldered)
    aluminium = mods.cold_plate(soldered, Layer("block", "aluminium 6061", "6 mm", ("50 mm", "50 mm")))
    assert "mixed-metals" in keys(aluminium, soldered)
    assert "mixed-metals" not in keys(paste, soldered)


def test_cautions_tell_the_figures_of_the_mod(soldered, relid):
    def text(key, stack, base):
        return next(c.text for c in cautions(stack, baseline=base) if c.key == key)

    # 0.25 mm of solder, 30 µm typical of liquid metal under a lid
    assert "0.25 mm thick, this one is described as 0.03 mm" in text("lid-on-rim", relid, soldered)
    assert "come down by 0.22 mm" in text("lid-on-rim", relid, soldered)
    assert "0.1 to 0.15 mm" in text("lid-on-rim", relid, soldered)
    assert "gallium" not in text("lid-on-rim", mods.relid(soldered, "ceramic paste"), soldered)
    assert "thinner than" in text("thin-die", mods.thin_die(relid, "0.3 mm"), relid)
    assert "thinner than" not in text("thin-die", mods.thin_die(relid, "0.5 mm"), relid)
    assert "154 kPa on 'paste'" in text("mount-force", mods.mount_force(soldered, "200 N"), soldered)


def test_every_rule_about_changes_is_looked_at_here():
    written = set(
        re.findall(r'Caution\(\s*"([a-z-]+)"', Path(thermostack.cautions.changes.__file__).read_text("utf-8"))
    )
    here = Path(__file__).read_text("utf-8")
    assert written
    assert all(f'"{key}"' in here for key in written)


def test_parts_are_named_in_their_cautions(soldered, relid):
    for stack, base in (
        (mods.thin_die(relid, "0.3 mm"), relid),
        (mods.mount_force(mods.lap(soldered, "lid", by="1 mm"), "90 N"), soldered),
    ):
        for c in cautions(stack, baseline=base):
            assert c.text.endswith(".")
            assert all(f"'{name}'" in c.text or name == "coolant" for name in c.about), c.key


# -- files

PART = """
name = "part"
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
reference = "mean"
flow = "3 L/min"
[[mod]]
name = "mod"
"""

WORDS = [
    ('relid = "gallium alloy"', lambda s: mods.relid(s, "gallium alloy")),
    (
        'relid = { interface = "gallium alloy", bond_line = "40 um" }',
        lambda s: mods.relid(s, "gallium alloy", bond_line="40 um"),
    ),
    ('bare_die = "gallium alloy"', lambda s: mods.bare_die(s, "gallium alloy")),
    ('change_paste = "phase-change pad"', lambda s: mods.change_paste(s, "phase-change pad")),
    (
        'lap.lid = { by = "0.1 mm" }\nlap."cold plate" = { to = "2.9 mm" }',
        lambda s: mods.lap(mods.lap(s, "lid", by="0.1 mm"), "cold plate", to="2.9 mm"),
    ),
    (
        'thin_die = { to = "0.5 mm", interface = "gallium alloy" }',
        lambda s: mods.thin_die(s, "0.5 mm", interface="gallium alloy"),
    ),
    ('relid = "gallium alloy"\nthin_die = "0.5 mm"', lambda s: mods.thin_die(mods.relid(s, "gallium alloy"), "0.5 mm")),
    ('relid = "gallium alloy"\nbare_die = true', lambda s: mods.bare_die(mods.relid(s, "gallium alloy"))),
    ('mount_force = "200 N"', lambda s: mods.mount_force(s, "200 N")),
    ('flow = "5 L/min"', lambda s: mods.flow(s, "5 L/min")),
    (
        'cold_plate.plate = { name = "block", material = "copper", thickness = "6 mm", footprint = ["50 mm", "50 mm"] }\n'
        'cold_plate.coolant = { temperature = "24 degC", conductance = "60 kW/m^2/K" }',
        lambda s: mods.cold_plate(
            s,
            Layer("block", "copper", "6 mm", ("50 mm", "50 mm")),
            Coolant("24 degC", conductance="60 kW/m^2/K"),
        ),
    ),
]


@pytest.mark.parametrize(("text", "made"), WORDS, ids=[w.split("\n")[-1].split("=")[0] for w, _ in WORDS])
def test_files_hold_mods_in_the_same_words(text, made):
    part, mod = from_toml(PART + text)
    assert mod == made(part)
    # written, they are the steps they are made of
    again = from_toml(to_toml(part, mod))
    assert again[1] == mod


def test_a_class_of_the_file_is_known_to_its_mods():
    own = '[[interface_class]]\nname = "my metal"\nresistance = "2 mm^2*K/W"\nsource = "measured"\n[[mod]]\nname = "mod"\n'
    for word in ('relid = "my metal"', 'thin_die = { to = "0.5 mm", interface = "my metal" }'):
        mod = from_toml(PART.replace('[[mod]]\nname = "mod"\n', own) + word)[1]
        assert mod.dies[0].joint[0].interface.name == "my metal"


def test_every_word_is_read_from_files():
    assert {word for text, _ in WORDS for word in re.findall(r"^\w+", text, re.MULTILINE)} == set(mods.WORDS)
    from thermostack.stack.mods_in_files import EXAMPLES

    assert set(EXAMPLES) == set(mods.WORDS)


@pytest.mark.parametrize(
    ("text", "match"),
    [
        ("relid = 3", ", mod.relid: 3 is not a table"),
        ('relid = "galium alloy"', "did you mean 'gallium alloy'"),
        ('relid = { bond_line = "40 um" }', "expected"),
        ('lap.lid = { off = "1 mm" }', "off"),
        ('lap.lid = { by = "9 mm" }', "more than there is"),
        ('lap.lidd = { by = "1 mm" }', "cannot be lapped"),
        ("bare_die = true", "say what takes its place"),
        ('thin_die = { die = "die" }', "'to' is missing"),
        ("flow = 4", "expected"),
        ('mount_force = "200"', "200 N"),
        ('cold_plate.pump = "x"', "pump"),
    ],
)
def test_a_wrong_word_is_told_with_its_line(text, match):
    with pytest.raises(FileError, match=match) as told:
        from_toml(PART + text)
    line = (PART + text).splitlines().index(text) + 1
    assert f"line {line}, " in str(told.value)
