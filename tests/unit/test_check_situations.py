"""Checks in the situations that people bring: far off, the same mount again, levels that differ, no lid, a calibrated part."""

from dataclasses import replace

import numpy as np
import pytest

import thermostack as ts
from thermostack.checking import check
from thermostack.checking.candidates import candidates_of
from thermostack.checking.causes import DESCRIBED, UNLISTED
from thermostack.states import State

FAST = {"solver": "one-dimensional", "draws": 0, "samples": 1000}


def part(lid=True):
    """An invented part of 200 W, which the description puts at about 55 °C."""
    joint = ts.Interface("solder", "indium solder", bond_line="0.25 mm (sd 0.04 mm)")
    below = [ts.Layer("lid", "copper", "2.4 mm", ("36 mm", "36 mm")), ts.Interface("paste", "ceramic paste")]
    return ts.Stack(
        "part",
        ts.Die("die", "silicon", "0.72 mm", ("12 mm", "17 mm"), "200 W", joint if lid else below[1]),
        [*(below if lid else ()), ts.Layer("cold plate", "copper", "3 mm", ("50 mm", "50 mm"))],
        ts.Coolant("26 degC", conductance="35 kW/m^2/K (x/ 1.2)"),
    )


def read(temperature, power="200 W (sd 2 W)", **labels):
    return ts.Reading.of({"die": f"{temperature} degC (sd 0.3 K)"}, power=power, coolant="26 degC (sd 0.2 K)", **labels)


METAL = ts.Interface("liquid metal", "gallium alloy")
PART = part()
RELID = PART.replace("solder", METAL).named("relid")


def test_far_off_nothing_that_is_listed_explains_it():
    """The whole check still shows itself, and does not say that the cause is settled."""
    found = check(State(PART, read(120)), State(RELID, read(28)), **FAST)
    assert found.causes[UNLISTED].probability > 0.99
    assert "No cause that is listed explains the readings" in str(found)
    assert not found.next_measurements.open


def test_a_mount_that_stayed_is_the_same_before_and_after():
    """A faster pump leaves the cold plate on: mount 2 after is mount 2 before, and is compared with it alone."""
    faster = PART.change("coolant.conductance", "40 kW/m^2/K (sd 3 kW/m^2/K)").named("faster pump")
    before = State(PART, read(55, mount="1"), read(62, mount="2"))
    found = check(before, State(faster, read(61.3, mount="2")), **FAST)
    paths = {u.variable.path: {where for where, *_ in u.places} for u in found.model.unknowns}
    assert paths["paste.mount (part, mount 2)"] == {1, 2}, "the second mount before, and the one after"
    assert found.verdict.drop.measured == pytest.approx(0.7, abs=0.01)
    assert found.verdict.finding != "not explained"
    bad = found.causes["one bad mount"].cause
    assert [(way.where, way.told) for way in bad.ways] == [("before", "before, mount 1"), ("both", "mount 2")]
    assert found.causes["paste badly seated"].cause.ways[0].where == "both"
    assert "“one bad mount, mount 2” (> 99 %); whether anything else came with it" in found.causes.conclusion


def test_another_mount_of_the_same_stack_is_another():
    """Two mounts of one stack differ by the class's scatter; a label that comes again, or none, is the same mount."""
    first = State(PART, read(55, mount="1", source="b"))
    other, same, unnamed = (
        check(first, State(PART, read(55, source="a", **label)), **FAST).verdict.drop.u_input
        for label in ({"mount": "2"}, {"mount": "1"}, {})
    )
    # without mounts: power to 1 % twice, coolant to 0.2 K twice
    assert same == pytest.approx(np.sqrt(2) * np.hypot(0.01 * 29, 0.2), rel=0.1)
    assert unnamed == pytest.approx(same, rel=0.05)
    assert other > 1.2 * same


