"""Panels without a browser: set a widget's value, read what is shown, and hold it against the library."""

import asyncio
import re
import threading
from pathlib import Path

import pytest

import thermostack as ts
from thermostack.live import Quick, moved
from thermostack.stack.reading import from_toml

pytest.importorskip("ipywidgets")
from thermostack import notebook as nb
from thermostack.notebook.code import python_of
from thermostack.notebook.latest import Latest
from thermostack.notebook.svg import ticks

EXAMPLES = Path(__file__).parents[2] / "examples"


@pytest.fixture(scope="module")
def variants():
    """Return two bare dies, joined by liquid metal and by paste: few inputs to move, so quick to prepare."""
    return ts.read_variants(EXAMPLES / "workstation.toml")[2:]


@pytest.fixture(scope="module")
def prepared(variants):
    """Return their quick answers, made ready once for all tests."""
    found = {i: Quick(stack) for i, stack in enumerate(variants)}
    for quick in found.values():
        quick.prepare()
    return found


@pytest.fixture
def bench(variants, prepared):
    """Return a bench on which the second is shown against the first."""
    made = nb.Bench(variants, sampled=False)
    made._quick.update(prepared)
    return made


@pytest.fixture
def panel(bench):
    """Return a stack panel; nothing may be wrong in it when the test ends."""
    made = nb.StackPanel(bench)
    yield made
    assert "role" not in made.alert.view.value


def shown(panel, what):
    """Return a large figure of a panel."""
    found = re.search(rf'tst-what">{what}</div><div class="tst-value">([^ ]+) ', panel.figures.value)
    return float(found[1].replace("−", "-"))


def celsius(stack):
    return float(ts.predict(stack).junction.magnitude)


def test_a_slider_moves_the_answer(panel, variants):
    assert shown(panel, "junction") == pytest.approx(celsius(variants[1]), abs=0.051)
    panel.sliders["die.power"].value = 180
    there = [moved(v, {"die.power": 180.0}) for v in variants]
    assert shown(panel, "junction") == pytest.approx(celsius(there[1]), abs=0.051)
    # what both have moves in both
    assert shown(panel, "rises by") == pytest.approx(celsius(there[1]) - celsius(there[0]), abs=0.051)
    panel.sliders["die paste.bond_line"].value = 50
    assert "50 µm" in panel.picture.value
    there = moved(variants[1], {"die.power": 180.0, "die paste.bond_line": 50e-6})
    assert shown(panel, "junction") == pytest.approx(celsius(there), abs=0.051)
    assert 'data-settled="1"' in panel.status.value


def test_the_picture_tells_itself(panel, variants):
    table = ts.predict(variants[1]).breakdown.to_dict()
    name = re.search(r'role="img" aria-label="([^"]+)"', panel.picture.value)[1]
    for part, drop in zip(table["part"][:-1], table["drop_K"][:-1], strict=True):
        assert f"{part} {drop:.2f} K" in name
        assert f">{drop:.2f} K<" in panel.picture.value


def test_the_limit_and_the_headroom(panel, variants):
    for limit in (95, 80):
        panel.limit.value = limit
        expected = float(ts.predict(variants[1]).headroom(f"{limit} degC").magnitude)
        assert shown(panel, f"headroom to {limit} °C") == pytest.approx(expected, abs=0.51)


def test_reset_puts_everything_back(panel):
    before = panel.figures.value, panel.sliders["coolant.conductance"].value
    panel.sliders["coolant.conductance"].value = 60
    assert panel.figures.value != before[0]
    panel.reset.click()
    assert (panel.figures.value, panel.sliders["coolant.conductance"].value) == before
    assert panel.bench.values == {}


def test_a_slider_that_is_gone_is_not_heard(panel):
    """A browser puts handles on their grid and tells so, perhaps after the sliders were made anew."""
    old = panel.sliders["die.power"]
    panel.reset.click()
    old.value = 150
    assert panel.bench.values == {}
    panel.sliders["die.power"].value = 150
    assert panel.bench.values == {"die.power": 150.0}


def test_another_variant_has_its_own_sliders(panel, variants):
    assert "die paste.bond_line" in panel.sliders
    panel.sliders["die.power"].value = 200
    panel.variant.value = 0
    assert "die paste.bond_line" not in panel.sliders
    assert "liquid metal.bond_line" in panel.sliders
    assert panel.sliders["die.power"].value == 200  # what was moved stays moved
    assert shown(panel, "junction") == pytest.approx(celsius(moved(variants[0], {"die.power": 200.0})), abs=0.051)
    assert "drops by" not in panel.figures.value  # against itself


