"""Cautions: every rule speaks when it should and is silent when it should be; order, text and HTML."""

import math
import re
from html.parser import HTMLParser
from pathlib import Path

import pytest

import thermostack.cautions.substances
import thermostack.cautions.temperatures
import thermostack.cautions.work
from thermostack.catalogue import InterfaceClass, Material
from thermostack.cautions import DEFER, Caution, as_html, as_text, cautions
from thermostack.cautions.temperatures import DEW_POINT
from thermostack.errors import InputError, UnknownNameError
from thermostack.stack.parts import Coolant, Die, Interface, Layer, PowerMap, Region, Sensor
from thermostack.stack.stack import Stack

HOSTILE = "<script>alert('x')</script> & \"lid\""
MAP = PowerMap("230 W", [Region("core 0", "150 W", ("2 mm", "2 mm"), ("6 mm", "6 mm"))])
LIQUID = Interface("liquid metal", "gallium alloy")


def die(joint, name="die", thickness="0.72 mm", power=MAP, **more):
    return Die(name, "silicon", thickness, ("12.4 mm", "17.6 mm"), power, joint, **more)


def plate(material="copper", name="cold plate"):
    return Layer(name, material, "3 mm", ("50 mm", "50 mm"))


SILVER_LID = Layer("lid", "silver", "2.4 mm", ("36 mm", "36 mm"))
PLATED = Material.of("nickel-plated copper", 380.0)
LID = Layer("lid", "copper", "2.4 mm", ("36 mm", "36 mm"))


def lidded(joint=None, paste="ceramic paste", top="copper", coolant="26 degC", lid=LID, reference="inlet", **more):
    joint = Interface("solder", "indium solder", bond_line="0.25 mm") if joint is None else joint
    layers = [lid, Interface("paste", paste), plate(top)]
    return Stack("part", die(joint, **more), layers, Coolant(coolant, conductance="35 kW/m^2/K", reference=reference))


def on_die(joint="gallium alloy", top="copper", coolant="26 degC", **more):
    joint = Interface("joint", joint) if isinstance(joint, str) else joint
    return Stack("part", die(joint, **more), [plate(top)], Coolant(coolant, conductance="35 kW/m^2/K"))


def glued():
    return lidded(Interface("glue", "factory polymer paste"))


def plated(material):
    return lidded([Layer("plating", material, "4 um"), LIQUID])


def two_dies():
    dies = [die(Interface(f"joint {n}", "ceramic paste"), n, centre=(f"{x} mm", "0 mm"), power="60 W")
            for n, x in (("left", -8), ("right", 8))]  # fmt: skip
    return Stack("two", dies, [LID, Interface("paste", "ceramic paste"), plate()], SOLDERED.coolant)


def cooled_lid():
    return Stack("cooled lid", SOLDERED.dies, [LID], SOLDERED.coolant)


def own_filling(name, **more):
    """Return a joint filled with a material of the user's own."""
    return InterfaceClass.of(name, 5e-6, material=Material.of(name, 20.0, **more))


SOLDERED = lidded()
RELID = SOLDERED.replace("solder", LIQUID)
BARE = RELID.without("lid", "paste")
REPASTE = SOLDERED.replace("paste", Interface("new paste", "ceramic paste"))
C = 273.15


def keys(found):
    return [c.key for c in found]


def case(key, about, fires, *silent):
    return pytest.param(key, about, fires, silent, id=f"{key}-{'-'.join(about) or 'work'}")


def given(stack, temperatures=None, **more):
    return stack, temperatures, more


def at(stack, limit=None, **celsius):
    pairs = {name.replace("_", " "): (t + C, t + C - 1) for name, t in celsius.items()}
    return stack, pairs, {} if limit is None else {"limit": limit + C}


PLAIN = given(SOLDERED)
FROM = {"baseline": SOLDERED}
DIFFERENT_VALUES = given(SOLDERED.change("lid.thickness", "2.0 mm"), **FROM)  # described differently, nothing opened
LOW_MELT = own_filling("low-melt", solidus=333.0, liquidus=335.0, max_service=393.0)
FOIL = lidded(paste="pressed indium foil", top="aluminium 6061")

