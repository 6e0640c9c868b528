"""The panels of verdict and plan without a browser: what they show is what the library says."""

import asyncio
import base64
import html
import re
import time
from pathlib import Path

import numpy as np
import pytest

import thermostack as ts

pytest.importorskip("ipywidgets")
from thermostack import notebook as nb
from thermostack.notebook import told, verdict_panel

EXAMPLES = Path(__file__).parents[2] / "examples"
DEMO = EXAMPLES / "demo"


@pytest.fixture(scope="module")
def variants():
    return ts.read_variants(DEMO / "part.toml")


@pytest.fixture(scope="module")
def logs():
    return nb.LogsPanel(DEMO / "too-large-before-1.csv", DEMO / "too-large-after-1.csv", truncating=True)


@pytest.fixture(scope="module")
def checked(variants, logs):
    """Return a panel that has checked the demo logs."""
    made = nb.VerdictPanel(nb.Bench(variants, sampled=False), logs, title="Too much")
    assert made.export.button.disabled
    made.button.click()
    assert made.alert.view.value == ""
    return made


@pytest.fixture(scope="module")
def by_hand(variants):
    """Return the same check without a panel."""
    columns = {"time": "time", "sensors": {"core *": "core *"}, "coolant": "coolant", "power": "power"}
    states = []
    for stack, name in zip(variants, ("before", "after"), strict=True):
        log = ts.read_log(DEMO / f"too-large-{name}-1.csv", columns)
        states.append(ts.State(stack, log.steady(truncating=log.of_role("sensor"))))
    return ts.check(*states)


def text(shown):
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", shown)).split())


def test_the_verdict_is_the_librarys(checked, by_hand):
    drop = by_hand.drop()
    assert checked.check.drop().measured == pytest.approx(drop.measured, abs=1e-6)
    assert checked.check.drop().u_val == pytest.approx(drop.u_val, rel=1e-6)
    for sentence in by_hand.verdict.sentences:
        assert sentence in text(checked.said.value)
    found = checked.check  # its causes take seconds, and are of the same states
    assert found.causes.conclusion in text(checked.said.value)
    assert f"measured {drop.measured:.1f} K" in checked.picture.value
    assert f'tst-what">measured drop</div><div class="tst-value">{drop.measured:.1f} ' in checked.figures.value
    assert text(by_hand.drops._repr_html_()) in text(checked.drops.value)
    assert text(found.causes.table._repr_html_()) in text(checked.causes.value)
    assert text(found.next_measurements._repr_html_()) in text(checked.next.value)
    assert "too-large-before-1.csv against too-large-after-1.csv" in checked.status.value


def test_the_picture_of_the_drop(checked):
    """The mark, the ends of the 95 % and the line of what was expected stand where the axis says."""
    drop, picture = checked.check.verdict.drop, checked.picture.value
    ticks = re.findall(r'<text x="([\d.]+)" y="292[^>]*>([−\d.]+)</text>', picture)
    at, value = np.array([(float(x), float(v.replace("−", "-"))) for x, v in ticks]).T
    scale, zero = np.polyfit(value, at, 1)
    dashed = re.findall(r'<line x1="([\d.]+)"[^>]*stroke-dasharray', picture)
    assert zero + scale * drop.expected == pytest.approx(float(dashed[0]), abs=0.3)
    mark = re.findall(r'<path d="M([\d.]+) [\d.]+L([\d.]+) ', picture)
    assert float(mark[3][1]) == pytest.approx(zero + scale * drop.measured, abs=0.3)
    shaded = [float(x) for x in re.findall(r"[ML]([\d.]+) ", re.findall(r'<path d="([^"]+)"', picture)[1])]
    assert (min(shaded), max(shaded)) == pytest.approx((zero + scale * drop.low, zero + scale * drop.high), abs=0.3)


def test_the_picture_of_causes(checked):
    table = checked.check.causes.table.to_dict()
    picture = told.causes(checked.check)
    bars = [float(w) for w in re.findall(r'<rect [^>]*width="([\d.]+)" height="16"', picture)]
    assert 3 <= len(bars) <= told.CAUSES
    assert bars == pytest.approx([220 * p for p in table["probability"][: len(bars)]], abs=0.11)
    assert f"{len(table['cause']) - len(bars)} others are less probable" in picture
    left = [high for high in table["high"][len(bars) :] if high is not None]
    assert len(bars) == told.CAUSES or max(left) < 0.005