def test_levels_of_one_name_are_compared_where_the_highest_differ():
    half = "100 W (sd 1 W)"
    before = State(PART, read(54.6, level="full"), read(40.3, half, level="half"))
    found = check(before, State(RELID, read(38.7, half, level="half")), **FAST)
    assert found.verdict.drop.measured == pytest.approx(1.6)
    assert list(found.drawn.drops.before) == [1]
    with pytest.raises(ts.InputError, match=r"200 W before and 100 W after: not one load; expected .*labelled"):
        check(State(PART, read(54.6)), State(RELID, read(38.7, half)), **FAST)


def test_a_level_called_half_is_the_users_own():
    """A further level that could be read is not taken for one that was, whatever its name and power."""
    levels = [("200 W (sd 2 W)", "full"), ("160 W (sd 2 W)", "half")]
    states = [
        State(stack, *(read(t, p, level=level) for t, (p, level) in zip(ts_, levels, strict=True)))
        for stack, ts_ in ((PART, (54.6, 49.0)), (RELID, (51.4, 46.3)))
    ]
    found = check(*states, **FAST)
    assert "a second power level, after" in [m.name for m in found.next_measurements]


def test_without_a_lid_a_bad_mount_is_asked_about():
    bare = part(lid=False)
    metal = bare.replace("paste", METAL).named("metal")
    found = check(State(bare, read(54.6, mount="1"), read(63, mount="2")), State(metal, read(48.1)), **FAST)
    assert found.causes.pointed_to.members[0].name == "one bad mount"
    assert "paste badly seated before" in [r.name for r in found.causes.ranked]
    mounts = [way.where for way in found.causes["one bad mount"].cause.ways]
    assert mounts == ["before", "before"], "liquid metal on a die has a share of bad mounts of its own"


def test_a_lid_that_came_off_was_there_before():
    found = check(State(PART, read(54.6)), State(PART.without("lid", "paste"), read(50)), **FAST)
    assert found.causes["wrong lid thickness"].cause.ways[0].where == "before"
    assert not found.causes.effects.left_out


@pytest.mark.parametrize(
    ("after", "power", "words"),
    [
        (51, "206 W (sd 0.5 W)", "although the part ran cooler: that is not leakage"),
        (60, "196 W (sd 0.5 W)", "although the part ran hotter: that is not leakage"),
        (49, "199.7 W (sd 0.05 W)", "less than leakage"),
        (51, "150 W (sd 0.5 W)", "more than leakage"),
    ],
)
def test_what_the_power_did(after, power, words):
    found = check(State(PART, read(55, "200 W (sd 0.05 W)")), State(RELID, read(after, power)), **FAST)
    assert words in found.leakage


def test_what_an_outcome_would_mean_is_said_of_what_it_tests():
    found = check(State(PART, read(54.6)), State(RELID, read(51.4)), **FAST).next_measurements
    for name, cause in (
        ("a second power meter", "power-meter error or change"),
        ("a second coolant probe beside the first", "coolant probe or its drift"),
        ("power off, coolant running: sensors against coolant", "sensor offset that changed"),
    ):
        outcomes = found[name].outcomes
        assert outcomes[0][0] == cause, name
        assert outcomes[0][3] > 3 * outcomes[0][2], "far more probable then"


def test_power_off_is_read_with_the_slope_of_the_sensors():
    """What the sensors share at the coolant's temperature: offset and slope × (coolant − pivot), by hand."""
    common = {"die.offset": "0 K (sd 0.2 K)", "die.slope": "0 (sd 0.05)", "die.pivot": "60 degC"}
    states = State(PART, read(54.6, common=common)), State(RELID, read(51.4, common=common))
    off = next(c for c in candidates_of(check(*states, **FAST).causes) if c.name.startswith("power off"))
    assert np.linalg.norm(off.slopes[-1]) == pytest.approx(np.hypot(0.2, 0.05 * (60 - 26)), rel=1e-6)


