"""Heights and mount: stand-off, reach, the lid's rim, pressure, force limits, bending, and what they tell the joints."""

import re
from pathlib import Path

import numpy as np
import pytest

import thermostack as ts
import thermostack.mount.warnings
from thermostack.catalogue.forces import FORCE_LIMITS
from thermostack.errors import FileError, InputError, UnitError
from thermostack.laws.plate_bending import flexural_rigidity, supported_plate_deflection
from thermostack.mount import Mount, MountCheck, Package, mount_check
from thermostack.stack import mods
from thermostack.stack.files import read_mount, read_variants, write_stack
from thermostack.stack.parts import Coolant, Die, Interface, Layer
from thermostack.stack.stack import Stack

# 2.9 socket, 1.17 substrate, 0.07 bumps, 0.72 die, 0.25 solder, 2.4 lid
SUBSTRATE = "1.17 mm (limits 0.10 mm)"
SOCKET = "2.90 mm (limits 0.15 mm)"


def package(**more):
    return Package(more.pop("substrate", SUBSTRATE), **({"socket": SOCKET} | more))


def keys(check):
    return {c.key for c in check.cautions}


@pytest.fixture
def flat(make):
    """A part with a relid whose die has a tolerance."""
    stack = make(joint=Interface("liquid metal", "gallium alloy", bond_line="30 um"))
    return stack.change("die.thickness", "0.72 mm (limits 0.02 mm)").change("lid.thickness", "2.4 mm (limits 0.08 mm)")


# -- stand-off


def test_the_stand_off_is_the_sum_with_lid_and_without(soldered):
    check = mount_check(soldered, package())
    assert isinstance(check, MountCheck)
    assert check.plane.nominal == pytest.approx((2.9 + 1.17 + 0.07 + 0.72 + 0.25 + 2.4) * 1e-3)
    assert check.bare_plane.nominal == pytest.approx((2.9 + 1.17 + 0.07 + 0.72) * 1e-3)
    assert check.stand_off.to("mm").magnitude == pytest.approx(7.51)
    assert "2.65 mm lower" in check.sentences[1]
    # 36 mm x 36 mm on 12.4 mm x 17.6 mm
    assert f"{1296 / 218.24:.1f} times smaller" in check.sentences[1]


def test_tolerances_by_three_roads(flat):
    usual = package(board_bow="0 mm (limits 0.1 mm)", bumps="0.07 mm")
    plane = mount_check(flat, usual).plane
    tolerances = [0.15, 0.10, 0.02, 0.08, 0.10]  # the joint is exact here
    assert plane.worst == pytest.approx(sum(tolerances) * 1e-3)
    assert plane.rss == pytest.approx(np.sqrt(np.sum(np.square(tolerances))) * 1e-3)
    # rectangular all: the standard deviation is that of the root sum of squares over √3
    assert plane.sd == pytest.approx(plane.rss / np.sqrt(3))
    assert np.std(plane.drawn) == pytest.approx(plane.sd, rel=0.02)
    assert np.mean(plane.drawn) == pytest.approx(plane.nominal, abs=4 * plane.sd / np.sqrt(len(plane.drawn)))
    low, high = plane.interval()
    assert plane.nominal - plane.worst < low < plane.nominal - plane.sd
    assert high - plane.nominal == pytest.approx(plane.nominal - low, rel=0.05)
    assert np.all(np.abs(plane.drawn - plane.nominal) <= plane.worst)


def test_a_standard_uncertainty_counts_three_times(soldered):
    check = mount_check(soldered, Package("1.17 mm (sd 0.02 mm)", bumps="0.07 mm"))
    substrate = next(h for h in check.plane.heights if h.name == "substrate")
    assert substrate.tolerance == pytest.approx(0.06e-3)
    solder = next(h for h in check.plane.heights if h.name == "solder")  # sd 0.04 mm
    assert solder.tolerance == pytest.approx(0.12e-3)
    assert "underside of the substrate" in str(check.heights)