CASES = [
    # the work
    case("power-off", (), given(RELID, **FROM), PLAIN, DIFFERENT_VALUES, given(SOLDERED, **FROM)),
    case("power-off", (), given(REPASTE), PLAIN, given(SOLDERED.change("die.power", "200 W"))),
    case("state-before", ("solder", "liquid metal", "paste"), given(RELID, **FROM), PLAIN, DIFFERENT_VALUES),
    case("remount", ("liquid metal", "paste"), given(RELID, **FROM), PLAIN, DIFFERENT_VALUES),
    case("remount", ("paste",), given(SOLDERED.remounted("paste"), **FROM), PLAIN),
    case("remount", ("paste",), given(SOLDERED.remounted()), PLAIN, given(SOLDERED.change("paste.bond_line", "20 um"))),
    *[case(key, ("solder",), given(RELID, **FROM), PLAIN, given(REPASTE, **FROM), given(REPASTE),
           given(BARE, baseline=RELID),
           given(glued().replace("glue", LIQUID), baseline=glued()), given(glued().replace("glue", LIQUID)))
      for key in ("solder-heat", "solder-dust", "solder-bumps")],
    # soldered anew, which is no remount
    case("remount", ("paste",), given(SOLDERED.replace("lid", SILVER_LID), **FROM), PLAIN),
    case("solder-heat", ("solder",), given(RELID), given(SOLDERED.change("solder.bond_line", "0.3 mm"))),
    case("solder-heat", ("solder",), given(SOLDERED.replace("lid", SILVER_LID), **FROM), PLAIN),
    case("lid-opening", ("glue", "liquid metal", "paste"), given(glued().replace("glue", LIQUID), baseline=glued()),
         given(glued()),
         given(REPASTE, **FROM), given(REPASTE), given(on_die().replace("joint", LIQUID), baseline=on_die())),
    case("warranty", ("liquid metal", "paste"), given(RELID, **FROM), PLAIN, given(REPASTE, **FROM),
         given(on_die().remounted("joint"), baseline=on_die())),
    case("socket-load", ("lid", "paste"), given(BARE, baseline=RELID), given(RELID, **FROM), given(on_die()),
         given(REPASTE, **FROM), given(cooled_lid().replace("solder", LIQUID), baseline=cooled_lid())),
    case("socket-load", ("solder", "lid"), given(on_die(), baseline=cooled_lid()), given(cooled_lid())),
    case("socket-load", ("lid", "paste"), given(BARE), given(RELID), given(on_die().remounted("joint")),
         given(on_die([Layer("plating", "gold", "1 um"), LIQUID]).without("plating"))),
    case("stand-off", ("lid", "paste", "liquid metal"), given(BARE, baseline=RELID), PLAIN, given(REPASTE, **FROM),
         DIFFERENT_VALUES, given(RELID)),
    case("stand-off", ("lid", "paste"), given(BARE), given(RELID)),
    # bare dies
    *[case(key, ("die",), given(on_die()), PLAIN, given(RELID, **FROM), given(glued()),
           given(cooled_lid()), given(cooled_lid().replace("solder", LIQUID), baseline=cooled_lid()))
      for key in ("bare-die-force", "bare-die-tilt", "silicon-edges")],
    case("bare-die-force", ("die",), given(SOLDERED.without("lid", "paste"), **FROM), PLAIN),
    case("bare-die-clearance", ("die",), given(on_die(thickness="0.5 mm")), given(on_die(thickness="0.54 mm")),
         given(lidded(thickness="0.5 mm"))),
    case("pump-out", ("joint",), given(on_die("ceramic paste")), given(on_die()), PLAIN, given(glued()),
         given(on_die("phase-change pad"))),
    # what joints are filled with
    case("gallium-skin", ("liquid metal",), given(RELID), PLAIN, given(REPASTE)),
    case("gallium-aluminium", ("joint", "cold plate"), given(on_die(top="aluminium 6061")), given(on_die()),
         given(lidded(top="aluminium 6061")), given(FOIL)),
    case("gallium-aluminium", ("liquid metal", "cold plate"), given(lidded(LIQUID, top="aluminium 1050")),
         given(RELID)),
    case("gallium-aluminium", ("joint", "cold plate"),
         given(on_die(Interface("joint", own_filling("mine", aluminium_attack="severe")), top="aluminium 1050")),
         given(on_die(Interface("joint", own_filling("mine")), top="aluminium 1050"))),
    case("gallium-copper", ("liquid metal", "lid"), given(RELID), PLAIN, given(on_die(top="silver")),
         given(on_die(top=PLATED))),
    case("gallium-copper", ("joint", "cold plate"), given(on_die(top="oxygen-free copper")),
         given(on_die("graphite sheet"))),
    case("gallium-plating", ("liquid metal", "plating"), given(plated("electroless nickel")), given(RELID),
         given(lidded([Layer("plating", "electroless nickel", "4 um"), Interface("solder", "indium solder")]))),
    case("gallium-plating", ("liquid metal", "plating"), given(plated("gold")), PLAIN),
    case("gallium-plating", ("joint", "cold plate"), given(on_die(top=PLATED)), given(on_die())),
    case("gallium-condensing", ("joint",), given(on_die(coolant="10 degC")), given(on_die()),
         given(lidded(coolant="10 degC"))),
    case("slow-attack", ("paste", "cold plate"), given(FOIL), given(lidded(paste="pressed indium foil")),
         given(lidded(top="aluminium 6061")), given(on_die(top="aluminium 6061"))),
    case("conducting-joint", ("joint",), given(on_die()), PLAIN, given(on_die("ceramic paste")),
         given(on_die("dry copper contact")), given(lidded(paste="pressed indium foil"))),
    case("conducting-joint", ("paste",), given(lidded(paste="gallium alloy")), PLAIN),
    case("conducting-joint", ("joint",), given(on_die("pressed indium foil")), given(on_die("graphite sheet"))),
    case("conducting-pad", ("paste",), given(lidded(paste="upright graphite pad")), PLAIN, given(RELID)),
    case("weakly-conducting", ("joint",),
         given(on_die(Interface("joint", own_filling("s", electrical="weak conductor")))),
         given(on_die("ceramic paste")),
         given(on_die(Interface("joint", own_filling("s", electrical="insulator"))))),
    case("unknown-filling", ("joint",), given(on_die(Interface("joint", resistance="5 mm^2*K/W"))), given(on_die())),
    # temperatures
    case("above-melting", ("solder",), at(SOLDERED, solder=156.7), at(SOLDERED, solder=156.5), PLAIN,
         at(RELID, liquid_metal=200), at(lidded(paste="phase-change pad"), paste=70), at(SOLDERED, paste=156.7)),
    case("above-service", ("solder",), at(SOLDERED, solder=125.1), at(SOLDERED, solder=124.9), at(SOLDERED, solder=157),
         PLAIN, at(SOLDERED, die=160)),
    case("above-service", ("paste",), at(lidded(paste="phase-change pad"), paste=126), at(SOLDERED, paste=126)),
    case("hot-cycle", ("paste",), at(lidded(paste="phase-change pad"), paste=60.9), at(lidded(paste="phase-change pad"),
         paste=61.1), at(SOLDERED, paste=30)),
    case("hot-cycle", ("paste",), given(lidded(paste="phase-change pad")), PLAIN, given(RELID)),
    case("hot-cycle", ("joint",), given(on_die(Interface("joint", LOW_MELT))), at(SOLDERED, solder=40)),
    case("hot-cycle", ("joint",), at(on_die(coolant="5 degC"), joint=11.9), at(on_die(coolant="5 degC"), joint=12.1)),
    case("junction-limit", ("die",), at(SOLDERED, junction=95.1, limit=95), at(SOLDERED, junction=94.9, limit=95),
         at(SOLDERED, junction=120), given(SOLDERED, limit=300.0)),
    case("junction-limit", ("die",), at(SOLDERED, die=150.1), at(SOLDERED, junction=149.9), PLAIN),
    case("junction-limit", ("left",), at(two_dies(), left=96, right=80, junction=99, limit=95),
         at(two_dies(), left=90, right=80, junction=94, limit=95)),
    case("junction-limit", ("left",), at(two_dies(), left=90, right=80, junction=96, limit=95), given(two_dies())),
    case("junction-limit", ("left", "right"), at(two_dies(), junction=99, limit=95), given(two_dies())),
    case("uniform-power", ("die",), given(lidded(power="230 W")), PLAIN, given(lidded(power=PowerMap("0.001 W", [
        Region("r", "0.001 W", ("1 mm", "1 mm"), ("1 mm", "1 mm"))])))),
    # coolant
    case("dew-point", ("coolant",), given(lidded(coolant="17.9 degC")), given(lidded(coolant="18.1 degC")),
         given(lidded(coolant="10 degC", reference="ambient"))),
    case("dew-point", ("coolant",), given(lidded(coolant="20 degC (sd 1.1 K)")),
         given(lidded(coolant="20 degC (sd 0.9 K)"))),
    case("dew-point", ("coolant",), given(lidded(coolant="17 .. 25 degC")), given(lidded(coolant="18.1 .. 25 degC"))),
    case("cold-burns", ("coolant",), given(lidded(coolant="-1 degC")), given(lidded(coolant="1 degC")),
         given(lidded(coolant="-190 degC"))),
    case("cryogenic", ("coolant",), given(lidded(coolant="-71 degC")), given(lidded(coolant="-69 degC")), PLAIN),
    case("coolant-leak", ("coolant",), given(REPASTE, **FROM), PLAIN,
         given(lidded(reference="ambient").remounted(), baseline=lidded(reference="ambient"))),
]  # fmt: skip


