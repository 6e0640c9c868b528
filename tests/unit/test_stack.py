"""Stacks and mods are values: nothing changes in place, and opening a joint re-makes what lies above it."""

import dataclasses

import pytest

import thermostack as ts
from thermostack.stack.paths import dimension_of, get_value, paths, set_value


def mounts(stack):
    return {part.name: part.mount for part in stack.parts() if isinstance(part, ts.Interface)}


def test_descriptions_are_frozen_and_hashable(soldered):
    with pytest.raises(dataclasses.FrozenInstanceError):
        soldered.name = "other"
    with pytest.raises(dataclasses.FrozenInstanceError):
        soldered.dies[0].thickness = None
    assert hash(soldered) == hash(soldered.named("another label")), "a label does not change what is described"


def test_equal_descriptions_are_equal(make):
    assert make() == make()
    assert make() != make(power="231 W")


def test_a_mod_leaves_the_stack_as_it_was(soldered):
    before = hash(soldered), str(soldered)
    soldered.replace("solder", ts.Interface("liquid metal", "gallium alloy")).without("lid", "paste")
    assert (hash(soldered), str(soldered)) == before


def test_a_relid_remounts_the_cold_plate(soldered, relid):
    assert mounts(soldered) == {"solder": "first", "paste": "first"}
    assert mounts(relid)["paste"] != "first"


def test_changing_the_paste_leaves_the_solder_alone(soldered):
    repasted = soldered.replace("paste", ts.Interface("paste", "gallium alloy"))
    assert mounts(repasted)["solder"] == "first"
    assert mounts(repasted)["paste"] != "first"
    assert mounts(soldered.remounted()) == {"solder": "first", "paste": mounts(soldered.remounted())["paste"]}


def test_lapping_the_lid_opens_the_joint_below_it_too(soldered):
    lapped = soldered.replace("lid", ts.Layer("lid", "copper", "2.3 mm", footprint=("36 mm", "36 mm")))
    assert mounts(lapped)["solder"] != "first"
    assert mounts(lapped)["paste"] != "first"


def test_another_cold_plate_opens_its_paste_only(soldered):
    other = soldered.replace("cold plate", ts.Layer("cold plate", "copper", "5 mm", footprint=("40 mm", "40 mm")))
    assert mounts(other)["solder"] == "first"
    assert mounts(other)["paste"] != "first"


def test_two_mods_draw_their_mounts_apart_and_each_the_same_again(soldered):
    a = soldered.replace("solder", ts.Interface("metal", resistance="2 mm^2*K/W"))
    b = soldered.replace("solder", ts.Interface("metal", resistance="3 mm^2*K/W"))
    again = soldered.replace("solder", ts.Interface("metal", resistance="2 mm^2*K/W"))
    assert mounts(a)["paste"] != mounts(b)["paste"]
    assert mounts(a) == mounts(again)


def test_every_remount_is_another_one(soldered):
    once, twice = soldered.remounted(), soldered.remounted().remounted()
    assert len({mounts(s)["paste"] for s in (soldered, once, twice)}) == 3


def test_describing_differently_opens_nothing(soldered):
    changed = soldered.change({"die.power": "200 W", "lid.thickness": "2 mm", "coolant.temperature": "30 degC"})
    assert mounts(changed) == mounts(soldered)
    assert get_value(changed, "lid.thickness") == ts.Value(2.0, "mm", "length")


def test_the_lid_of_two_dies_comes_off_both():
    dies = [
        ts.Die(name, "silicon", "0.7 mm", ("8 mm", "8 mm"), "50 W", ts.Interface(f"{name} joint", "factory polymer paste"),
               centre=(x, "0 mm"))
        for name, x in (("left", "-8 mm"), ("right", "8 mm"))
    ]  # fmt: skip
    stack = ts.Stack("two dies", dies, [ts.Layer("plate", "copper", "3 mm", ("40 mm", "40 mm"))],
                     ts.Coolant("25 degC", conductance="20 kW/m^2/K"))  # fmt: skip
    modded = stack.replace("left joint", ts.Interface("left joint", "gallium alloy"))
    assert mounts(modded)["right joint"] != "first"


def test_labels_tell_what_was_done(soldered, relid, bare):
    assert soldered.label == "workstation part"
    assert relid.label == "liquid metal for solder"
    assert bare.label == "liquid metal for solder; without lid, paste"
    assert bare.named("bare die").label == "bare die"
    assert soldered.change("die.power", "200 W").label == "die.power 200 W"
    assert bare.named("bare die").name == "workstation part"
    assert relid.named("relid").without("lid", "paste").label == "relid; without lid; without paste"