def test_what_two_sums_share_is_drawn_once(flat):
    check = mount_check(flat, package())
    lid = next(h for h in check.plane.heights if h.name == "lid")
    between = check.plane.drawn - check.bare_plane.drawn
    assert np.std(between) == pytest.approx(lid.value.standard_uncertainty, rel=0.02)


def test_the_table_tells_every_height_and_where_it_comes_from(relid):
    check = mount_check(relid, package())
    shown = str(check.heights)
    for words in ("socket", "substrate", "bumps", "die", "liquid metal", "lid", "worst case", "root sum of squares"):
        assert words in shown
    assert "assumed: gallium alloy, die to lid" in shown
    assert "assumed: usual" in shown
    unknown = relid.replace("liquid metal", Interface("joint", resistance="2 mm^2*K/W"))
    assert "no known bond line: joint" in str(mount_check(unknown, package()).heights)


# -- reach


def reach(stack, made_for, **more):
    return mount_check(stack, package(), Mount("200 N", made_for=made_for, **more))


def test_does_the_cooler_reach(flat):
    # the cold plate's face: 2.9 + 1.17 + 0.07 + 0.72 + 0.03 + 2.4 + 0.04 (paste, typical) = 7.33 mm
    check = reach(flat, "7.33 mm")
    assert check.face.nominal == pytest.approx(7.33e-3)
    assert check.gap.to("mm").magnitude == pytest.approx(0, abs=1e-9)
    assert reach(flat, "7.33 mm", travel="2 mm").reaches == "always"
    assert reach(flat, "7.33 mm", travel="0.3 mm").reaches == "usually"
    assert reach(flat, "7.33 mm", travel="0.1 mm").reaches == "hardly"
    never = reach(flat, "9 mm", travel="1 mm")
    assert never.reaches == "never"
    assert never.gap.to("mm").magnitude == pytest.approx(0.67)
    assert "does not reach: 0.67 mm are missing" in " ".join(never.sentences)
    assert "no-contact" in keys(never)
    assert never.force.si == 0
    assert never.kept == ()
    assert "force-limits" not in keys(never)
    assert not never.feeds
    with pytest.raises(InputError, match=r"0\.67 mm lower"):
        _ = never.stack
    assert "no-contact" in keys(reach(flat, "7.33 mm", travel="0.1 mm"))
    assert "no-contact" not in keys(reach(flat, "7.33 mm", travel="0.3 mm"))


def test_a_bare_die_needs_a_lower_mount(relid):
    bare = mods.bare_die(relid)
    mount = Mount("200 N", made_for="7.3 mm", travel="1.5 mm")
    assert mount_check(relid, package(), mount).reaches == "always"
    lower = mount_check(bare, package(), mount)
    # 2.9 + 1.17 + 0.07 + 0.72 + 0.025 (liquid metal, die to plate) = 4.885 against 5.8 mm
    assert lower.gap.to("mm").magnitude == pytest.approx(0.915)
    assert lower.reaches == "never"


def test_springs_press_by_their_rate(flat):
    # 0.2 mm below what it is made for, of 1 mm travel that uses up all 200 N: 160 N
    assert reach(flat, "7.53 mm", travel="1 mm").force.si == pytest.approx(160)
    assert reach(flat, "7.53 mm", travel="1 mm", rate="50 N/mm").force.si == pytest.approx(190)
    assert reach(flat, "7.13 mm", travel="1 mm").force.si == pytest.approx(240)
    assert "assumed" in " ".join(reach(flat, "7.53 mm", travel="1 mm").sentences)
    assert "0.10 mm beyond" in " ".join(reach(flat, "7.13 mm", travel="1 mm", up="0.1 mm").sentences)
    assert mount_check(flat, package(), Mount("200 N (sd 5 N)")).force.spread == 5
    # the heights' own scatter: 50 N/mm times the standard uncertainty of the plane
    check = reach(flat, "7.53 mm", travel="3 mm", rate="50 N/mm")
    assert check.force.kind == "normal"
    assert check.force.spread == pytest.approx(50e3 * check.face.sd, rel=0.02)


# -- the rim