@pytest.mark.parametrize(("key", "about", "fires", "silent"), CASES)
def test_a_rule_speaks_when_it_should_and_only_then(key, about, fires, silent):
    stack, temperatures, more = fires
    found = [c for c in cautions(stack, temperatures, **more) if c.key == key]
    assert len(found) == 1
    assert found[0].about == about
    for number, (stack, temperatures, more) in enumerate(silent):
        assert key not in keys(cautions(stack, temperatures, **more)), f"silent case {number}"


def test_every_rule_that_is_written_is_in_the_table():
    written = {"above-melting", "above-service"}  # their key is put together
    for module in (thermostack.cautions.work, thermostack.cautions.substances, thermostack.cautions.temperatures):
        written |= set(re.findall(r'Caution\(\s*"([a-z-]+)"', Path(module.__file__).read_text(encoding="utf-8")))
    assert {c.values[0] for c in CASES} == written


@pytest.mark.parametrize("values", [c.values for c in CASES], ids=[f"{n}" for n in range(len(CASES))])
def test_a_list_names_its_parts_once_and_says_where_each_comes_from(values):
    stack, temperatures, more = values[2]
    found = cautions(stack, temperatures, **more)
    assert len(set(keys(found))) == len(found)
    assert [c.weight for c in found] == sorted(c.weight for c in found)
    metal = any(p.interface.key == "gallium_alloy" for p in stack.parts() if isinstance(p, Interface) and p.interface)
    said = as_text(found)
    assert metal or values[0].startswith("gallium") or not re.search("gallium|liquid metal", said)
    for c in found:
        assert c.source
        assert c.text.endswith(".")
        for name in c.about:
            assert ("coolant" if name == "coolant" else f"'{name}'") in c.text, c.key