def test_what_is_shown_is_said_to_be_old(checked):
    assert "tst-stale" not in checked.said._dom_classes
    checked.variants[0].value = 1
    assert "check again" in checked.status.value
    assert "tst-stale" in checked.said._dom_classes
    checked.variants[0].value = 0
    assert "tst-stale" not in checked.said._dom_classes
    checked.bench.move("paste.resistance", 1e-5)
    assert "check again" in checked.status.value
    checked.bench.reset()
    checked.known[0].value = 0.5
    assert "check again" in checked.status.value
    assert checked.export.button.disabled
    checked.known[0].value = 2.0
    assert "Checked" in checked.status.value
    assert not checked.export.button.disabled


def test_a_log_that_is_lost_leaves_no_verdict_to_publish(checked, monkeypatch):
    def lost():
        raise ts.InputError("no log after", where="logs")

    with monkeypatch.context() as patch:
        patch.setattr(checked, "_ask", lost)
        checked._changed()
    assert "Nothing to check yet" in checked.status.value
    assert "tst-stale" in checked.said._dom_classes
    assert checked.export.button.disabled
    checked._changed()
    assert "tst-stale" not in checked.said._dom_classes
    assert not checked.export.button.disabled


def test_what_is_known_of_sensors_and_meter(checked):
    for slider, value in zip(checked.known, (0.4, 0.0, 5.0), strict=True):
        slider.value = value
    for state in checked._states(checked._ask()):
        common = state.readings[0].common
        assert common["core b.offset"].spread == pytest.approx(0.4)
        assert common["power.gain"].spread == pytest.approx(0.05)
        assert (common["core b.slope"].kind, common["core b.slope"].si) == ("exact", 0.0)
    for slider, (_, value, _, _) in zip(checked.known, verdict_panel.KNOWN, strict=True):
        slider.value = value


def test_the_page_is_written_and_offered(checked, tmp_path):
    checked.export.offer(True)
    file = tmp_path / "result.html"
    checked.export.file.value = str(file)
    checked.export.button.click()
    assert checked.alert.view.value == ""
    link = checked.export.link.value
    data = re.search(r'href="data:text/html;charset=utf-8;base64,([^"]+)"', link)[1]
    assert base64.b64decode(data) == file.read_bytes()
    assert 'download="result.html"' in link
    assert 'aria-label="download the page of the verdict, result.html"' in link
    page = file.read_text(encoding="utf-8")
    assert "<h1>Too much</h1>" in page
    assert "too-large-after-1.csv" in page
    # a file that is there is left alone, unless it is told otherwise
    checked.export.title.value = "Another"
    checked.export.button.click()
    assert 'role="alert"' in checked.alert.view.value
    assert checked.export.link.value == ""
    assert file.read_text(encoding="utf-8") == page
    checked.export.replace.value = True
    checked.export.button.click()
    assert checked.alert.view.value == ""
    assert "<h1>Another</h1>" in file.read_text(encoding="utf-8")
    checked.export.file.value = str(tmp_path / "result.txt")
    checked.export.button.click()
    assert ".html or .md" in checked.alert.view.value


def test_nothing_to_check_yet(variants):
    bench = nb.Bench(variants, sampled=False)
    empty = nb.LogsPanel()
    panel = nb.VerdictPanel(bench, empty)
    assert panel.button.disabled
    assert "Nothing to check yet" in panel.status.value
    for log, name in ((empty.before, "before"), (empty.after, "after")):
        assert panel.button.disabled
        log.path.value = str(EXAMPLES / f"{name}.csv")
    assert not panel.button.disabled
    with pytest.raises(ts.InputError, match="1 states"):
        nb.VerdictPanel(bench, [reading(60)])


def reading(die):
    return ts.Reading.of({"die": f"{die} degC (sd 0.3 K)"}, power="230 W (sd 3 W)", coolant="26 degC (sd 0.2 K)")