def test_the_micrometer_tells_in_micrometres():
    thick = PART.swap("die", [replace(PART.dies[0], thickness=ts.Value(0.72, "mm", "length", "normal", 0.05))])
    found = check(State(thick, read(54.6)), State(thick.replace("solder", METAL), read(51.4)), **FAST)
    (candidate,) = (c for c in candidates_of(found.causes) if "micrometer" in c.name)
    assert candidate.unit == "µm"
    assert np.linalg.norm(candidate.slopes[-1]) == pytest.approx(50.0, rel=1e-3)


def test_a_calibrated_part_is_looked_at_as_it_is_known_now():
    """After, given before: inputs alone start from what the calibration taught, so that they lead from what is expected."""
    known = ts.calibrate(PART, read(57, source="before"), solver="one-dimensional")
    found = check(known, State(known.replace("solder", METAL), read(53, source="after")), **FAST)
    medians = {v.path: np.atleast_1d(v.distribution.ppf(0.5)) for v in found.model.variables}
    medians |= {path: np.atleast_1d(np.median(x)) for path, x in found.drawn.learned.items()}
    after = found.model(medians)[0, 1] - 273.15
    expected = 57.0 - after  # before is what it read; power and coolant are the same
    still = [each for each in found.alone if each.value is None]
    assert still
    for each in still:  # what does next to nothing stays at what all medians let expect
        assert each.nearest == pytest.approx(expected, abs=0.01)
    paste = next(each for each in found.alone if each.path == "paste.resistance")
    learned = np.median(found.drawn.learned["paste.resistance"])
    assert paste.usual == pytest.approx(learned)
    described = next(v for v in found.model.variables if v.path == "paste.resistance")
    assert learned > 1.05 * described.distribution.ppf(0.5), "the part read hotter than it was described"
    assert "after what was read before" in str(found.alone_table)


def test_a_calibrated_state_after_is_no_baseline():
    known = ts.calibrate(RELID, read(53, source="first run"), solver="one-dimensional")
    with pytest.raises(ts.InputError, match="is the one that was calibrated, and a baseline is given besides"):
        check(State(PART, read(57, source="stock")), State(known, read(53.3, source="second run")), **FAST)


def test_evidence_that_is_known_badly_points_to_nothing():
    found = check(State(PART, read(54.6)), State(RELID, read(51.4)), **FAST).causes
    assert found.rough == ()
    first = replace(found.ranked[0], error=300.0)
    rough = replace(found, ranked=(first, *found.ranked[1:]))
    assert rough.rough[0] is first
    assert rough.pointed_to is None
    assert "evidence is known to 300 only" in rough.conclusion
    far = replace(found[DESCRIBED], error=47958.0, log_evidence=first.log_evidence - 1e3)
    others = tuple(far if r.name == DESCRIBED else r for r in found.ranked)
    assert replace(found, ranked=others).rough == (), "it is far behind, whatever its error"


def test_refused():
    one = read(54.6)
    with pytest.raises(ts.InputError, match="this reading is given twice, as one of part too"):
        check(State(PART, one), State(RELID, one), **FAST)
    with pytest.raises(ts.InputError, match="resolve: -2 K resolves nothing; expected a width above zero"):
        check(State(PART, one), State(RELID, read(51.4)), resolve="-2 K", **FAST)
    with pytest.raises(ts.InputError, match="knows no voids"):
        check(State(PART, one), State(RELID, read(51.4)), solver="axisymmetric")
    with pytest.warns(ts.ThermostackWarning, match="relid was made from part by a mod, and yet stands first"):
        check(State(RELID, read(54.6)), State(PART, read(51.4)), **FAST)


def test_as_little_as_the_draws_can_tell_is_a_bound():
    """All of 1000 draws lie nearer than readings 40 K off: p is below 1/1001, and not that."""
    found = check(State(PART, read(95)), State(RELID, read(51.4)), **FAST)
    assert "(p < 0.001)" in str(found.contradiction)
    assert "(p < 0.002)" in found.verdict.sentences[0]
    usual = check(State(PART, read(54.6)), State(RELID, read(51.4)), **FAST)
    assert "(p = " in str(usual.contradiction)