def rim(stack, cavity, **more):
    check = mount_check(stack, package(cavity=cavity, bumps="0.07 mm", **({"lid": "loose"} | more)))
    return check, check.rims[0]


def test_a_lid_on_its_rim_leaves_what_pocket_and_die_differ_by(flat):
    # pocket 0.86 over bumps 0.07 and die 0.72: 70 µm, of which 30 the joint takes by itself
    check, one = rim(flat, "0.86 mm (limits 0.01 mm)")
    assert one.gap.nominal == pytest.approx(70e-6)
    assert one.gap.worst == pytest.approx(30e-6)
    assert one.stands == "on its rim"
    assert check.on_rim
    assert not check.on_die
    assert check.plane.nominal == pytest.approx((2.9 + 1.17 + 0.86 + 2.4) * 1e-3)
    assert "stands on its rim and leaves 70 µm ± 22.4 µm" in one.text
    assert one.stop.kind == "normal"
    assert one.stop.si == pytest.approx(70e-6)


def test_a_gallium_alloy_does_not_bridge_a_wide_gap(flat):
    check, one = rim(flat, "0.92 mm (limits 0.01 mm)")  # 130 µm
    assert one.stands == "on its rim, joint not filled"
    assert "cannot bridge" in one.text
    assert "Bring it down by 100 µm" in one.text
    assert "unfilled-joint" in keys(check)
    assert "liquid metal.gap" not in check.feeds
    with pytest.raises(InputError, match="cannot bridge"):
        _ = check.stack
    # a paste fills 100 µm at the die (97.5 % limit of its class), and 95 µm are fine
    paste = flat.replace("liquid metal", Interface("paste under lid", "factory polymer paste"))
    assert rim(paste, "0.885 mm")[1].stands == "on its rim"
    chance = one.chances
    assert sum(chance.values()) == pytest.approx(1)
    # 130 ± 20 (die) ± 10 (pocket), both rectangular: below 100 µm only in a corner that is cut off at 30 of 30
    assert chance["on its rim, joint not filled"] == pytest.approx(1.0, abs=1e-3)


def test_chances_are_those_of_two_rectangles(flat):
    # 100 µm in the middle: half of the drawn heights lie above
    _, one = rim(flat, "0.89 mm (limits 0.01 mm)")
    assert one.chances["on its rim, joint not filled"] == pytest.approx(0.5, abs=3 * 0.5 / np.sqrt(20000))


def test_a_loose_lid_on_the_die_passes_all_force(flat):
    shallow = package(cavity="0.70 mm (limits 0.01 mm)", bumps="0.07 mm", lid="loose")
    check = mount_check(flat, shallow, Mount("200 N"))
    assert check.rims[0].stands == "on the die"
    assert check.on_die
    assert {"force-on-die", "force-limits"} <= keys(check)
    assert check.rims[0].stop.si == 0
    # 200 N over 218.24 mm²
    table = check.pressures.to_dict()
    assert table["most_kPa"][1] == pytest.approx(200 / 218.24e-6 / 1e3)
    assert table["least_kPa"][1] == table["most_kPa"][1]
    assert "minus 90 µm" in check.rims[0].text
    glued = mount_check(flat, package(cavity="0.70 mm", adhesive="0.2 mm", bumps="0.07 mm"), Mount("200 N"))
    assert glued.rims[0].gap.nominal == pytest.approx(110e-6)
    assert "glued rim" in str(glued.pressures)
    assert glued.pressures.to_dict()["least_kPa"][1] == 0
    assert "force-on-die" not in keys(glued)


def test_without_the_pocket_it_is_not_told(flat):
    for given, words in (({}, "the depth of its pocket is not given"), ({"cavity": "0.9 mm"}, "the adhesive's bond")):
        check = mount_check(flat, package(**given))
        assert check.rims == ()
        assert words in " ".join(check.sentences)