def test_python_and_toml_of_what_is_on_the_screen(panel):
    panel.sliders["coolant.conductance"].value = 50
    panel.sliders["die paste.bond_line"].value = 35
    stack = panel.bench.stack()
    assert celsius(from_toml(_copied(panel, "TOML of variant shown"))[0]) == pytest.approx(celsius(stack), abs=1e-9)
    names = {}
    exec(_copied(panel, "Python"), names)
    assert celsius(names["mod"]) == pytest.approx(celsius(stack), abs=1e-9)
    assert "limit='95 degC'" in _copied(panel, "Python")


def _copied(panel, name):
    import html

    return html.unescape(re.search(rf'aria-label="{name}">(.*?)</textarea>', panel.copy.value, re.DOTALL)[1])


def test_python_of_regions_sensors_and_a_board():
    region = ts.Region("hot", "60 W", corner=("1 mm", "2 mm"), size=("3 mm", "4 mm"))
    die = ts.Die("die", "silicon", "0.72 mm (sd 0.02 mm)", ("12 mm", "17 mm"), ts.PowerMap("200 W", [region]),
                 [ts.Layer("plating", "nickel plating", "5 um"), ts.Interface("solder", resistance="5 mm^2*K/W", void_fraction=0.1)],
                 centre=("1 mm", "0 mm"), mirrored=True)  # fmt: skip
    stack = ts.Stack("s", die, [ts.Layer("lid", "copper", "2 mm", ("30 mm", "30 mm"))],
                     ts.Coolant("26 degC", conductance="30 kW/m^2/K", wetted=("20 mm", "20 mm")), ts.Board("8 K/W"),
                     [ts.Sensor("probe", "lid")])  # fmt: skip
    names = {}
    exec(python_of([stack], "95 degC").replace(".headroom('95 degC')", ""), names)
    assert names["baseline"] == stack


def test_what_goes_wrong_is_shown_and_goes_away(bench):
    panel = nb.StackPanel(bench)
    bench._failed(ts.InputError("3 K is no limit", where="limit", expected="'95 degC' & more"))
    assert 'role="alert"' in panel.alert.view.value
    assert "95 degC&#x27; &amp; more" in panel.alert.view.value
    panel.sliders["die.power"].value = 190
    assert panel.alert.view.value == ""


def test_names_are_escaped(variants):
    stack = variants[0].replace("cold plate", ts.Layer("<b>plate</b>", "copper", "3 mm", ("50 mm", "50 mm")))
    panel = nb.StackPanel(stack)
    for view in (panel.picture, panel.table, panel.cautions, panel.copy, panel.figures, panel.status):
        assert "<b>plate" not in view.value
    assert "&lt;b&gt;plate" in panel.picture.value


def test_every_control_has_a_name(bench):
    import ipywidgets as widgets

    def inside(widget):
        yield widget
        for child in getattr(widget, "children", ()):
            yield from inside(child)

    app = nb.app(bench, EXAMPLES / "before.csv")
    controls = [w for w in inside(app) if isinstance(w, widgets.DOMWidget) and hasattr(w, "description")]
    assert len(controls) > 30
    for control in controls:
        if not isinstance(control, widgets.HTML):
            assert control.description or control.tooltip, control


def test_the_interval_fills_in_after_the_answer(variants, prepared):
    bench = nb.Bench(variants)
    bench._quick.update(prepared)
    panel = nb.StackPanel(bench)
    bench._at_rest()
    summary = ts.compare(*variants, samples=2000, progress=False).drop(1)
    # paste instead of liquid metal: the panel says by how much it rises
    low, high = -summary.high.value, -summary.low.value
    assert f"95 %: {low:.1f} … {high:.1f}".replace("-", "−") in panel.figures.value
    assert low < shown(panel, "rises by") < high
    assert "interval of 2000 samples" in panel.status.value


def test_a_band_about_the_curve(variants, prepared):
    bench = nb.Bench(variants)
    bench._quick.update(prepared)
    bench._interval[bench._key(0), bench._key(1)] = None  # the drop's is not looked at here
    panel = nb.SweepPanel(bench, path="die paste.bond_line")
    assert "The band holds 95 % of 400 samples" in panel.text.value
    low, _, high = panel._band.band()
    assert (low < high).all()
    assert 'opacity="0.18"' in panel.picture.value