FASTER = PART.change("coolant.conductance", "40 kW/m^2/K (sd 3 kW/m^2/K)").named("faster pump")
LABELS = [("1", "1"), ("1", ""), ("", "1"), ("", "")]


@pytest.mark.parametrize(("first", "then"), LABELS)
def test_one_mount_that_stayed_whatever_it_is_called(first, then):
    """A label alone changes nothing: one mount, never taken off, is bad before and after or not at all."""
    found = check(State(PART, read(61, mount=first)), State(FASTER, read(53, mount=then)), **FAST).causes
    bad = found["one bad mount"]
    assert [way.where for way in bad.cause.ways] == ["both"]
    assert bad.probability < 0.05
    assert "paste better seated after" not in [r.name for r in found.ranked]


@pytest.mark.parametrize(
    ("before", "after"), [(("1", "2"), ("2",)), (("", "2"), ("2",)), (("1", ""), ("",)), (("", "2"), ("2", "3"))]
)
def test_the_second_mount_is_compared_with_itself(before, after):
    states = (
        State(PART, *(read(t, mount=m) for t, m in zip((55, 62), before, strict=True))),
        State(FASTER, *(read(61.3, mount=m) for m in after)),
    )
    found = check(*states, **FAST)
    assert list(found.drawn.drops.before) == [1]
    assert found.verdict.drop.measured == pytest.approx(0.7)


def test_a_mount_read_idle_is_no_partner():
    idle = read(31.5, "30 W (sd 1 W)", mount="2", level="idle")
    before = State(PART, read(54.6, mount="1", level="full"), idle)
    after = State(FASTER, read(54, mount="1", level="full"), read(62.3, mount="2", level="full"))
    assert check(before, after, **FAST).verdict.drop.measured == pytest.approx(0.6)


def test_another_mount_is_no_seat_that_stayed():
    first, again = read(57, mount="1", source="x"), read(53, mount="2", source="y")
    found = check(State(PART, first), State(PART, again), **FAST)
    names = [r.name for r in found.causes.ranked]
    assert {"paste badly seated before", "paste better seated after"} <= set(names)
    assert "lid flatness changed" not in names, "nothing was opened"
    assert "What to measure next" in str(found)


def test_three_states():
    """Without labels each state has a mount of its own; with them, the last is that of the state it was made from."""
    lapped = PART.remounted().named("lapped")
    relid = lapped.replace("solder", METAL).named("relid")
    found = check(State(PART, read(54.6)), State(lapped, read(62)), State(relid, read(51)), **FAST).causes
    assert [way.told for way in found["one bad mount"].cause.ways] == ["before", "before, lapped", "after"]
    assert found[UNLISTED].probability < 0.5
    faster = lapped.change("coolant.conductance", "40 kW/m^2/K (sd 3 kW/m^2/K)").named("lapped faster")
    both = State(lapped, read(54, mount="1"), read(62, mount="2"))
    model = check(State(PART, read(55)), both, State(faster, read(61.3, mount="2")), **FAST).model
    assert [each.mount for each in model.measured][2] == [each.mount for each in model.measured][3]


@pytest.mark.parametrize("level", [None, "full"])
def test_mounts_count_alike_however_often_they_were_read(level):
    before = [read(t, mount=m, level="full", source=f"s{t}") for t, m in ((54.0, "1"), (54.2, "1"), (60.0, "2"))]
    found = check(State(PART, *before), State(RELID, read(50, level="full")), level=level, **FAST)
    mean = {None: (54.2 + 60.0) / 2, "full": ((54.0 + 54.2) / 2 + 60.0) / 2}[level]
    assert found.verdict.drop.measured == pytest.approx(mean - 50)


def test_two_stacks_of_one_name():
    other = PART.remounted().named("part")
    with pytest.raises(ts.InputError, match="two stacks are both called 'part'; expected a name for each"):
        check(State(PART, read(55)), State(other, read(54)), **FAST)