def test_a_lid_on_the_higher_of_two_dies(make):
    def die(name, thickness, x):
        return Die(name, "silicon", thickness, ("8 mm", "9 mm"), "60 W",
                   Interface(f"{name} metal", "gallium alloy", bond_line="30 um"), centre=(x, "0 mm"))  # fmt: skip

    stack = Stack(
        "two",
        [die("low", "0.70 mm", "-8 mm"), die("high", "0.78 mm", "8 mm")],
        [Layer("lid", "copper", "2.4 mm", ("36 mm", "36 mm")), Interface("paste", "ceramic paste"),
         Layer("plate", "copper", "3 mm", ("50 mm", "50 mm"))],
        Coolant("26 degC", conductance="35 kW/m^2/K"),
    )  # fmt: skip
    check = mount_check(stack, package(cavity="0.80 mm", bumps="0.07 mm", lid="loose"))
    low, high = check.rims
    assert high.stands == "on the die"
    # 0.78 + 0.03 − 0.70: the lid lies on the higher die's joint
    assert low.gap.nominal == pytest.approx(110e-6)
    assert low.stands == "on its rim, joint not filled"
    assert "stands on 'high'" in low.text
    assert check.plane.nominal == pytest.approx((2.9 + 1.17 + 0.07 + 0.78 + 0.03 + 2.4) * 1e-3)


# -- force, limits, bending


def test_published_limits_stand_beside_the_force(soldered, relid):
    check = mount_check(soldered, package(), Mount("250 N"))
    kept = dict(zip(check.limits.to_dict()["limit"], check.limits.to_dict()["kept"], strict=True))
    assert kept["lidded part, static and preload window, at most"] == "not kept"
    assert not any("stiffened" in name for name in kept)
    assert "force-limits" in keys(check)
    assert "222 N" in next(c.text for c in check.cautions if c.key == "force-limits")
    assert "force-limits" in keys(mount_check(soldered, package(), Mount("60 N")))
    assert "force-limits" not in keys(mount_check(soldered, package(), Mount("150 N")))
    stiff = mount_check(soldered, package(stiffened=True), Mount("250 N"))
    assert any("stiffened" in k.limit.what and k.kept for k in stiff.kept)
    bare = mount_check(mods.bare_die(relid), package(), Mount("60 N"))
    not_kept = {k.limit.what for k in bare.kept if not k.kept}
    # 103 kPa on 218.24 mm² are 22.5 N
    assert not_kept == {"lidless flip-chip, lasting", "bare-die module, at most"}
    module = next(k for k in bare.kept if "module" in k.limit.what)
    assert module.force == pytest.approx(103e3 * 218.24e-6)


def test_the_limits_are_those_of_the_reference():
    # design guides and data sheets of makers, looked up (generic classes)
    lid = sorted(limit.force for limit in FORCE_LIMITS if limit.on == "lid")
    die = sorted(limit.force for limit in FORCE_LIMITS if limit.on == "die" and limit.force)
    assert lid == [44, 98, 222, 288]
    assert die == [39, 45, 67, 70, 80]
    assert all(limit.provenance == "confirmed" for limit in FORCE_LIMITS)


def test_the_substrate_bends_into_its_window(relid):
    bare = mods.bare_die(relid)
    open_middle = package(window=("14 mm", "19 mm"), modulus="25 GPa")
    check = mount_check(bare, open_middle, Mount("80 N"))
    rigidity = flexural_rigidity(25e9, 1.17e-3, 0.3)
    sides, load = (14e-3, 19e-3), (12.4e-3, 17.6e-3)
    assert check.bending.sag == pytest.approx(float(supported_plate_deflection(80.0, sides, load, rigidity)))
    corner = float(supported_plate_deflection(80.0, sides, load, rigidity, (6.2e-3, 8.8e-3)))
    assert check.bending.across == pytest.approx(check.bending.sag - corner)
    assert "bent-substrate" in keys(check)
    thick = mount_check(bare, package(substrate="2.34 mm", window=("14 mm", "19 mm"), modulus="25 GPa"), Mount("80 N"))
    assert check.bending.sag / thick.bending.sag == pytest.approx(8)
    assert not thick.bending.thin
    assert mount_check(bare, package(), Mount("80 N")).bending is None
    gentle = mount_check(bare, open_middle, Mount("20 N"))
    assert gentle.bending.across < 10e-6
    assert "bent-substrate" not in keys(gentle)