def test_panels_of_one_bench_follow_each_other(bench, variants):
    panels = nb.StackPanel(bench), nb.SweepPanel(bench), nb.DiePanel(bench)
    panels[0].variant.value = 0
    assert panels[2].variant.value == 0
    assert panels[1].path.value == "liquid metal.bond_line"
    assert f"now {celsius(variants[0]):.1f}" in panels[1].picture.value
    panels[2].variant.value = 1
    assert panels[0].variant.value == 1
    assert panels[1].path.value == "die paste.bond_line"
    assert shown(panels[2], "junction") == pytest.approx(celsius(variants[1]), abs=0.051)
    for panel in panels:
        assert panel.alert.view.value == ""


# -- sweep


def test_a_sweep_tells_where_a_goal_is_met(bench, variants):
    panel = nb.SweepPanel(bench, path="die paste.bond_line", goal=("junction at most", "62 degC"))
    from thermostack.goal import value_for

    ends = (panel.start.value, panel.stop.value)
    goal = value_for(variants[1], "die paste.bond_line", between=ends, junction="62 degC")
    assert goal.text in panel.text.value
    assert f">{goal.value.magnitude:.3g}<" in panel.picture.value
    now = celsius(variants[1])
    assert f"now {now:.1f}" in panel.picture.value
    bench.move("die paste.bond_line", 60e-6)
    assert f"now {celsius(bench.stack()):.1f}" in panel.picture.value


def test_another_range_a_bad_one_and_two_inputs(bench):
    panel = nb.SweepPanel(bench)
    before = panel.picture.value
    panel.stop.value = "80"  # a number alone has the unit that is shown
    assert panel.picture.value != before
    panel.stop.value = "80 degC"
    assert 'role="alert"' in panel.alert.view.value
    panel.stop.value = "80 um"
    assert panel.alert.view.value == ""
    panel.path_2.value = "coolant.conductance"
    assert "over die paste.bond_line and coolant.conductance" in panel.picture.value
    panel.goal.value = "drop at least"
    assert 'role="alert"' not in panel.alert.view.value


# -- die


def test_the_die_shows_its_hottest_point():
    region = ts.Region("hot", "60 W", corner=("1 mm", "2 mm"), size=("3 mm", "4 mm"))
    die = ts.Die("die", "silicon", "0.72 mm", ("12.4 mm", "17.6 mm"), ts.PowerMap("200 W", [region]),
                 ts.Interface("liquid metal", "gallium alloy", bond_line="40 um"))  # fmt: skip
    stack = ts.Stack("s", die, [ts.Layer("plate", "copper", "3 mm", ("50 mm", "50 mm"))],
                     ts.Coolant("26 degC", conductance="35 kW/m^2/K"))  # fmt: skip
    bench = nb.Bench(stack)
    bench.quick(0).prepare = lambda stop: True  # not needed here
    panel = nb.DiePanel(bench)
    hot = ts.predict(stack).hottest
    assert shown(panel, "hottest, active face") == pytest.approx(hot.temperature, abs=0.051)
    assert f"x {hot.x:.1f} mm, y {hot.y:.1f} mm".replace("-", "−") in panel.figures.value
    panel.depth.value = 1.0
    assert shown(panel, "hottest, level 1") == pytest.approx(
        ts.predict(stack).field.hottest("die", 1.0).temperature, abs=0.051
    )
    panel.powers["hot.power"].value = 90
    panel.depth.value = 0.0
    hotter = ts.predict(stack.change("hot.power", "90 W")).hottest
    assert shown(panel, "hottest, active face") == pytest.approx(hotter.temperature, abs=0.051)
    panel.y.value = 3.0
    assert "section at y = 3.0 mm" in panel.picture.value
    panel.powers["hot.power"].value = 181  # the most that the slider has; still below the total
    assert panel.alert.view.value == ""


# -- logs


@pytest.fixture(scope="module")
def logs():
    """Return a panel with both demo logs."""
    return nb.LogsPanel(EXAMPLES / "before.csv", EXAMPLES / "after.csv", truncating=True)


def test_readings_are_the_librarys(logs):
    columns = {"time": "time", "sensors": {"core *": "core *"}, "coolant": "coolant", "power": "power"}
    for name, reading in zip(("before", "after"), logs.readings, strict=True):
        log = ts.read_log(EXAMPLES / f"{name}.csv", columns)
        expected = log.steady(truncating=log.of_role("sensor"))
        assert reading.means == pytest.approx(expected.means, abs=1e-9)
        assert reading.window == expected.window
    assert "Side by side" in logs.summary.value