def test_three_states_and_a_sensor_that_is_not_there(variants):
    bench = nb.Bench(variants, sampled=False)
    panel = nb.VerdictPanel(bench, [reading(60), [reading(58), reading(57.5)], reading(55)])
    assert [chosen.description for chosen in panel.variants] == [
        "variant before", "variant after, 1", "variant after, 2",
    ]  # fmt: skip
    assert [chosen.value for chosen in panel.variants] == [0, 1, 1]
    assert panel.known == []  # what was typed says itself what it is known to
    assert [len(state.readings) for state in panel._states(panel._ask())] == [1, 2, 1]
    panel.button.click()
    assert 'role="alert"' in panel.alert.view.value
    assert "core" in panel.alert.view.value  # what the stack predicts
    assert "Not checked." in panel.status.value
    assert not panel.button.disabled
    assert panel.export.button.disabled


def test_a_check_is_stopped(variants, logs, monkeypatch):
    """In a kernel the panel answers while the check runs; what was stopped never arrives."""
    begun = []

    def slow(*states, **choices):
        begun.append(states)
        time.sleep(0.2)
        raise AssertionError("nobody waits for this")

    monkeypatch.setattr(verdict_panel, "check", slow)

    async def press():
        panel = nb.VerdictPanel(nb.Bench(variants, sampled=False), logs)
        panel.button.click()
        assert "1 of 3" in panel.status.value
        assert panel.button.disabled
        await asyncio.sleep(0.1)
        assert len(begun) == 1
        panel.stop.click()
        assert "Stopped." in panel.status.value
        await asyncio.sleep(0.3)
        return panel

    panel = asyncio.run(press())
    assert panel.alert.view.value == ""
    assert not panel.button.disabled
    assert panel.stop.disabled
    assert panel.check is None


# -- the plan


@pytest.fixture(scope="module")
def planned(variants):
    made = nb.PlanPanel(nb.Bench(variants, sampled=False), title="Relid", tests=60, counts=(1, 2, 4))
    made.scatter.value = 0.8
    made.drop.value = "2.5 K"
    made.button.click()
    assert made.alert.view.value == ""
    return made


def test_the_plan_is_the_librarys(planned, variants):
    plan = ts.plan(*variants, drops="2.5 K", bench="0.8 K", tests=60, counts=(1, 2, 4), rank=False)
    assert planned.plan.trials == plan.trials
    for sentence in plan.sentences:
        assert sentence in text(planned.said.value)
    for table in plan.tables:
        assert text(table._repr_html_()) in text(planned.tables.value)
    for _, steps in plan.checklist.steps:
        for step in steps:
            assert " ".join(step.split()) in text(planned.checklist.value)
    curve = re.search(r'<path d="(M[^"]+)"', planned.picture.value)[1]
    points = np.array([[float(v) for v in point.split()] for point in curve[1:].split("L")])
    assert points[:, 1] == pytest.approx([272 - 258 * trial.chances[0] for trial in plan.trials], abs=0.06)
    assert points[:, 0] == pytest.approx([56 + 426 * (n - 1) / 3 for n in (1, 2, 4)], abs=0.06)


def test_the_plan_to_print(planned, tmp_path):
    planned.export.file.value = str(tmp_path / "plan.html")
    planned.export.button.click()
    assert planned.alert.view.value == ""
    assert "Before the mod" in (tmp_path / "plan.html").read_text(encoding="utf-8")
    assert 'download="plan.html"' in planned.export.link.value


def test_a_plan_that_is_old_or_cannot_be_made(planned):
    planned.after.value = 0
    assert "plan again" in planned.status.value
    assert planned.export.button.disabled
    planned.button.click()
    assert 'role="alert"' in planned.alert.view.value
    assert "changes nothing" in planned.alert.view.value
    assert not planned.button.disabled
    planned.after.value = 1
    planned.drop.value = "three kelvin"
    planned.button.click()
    assert 'role="alert"' in planned.alert.view.value
    planned.drop.value = "2.5 K"
    assert "tst-stale" not in planned.said._dom_classes