def test_what_stands_beside_the_dies_is_told(relid):
    bare = mods.bare_die(relid)
    # die and bumps: 0.79 mm
    assert "on-components" in keys(mount_check(bare, package(beside="0.75 mm")))
    assert "on-components" not in keys(mount_check(bare, package(beside="0.6 mm")))
    assert "on-components" not in keys(mount_check(relid, package(beside="0.75 mm")))
    # contact plane at 4.86 mm ± 0.18
    assert "on-frame" in keys(mount_check(bare, package(frame="4.8 mm")))
    assert "above" in next(c.text for c in mount_check(bare, package(frame="4.8 mm")).cautions if c.key == "on-frame")
    assert "below" in next(c.text for c in mount_check(bare, package(frame="5 mm")).cautions if c.key == "on-frame")
    assert "on-frame" not in keys(mount_check(bare, package(frame="4.5 mm")))


# -- on to the joints


def test_pressure_and_gap_feed_the_joints(flat):
    check = mount_check(
        flat, package(cavity="0.86 mm (limits 0.01 mm)", bumps="0.07 mm", lid="loose"), Mount("200 N (sd 10 N)")
    )
    assert set(check.feeds) == {"paste.pressure", "liquid metal.gap"}
    told = check.stack
    assert told.part("paste").pressure.si == pytest.approx(200 / 1296e-6, rel=1e-5)
    assert told.part("liquid metal").gap.si == pytest.approx(70e-6)
    described = flat.change({"paste.pressure": "154.321 kPa", "liquid metal.bond_line": "70 um"})
    # the gap stops the joint at 70 µm: the same as 70 µm of bond line
    assert ts.predict(told).junction.magnitude == pytest.approx(ts.predict(described).junction.magnitude, abs=1e-3)
    paths = {entry.path for entry in told.inputs()}
    assert {"paste.pressure", "liquid metal.gap"} <= paths
    assert (
        ts.sweep(told, "liquid metal.gap", "30 um", "90 um", points=2).junction[1] > ts.predict(flat).junction.magnitude
    )


def test_a_joint_by_class_gets_its_bond_line_with_the_gap(relid):
    check = mount_check(relid, package(cavity="0.86 mm (limits 0.01 mm)", lid="loose"))
    assert set(check.feeds) == {"liquid metal.bond_line", "liquid metal.gap"}
    assert check.feeds["liquid metal.bond_line"].si == pytest.approx(30e-6)
    assert ts.predict(check.stack).junction > ts.predict(relid).junction


def test_what_a_force_does_to_a_joint_is_fed_where_a_law_tells(relid, soldered):
    mount = Mount("60 N")
    assert mount_check(mods.bare_die(relid), package(), mount).feeds == {}  # liquid metal: no yield stress
    paste = mount_check(mods.bare_die(soldered, "ceramic paste"), package(), mount)
    assert paste.feeds["ceramic paste.pressure"].si == pytest.approx(60 / 218.24e-6, rel=1e-5)
    written = soldered.change("paste.bond_line", "25 um")
    assert mount_check(written, package(), Mount("150 N")).feeds == {}
    assert mount_check(written, package(), Mount("150 N")).stack == written


def test_it_shows_itself(flat):
    check = mount_check(
        flat, package(cavity="0.86 mm", lid="loose", window=("14 mm", "19 mm")), Mount("200 N", made_for="7.3 mm")
    )
    text = str(check)
    for words in ("Stand-off", "Pressure", "Published force limits", "eight times as far", "no instructions"):
        assert words in text
    assert "<table" in check._repr_html_()
    assert set(check.to_dict()) == {"heights", "pressures", "limits", "feeds", "sentences", "cautions"}
    assert "contact plane" in list(check.to_pandas()["height"])
    assert str(mount_check(flat, package()))