def only(key, *args, **more):
    return next(c for c in cautions(*args, **more) if c.key == key)


def test_forces_are_told_as_pressures_on_the_dies_of_the_stack():
    # 12.4 mm x 17.6 mm = 218.24 mm²: 45 N is 206.2 kPa, 70 N 320.7, 80 N 366.6; 103 kPa is 22.48 N
    text = only("bare-die-force", on_die()).text
    for part in ("218 mm²", "45 N is 206 kPa", "70 N 321 kPa", "80 N 367 kPa", "103 kPa is 22 N"):
        assert part in text
    two = two_dies()
    bare = two.without("paste", "lid")
    assert "436 mm² of 'left' and 'right', 45 N is 103 kPa" in only("bare-die-force", bare, baseline=two).text


def test_the_stand_off_is_lid_and_joint():
    bare = SOLDERED.replace("solder", LIQUID).without("lid", "paste")
    assert "2.65 mm lower" in only("stand-off", bare, baseline=SOLDERED).text  # 2.4 + 0.25
    # a relid: 0.25 mm of solder against the 30 µm that are typical of liquid metal under a lid
    assert "0.22 mm lower" in only("stand-off", RELID, baseline=SOLDERED).text
    thick = SOLDERED.replace("lid", Layer("lid", "copper", "2.9 mm", ("36 mm", "36 mm")))
    assert "0.50 mm higher" in only("stand-off", thick, baseline=SOLDERED).text
    unknown = lidded(Interface("joint", resistance="5 mm^2*K/W"))
    told = only("stand-off", unknown.without("lid", "paste"), baseline=unknown).text
    assert "2.40 mm lower" in told
    assert "not counting 'joint'" in told