def test_the_window_moves_and_is_found_again(logs):
    panel = logs.before
    found = panel.reading
    panel.window.value = (14.0, 26.0)
    assert panel.reading.window == (840.0, 1560.0)
    assert "set by hand" in panel.table.value
    panel.window.value = (14.0, 15.0)  # shorter than the soak
    assert 'role="alert"' in panel.alert.view.value
    assert panel.reading is None
    with pytest.raises(ts.InputError, match="no reading"):
        logs.readings  # noqa: B018
    panel.found.click()
    assert panel.reading.window == found.window
    assert panel.alert.view.value == ""


def test_a_browser_that_puts_handles_on_their_grid_does_not_move_the_window(logs):
    panel = logs.after
    found = panel.reading
    start, end = panel.window.value
    panel.window.value = (start + 0.04, end - 0.04)
    assert panel.reading is found


def test_an_uploaded_file_and_other_columns():
    panel = nb.LogsPanel().before
    content = (EXAMPLES / "before.csv").read_bytes()
    panel._uploaded([{"name": "C:\\logs\\mine.csv", "content": memoryview(content)}])
    assert panel.reading.source == "mine.csv"
    assert panel.reading.sensors == ("core a", "core b", "core c", "core d")
    columns = {header.name: kind for header, kind in zip(panel._headers, panel.kinds, strict=True)}
    columns["core b"].value = "other"
    assert panel.reading.sensors == ("core a", "core c", "core d")
    columns["time"].value = ""
    assert "no column of time" in panel.alert.view.value
    panel.path.value = "no such file.csv"
    assert "no such file.csv" in panel.alert.view.value
    assert panel.reading is None
    assert panel.table.value == ""


# -- what is slow


def wait(latest, seconds=5.0):
    async def until():
        for _ in range(int(seconds / 0.01)):
            await asyncio.sleep(0.01)
            if not latest.busy:
                return
        raise TimeoutError

    return until()


def test_only_the_latest_counts():
    """Of three requests in a row one is worked out; of two apart the first is told to stop and dropped."""
    done, failed, begun, stopped = [], [], [], threading.Event()
    release = threading.Event()

    def work(number):
        def run(stop):
            begun.append(number)
            if number == 2:
                release.wait(5)
                if stop():
                    stopped.set()
            return number

        return run

    async def main():
        latest = Latest("soon", pause=0.03)
        for number in (0, 1, 2):
            latest.ask(work(number), done.append, failed.append)
        await asyncio.sleep(0.15)
        assert begun == [2]
        latest.ask(work(3), done.append, failed.append)
        release.set()
        await wait(latest)

    asyncio.run(main())
    assert begun == [2, 3]
    assert stopped.is_set()
    assert (done, failed) == ([3], [])


def test_work_that_fails_and_work_that_is_cancelled():
    failed, done = [], []

    def wrong(stop):
        raise ts.SolveError("no operating point")

    def hand_over(_):
        raise ValueError("not shown")

    async def main():
        latest = Latest("soon", pause=0.01)
        latest.ask(wrong, done.append, failed.append)
        await wait(latest)
        latest.ask(lambda stop: 1, hand_over, failed.append)
        await wait(latest)
        latest.ask(lambda stop: 2, done.append, failed.append)
        latest.cancel()
        await asyncio.sleep(0.05)

    asyncio.run(main())
    assert [str(error) for error in failed] == ["no operating point", "not shown"]
    assert done == []


def test_without_a_loop_it_is_done_at_once():
    done = []
    Latest("later").ask(lambda stop: 7, done.append, done.append)
    assert done == [7]


@pytest.mark.parametrize(
    ("ends", "expected"),
    [
        ((0.0, 10.0), [0, 2, 4, 6, 8, 10]),
        ((23.0, 61.0), [30, 40, 50, 60]),
        ((-0.2, 0.3), [-0.2, -0.1, 0.0, 0.1, 0.2, 0.3]),
    ],
)
def test_ticks_are_round(ends, expected):
    assert ticks(*ends) == pytest.approx(expected)


def test_ticks_on_a_logarithmic_scale():
    assert ticks(7.0, 150.0, 8, logarithmic=True) == [10, 20, 50, 100]
    assert ticks(0.01, 1e4, 8, logarithmic=True) == pytest.approx([0.01, 0.1, 1, 10, 100, 1e3, 1e4])