def test_every_caution_of_the_mount_is_looked_at_here():
    written = set(re.findall(r'Caution\(\s*"([a-z-]+)"', Path(thermostack.mount.warnings.__file__).read_text("utf-8")))
    here = Path(__file__).read_text("utf-8")
    assert written
    assert all(f'"{key}"' in here for key in written)


@pytest.mark.parametrize(
    ("make", "error", "match"),
    [
        (lambda: Package("1.17"), UnitError, "package.substrate"),
        (lambda: Package("-1 mm"), InputError, "package.substrate"),
        (lambda: Package("1 mm", lid="taped"), InputError, "glued or loose"),
        (lambda: Package("1 mm", lid="loose", adhesive="0.1 mm"), InputError, "loose lid"),
        (lambda: Package("1 mm", stiffened="yes"), InputError, "True or False"),
        (lambda: Package("1 mm", window="14 mm"), InputError, "package.window"),
        (lambda: Mount("200"), UnitError, "mount.force"),
        (lambda: Mount("200 N", rate="5 N"), UnitError, "mount.rate"),
        (lambda: Mount("200 N", made_for="2 mm", travel="3 mm"), InputError, "below the board"),
        (lambda: mount_check("stack", Package("1 mm")), InputError, "no Stack"),
    ],
)
def test_bad_input_is_told(make, error, match):
    with pytest.raises(error, match=match):
        make()


def test_a_reach_without_a_socket_is_refused(soldered):
    with pytest.raises(InputError, match=r"package\.socket"):
        mount_check(soldered, Package("1.17 mm"), Mount("200 N", made_for="7 mm"))


# -- files


def test_package_and_mount_go_with_the_part_in_its_file(tmp_path, soldered, relid):
    held = package(cavity="0.86 mm (limits 0.01 mm)", lid="loose", window=("14 mm", "19 mm"), stiffened=True)
    mount = Mount("200 N (sd 10 N)", made_for="7.3 mm", travel="1.5 mm", rate="60 N/mm")
    file = tmp_path / "part.toml"
    write_stack(file, soldered, relid, package=held, mount=mount)
    assert read_mount(file) == (held, mount)
    assert read_variants(file)[:2] == (soldered, relid)
    assert "modulus" not in file.read_text()  # what is assumed is not written
    write_stack(file, soldered)
    assert read_mount(file) == (None, None)


@pytest.mark.parametrize(
    ("text", "match"),
    [
        ('[package]\nsubstrate = "1.17"', "line {last}, package.substrate.*no unit"),
        ('[package]\nsubstrat = "1.17 mm"', "did you mean 'substrate'"),
        ('[package]\nsocket = "3 mm"', "'substrate' is missing.*1.17 mm"),
        ('[mount]\ntravel = "3 mm"', "'force' is missing.*200 N"),
        ('[package]\nsubstrate = "1 mm"\nlid = "taped"', "line {last}, package.lid.*glued or loose"),
    ],
)
def test_a_wrong_package_is_told_with_its_line(tmp_path, soldered, text, match):
    file = tmp_path / "part.toml"
    write_stack(file, soldered)
    whole = file.read_text() + text
    file.write_text(whole)
    for read in (read_mount, read_variants):
        with pytest.raises(FileError, match=match.format(last=whole.count("\n") + 1)):
            read(file)


def test_the_example_is_a_relid_that_fits_and_a_bare_die_that_does_not():
    file = Path(__file__).parents[2] / "examples" / "relid.toml"
    part, relid, gap, bare, *_ = read_variants(file)
    held = read_mount(file)
    fits = mount_check(relid, *held)
    assert fits.reaches == "always"
    assert fits.on_rim
    # the mod that the file describes is what the heights give
    assert gap.part("liquid metal").gap.si == fits.feeds["liquid metal.gap"].si
    assert gap.part("liquid metal").gap.spread == pytest.approx(fits.feeds["liquid metal.gap"].spread, rel=0.05)
    assert mount_check(bare, *held).reaches == "never"
    assert mods.relid(part, Interface("liquid metal", "gallium alloy", bond_line="30 um (x/ 1.4)")) == relid