def test_the_stand_off_is_told_for_dies_of_several_heights():
    def stack(left):
        dies = [die(Interface(f"joint {name}", "indium solder", bond_line=line), name, centre=(x, "0 mm"), power="60 W")
                for name, line, x in (("a", left, "-8 mm"), ("b", "0.2 mm", "8 mm"))]  # fmt: skip
        return Stack("two", dies, [LID, Interface("paste", "ceramic paste"), plate()], SOLDERED.coolant)

    before = stack("0.3 mm")
    assert "2.60 to 2.70 mm lower" in only("stand-off", before.without("lid", "paste"), baseline=before).text


def test_aluminium_is_told_by_whether_it_is_touched():
    touched = only("gallium-aluminium", on_die(top="aluminium 6061"))
    assert "which it touches" in touched.text
    assert "creeps or spills" not in touched.text
    beyond = only("gallium-aluminium", lidded(LIQUID, top="aluminium 6061"))
    assert "which it touches" not in beyond.text
    assert "'cold plate', which it reaches when it creeps or spills" in beyond.text
    assert keys(c for c in cautions(on_die(top="aluminium 6061")) if c.kind == "part")[0] == "gallium-aluminium"


def test_the_bumps_and_the_solder_are_told_at_their_melting_points():
    # indium 156.6 °C (429.75 K), solidus of tin-silver-copper 217 °C: material data
    assert "156.6 °C" in only("solder-heat", RELID, baseline=SOLDERED).text
    assert "217 °C" in only("solder-bumps", RELID, baseline=SOLDERED).text
    assert "food" in only("solder-heat", RELID, baseline=SOLDERED).text


def test_bad_mounts_are_told_where_the_class_knows_them():
    assert "one mount in 10" in only("remount", BARE, baseline=RELID).text
    assert "comes out bad" not in only("remount", REPASTE, baseline=SOLDERED).text


def test_erased_markings_are_told_with_liquid_metal_only():
    assert "erases" in only("warranty", RELID, baseline=SOLDERED).text
    repaste = glued().replace("glue", Interface("p", "ceramic paste"))
    assert "erases" not in only("warranty", repaste, baseline=glued()).text


def test_newly_laid_conductors_are_told_as_new():
    assert "now lies" in only("conducting-joint", RELID, baseline=SOLDERED).text
    assert "now" not in only("conducting-joint", on_die()).text


def test_two_limits_of_the_junction_are_one_caution():
    told = only("junction-limit", SOLDERED, {"junction": (430.0, 430.0)}, limit=368.15).text
    assert "above your limit of 95 °C and the 150 °C that silicon lasts at" in told