def test_insert_after(soldered):
    plated = soldered.insert_after("lid", ts.Layer("plating", "nickel plating", "4 um"))
    assert [e.name for e in plated.layers] == ["lid", "plating", "paste", "cold plate"]
    on_die = soldered.insert_after("die", ts.Layer("die plating", "gold plating", "0.3 um"))
    assert [e.name for e in on_die.dies[0].joint] == ["die plating", "solder"]
    with pytest.raises(ts.InputError, match="nothing can lie above the Coolant 'coolant'"):
        soldered.insert_after("coolant", ts.Interface("pad", "gap pad"))


def test_unknown_names_are_answered_with_the_nearest(soldered):
    for act in (
        lambda: soldered.part("sodler"),
        lambda: soldered.replace("sodler", ts.Interface("x", "ceramic paste")),
        lambda: soldered.without("sodler"),
        lambda: soldered.remounted("sodler"),
        lambda: soldered.change("sodler.bond_line", "1 um"),
    ):
        with pytest.raises(ts.UnknownNameError, match="did you mean 'solder'"):
            act()
    with pytest.raises(ts.UnknownNameError, match="did you mean 'bond_line'"):
        soldered.change("solder.bondline", "1 um")


def test_a_part_is_replaced_by_one_of_its_kind(soldered):
    with pytest.raises(ts.InputError, match="cannot stand for the Layer 'lid'"):
        soldered.replace("lid", ts.Coolant("20 degC", conductance="1 kW/m^2/K"))
    with pytest.raises(ts.InputError, match="cannot be without a coolant"):
        soldered.without("coolant")
    with pytest.raises(ts.InputError, match="no part is named"):
        soldered.without()


def test_every_path_reads_and_writes(soldered):
    for path, value in paths(soldered).items():
        again = set_value(soldered, path, value)
        assert again == soldered, path
        assert dimension_of(soldered, path) == value.dimension


def test_a_total_scales_its_map():
    power = ts.PowerMap("100 W", [ts.Region("core", "30 W (sd 3 W)", ("1 mm", "1 mm"), ("2 mm", "2 mm"))])
    stack = ts.Stack("map", ts.Die("die", "silicon", "0.7 mm", ("9 mm", "9 mm"), power),
                     [ts.Interface("joint", "gallium alloy"), ts.Layer("plate", "copper", "3 mm", ("30 mm", "30 mm"))],
                     ts.Coolant("25 degC", conductance="20 kW/m^2/K"))  # fmt: skip
    hotter = stack.change("die.power", "150 W")
    assert hotter.part("core").power.si == pytest.approx(45.0)
    assert hotter.part("core").power.spread_si == pytest.approx(4.5)


def test_inputs_name_scope_distribution_and_source(soldered):
    inputs = {entry.path: entry for entry in soldered.inputs()}
    assert inputs["solder.bond_line"].value.kind == "normal"
    assert inputs["solder.bond_line"].source == "as written"
    assert inputs["solder.contact"].assumed
    assert inputs["solder.conductivity"].assumed
    assert inputs["paste.resistance"].value.kind == "lognormal"
    assert inputs["paste.mount"].scope == "mount"
    assert inputs["die.power"].scope == inputs["coolant.temperature"].scope == "run"
    assert inputs["lid.conductivity"].scope == "lasting"
    assert "solder.mount" not in inputs, "a factory joint is never remounted"
    assert all(entry.source for entry in inputs.values())
    assert "paste.centre_x" not in inputs, "where the middle of a joint lies that covers all there is has no effect"


def test_a_class_has_its_values_by_place(soldered, relid, bare):
    def resistance(stack, name):
        return {entry.path: entry for entry in stack.inputs()}[f"{name}.resistance"].value.si * 1e6

    assert resistance(relid, "liquid metal") == pytest.approx(1.8)
    assert resistance(bare, "liquid metal") == pytest.approx(1.6)
    pasted = soldered.without("solder", "lid")
    assert resistance(pasted, "paste") == pytest.approx(8.0), "the paste of the lid now lies on the die"
    assert resistance(soldered, "paste") == pytest.approx(12.0)


def test_a_bond_line_takes_the_place_of_a_class_resistance(relid):
    thick = relid.change("liquid metal.bond_line", "100 um")
    inputs = {entry.path: entry for entry in thick.inputs()}
    assert "liquid metal.resistance" not in inputs
    assert inputs["liquid metal.conductivity"].assumed
    assert inputs["liquid metal.contact"].assumed


def test_a_stack_shows_itself(soldered, relid):
    text, html = str(soldered), soldered._repr_html_()
    for part in ("die", "solder", "lid", "paste", "cold plate", "coolant"):
        assert part in text
        assert part in html
    assert "0.25 mm (sd 0.04 mm)" in text
    assert repr(relid) == "<Stack 'liquid metal for solder': die, liquid metal, lid, paste, cold plate, coolant>"
    assert "paste.mount" in str(soldered.inputs_table)
    hostile = ts.Stack("<b>part</b>", soldered.dies, soldered.layers, soldered.coolant)
    assert "<b>" not in hostile._repr_html_()