def test_stacks_written_one_by_one_are_compared_as_well():
    # the same joint between other faces is another making of it, though its description is the same
    before, after = lidded(LIQUID), Stack("bare", die(LIQUID), [plate()], SOLDERED.coolant)
    found = keys(cautions(after, baseline=before))
    assert {"socket-load", "stand-off", "power-off", "state-before"} <= set(found)
    assert "power-off" not in keys(cautions(lidded(LIQUID), baseline=before))


def test_taking_sensors_away_opens_nothing():
    sensors = [Sensor("a", "die"), Sensor("b", "lid")]
    seen = Stack("s", SOLDERED.dies, SOLDERED.layers, SOLDERED.coolant, sensors=sensors)
    for more in ({}, {"baseline": seen}):
        found = keys(cautions(seen.without("a", "b"), **more))
        assert not {"power-off", "state-before", "socket-load", "bare-die-force"} & set(found)


def test_the_dew_point_is_that_of_the_room_that_is_named():
    # Magnus formula with the coefficients 17.62 and 243.12 °C, from memory
    g = math.log(0.65) + 17.62 * 25 / (243.12 + 25)
    assert 243.12 * g / (17.62 - g) == pytest.approx(DEW_POINT - C, abs=0.5)


def test_wrong_arguments_are_refused():
    with pytest.raises(UnknownNameError, match="did you mean 'solder'"):
        cautions(SOLDERED, {"soldr": (300.0, 300.0)})
    for pair in ((300.0, math.nan), (-5.0, 300.0), (300.0,)):
        with pytest.raises(InputError, match=r"temperatures\.lid"):
            cautions(SOLDERED, {"lid": pair})
    with pytest.raises(InputError, match="limit"):
        cautions(SOLDERED, limit=-1.0)
    for wrong in ({"kind": "nobody"}, {"text": " "}, {"source": ""}, {"gravity": 100}):
        with pytest.raises(InputError, match="odd"):
            Caution(**({"key": "odd", "kind": "part", "about": (), "text": "T.", "source": "S"} | wrong))


def test_danger_to_a_person_comes_first_in_any_order_given():
    found = cautions(BARE, baseline=SOLDERED)
    kinds = [c.kind for c in found]
    assert kinds == sorted(kinds, key=["person", "part", "result"].index)
    assert set(kinds) == {"person", "part", "result"}
    assert found[0].key == "power-off"
    assert as_text(reversed(found)) == as_text(found)
    assert as_html(reversed(found)) == as_html(found)
    text = as_text(found, width=72)
    heads = [text.index(h) for h in ("Danger to a person", "Danger to the part", "What can spoil the result")]
    assert heads == sorted(heads)
    assert max(map(len, text.splitlines())) <= 72
    assert " ".join(text.split()).endswith(DEFER)


def test_an_empty_list_does_not_say_that_it_is_safe():
    assert cautions(SOLDERED) == ()
    for shown in (as_text(()), as_html(())):
        assert "does not mean that the work is safe" in " ".join(shown.split())
        assert DEFER in " ".join(shown.split())


class Tags(HTMLParser):
    def __init__(self):
        super().__init__()
        self.tags, self.open, self.words = [], [], ""

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        self.words += data


def test_html_is_escaped_and_says_in_words_what_is_dangerous():
    hostile = lidded(Interface(HOSTILE, "gallium alloy"), lid=Layer(HOSTILE + "2", "aluminium 6061", "2 mm"))
    found = cautions(hostile)
    page = Tags()
    page.feed(as_html(found))
    assert page.open == []
    assert set(page.tags) == {"section", "h4", "ul", "li", "strong", "small", "p"}
    assert page.tags.count("li") == len(found)
    assert HOSTILE in page.words
    assert page.words.count("Danger to a person:") == sum(c.kind == "person" for c in found) > 0
    assert not re.search(r"#[0-9a-f]{3}|rgb|(?<!current)color:", as_html(found), re.IGNORECASE)
