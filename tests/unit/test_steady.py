"""From a log to a reading: the window, the flags and the refusals. All logs are invented."""

from __future__ import annotations

import contextlib
import importlib.util
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from thermostack.errors import InputError, UnitError, UnknownNameError
from thermostack.measured.flags import SteadyError
from thermostack.measured.log import Log
from thermostack.measured.steady import steady, steady_levels

EXAMPLES = Path(__file__).parents[2] / "examples"


def load_generator():
    if "generate_logs" not in sys.modules:
        spec = importlib.util.spec_from_file_location("generate_logs", EXAMPLES / "generate_logs.py")
        module = importlib.util.module_from_spec(spec)
        sys.modules["generate_logs"] = module  # dataclasses look their module up
        spec.loader.exec_module(module)
    return sys.modules["generate_logs"]


g = load_generator()
BENCH = g.Bench({"die": 0.2, "other": 0.22}, ((60.0, 14.0), (1200.0, 230.0)), truncating=False, loop_time=120.0)
ROLES = {"coolant": "coolant", "room": "ambient", "power": "power", "pump": "pump"}


def as_log(columns, **changes):
    values = {n: c + (0 if n in ("power", "pump") else 273.15) for n, c in columns.items() if n != "time"}
    values |= changes
    roles = {name: ROLES.get(name, "sensor") for name in values}
    roles |= {"limit": "limit"} if "limit" in values else {}
    roles |= {"clock": "clock"} if "clock" in values else {}
    return Log(columns["time"], values, roles, "bench.csv")


@pytest.fixture
def columns():
    return g.generate(BENCH, 1)


def kinds(reading):
    return {flag.kind for flag in reading.flags}


def test_finds_the_loaded_part_and_its_resistances(columns):
    reading = steady(as_log(columns))
    assert reading.sensors == ("die", "other")
    first, last = reading.window
    # the load comes at 60 s; steps are placed to a few seconds, and the soak is three minutes
    assert 235 <= first <= 250
    assert last == columns["time"][-1]
    u = np.sqrt(np.diag(reading.resistance_covariance))
    assert np.all(np.abs(reading.resistance - [0.2, 0.22]) <= 4 * u)
    assert np.all(u < 0.0005)
    assert reading.power == pytest.approx(230, abs=1.0)
    assert "die minus coolant moves by" in reading.why
    assert kinds(reading) <= {"power step", "coolant drift"}


def test_a_longer_soak_moves_the_window(columns):
    assert steady(as_log(columns), soak="8 min").window[0] == pytest.approx(60 + 480, abs=5)


def test_truncation_is_half_a_step():
    """The same log cut off and not: the mean moves by half a step, to the scatter of what was cut off."""
    bench = replace(BENCH, noise=0.8)
    plain = steady(as_log(g.generate(replace(bench, step=0.0), 3)))
    cut = steady(as_log(g.generate(replace(bench, truncating=True), 3)), truncating=["die", "other"])
    left = steady(as_log(g.generate(replace(bench, truncating=True), 3)))
    for name in ("die", "other"):
        assert cut[name][0] == pytest.approx(plain[name][0], abs=0.05)  # 1 K/√12/√1000 = 0.01 K, five of them
        assert cut[name][0] - left[name][0] == pytest.approx(0.5, abs=1e-9)


def test_a_still_value_has_the_step_over_root_twelve(columns):
    values = as_log(columns)
    die = np.where(columns["time"] < 62, 310.15, 345.15)
    reading = steady(Log(values.time, {**values.values, "die": die}, values.roles), resolution={"die": "1 K"})
    assert reading.resolution["die"] == pytest.approx(1 / np.sqrt(12))
    assert reading["die"][1] >= 1 / np.sqrt(12)


def test_rows_that_are_missing_are_no_harm(columns):
    log = as_log(g.generate(replace(BENCH, missing=0.3), 1))
    reading = steady(log)
    assert reading.resistance[0] == pytest.approx(0.2, abs=0.0005)


def test_the_window_by_hand(columns):
    reading = steady(as_log(columns), window=("10 min", "20 min"))
    assert reading.window == (600, 1200)
    assert reading.why.startswith("set by hand")
    with pytest.raises(SteadyError, match=r"window lasts 100 s.*at least the soak, 3 min"):
        steady(as_log(columns), window=("10 min", "700 s"))
    with pytest.raises(InputError, match="reaches beyond the log"):
        steady(as_log(columns), window=("10 min", "2 h"))
    with pytest.raises(InputError, match="reversed"):
        steady(as_log(columns), window=("20 min", "10 min"))
    with pytest.raises(UnitError, match="no unit"):
        steady(as_log(columns), window=(600, 1200))


def test_a_window_by_hand_on_a_drift_is_flagged(columns):
    die = columns["die"] + 273.15 + 0.004 * columns["time"]
    assert "drift" in kinds(steady(as_log(columns, die=die), window=("5 min", "20 min")))


def test_levels(columns):
    bench = replace(BENCH, levels=((600.0, 14.0), (900.0, 120.0), (900.0, 230.0)))
    readings = steady_levels(as_log(g.generate(bench, 2)))
    assert [reading.level for reading in readings] == ["idle", "120 W", "230 W"]
    assert [reading.power for reading in readings] == pytest.approx([14, 120, 230], abs=1.5)
    for reading in readings[1:]:
        assert reading.resistance[0] == pytest.approx(0.2, abs=0.001)


def test_idle_does_not_stand_for_a_load_that_is_not_steady():
    bench = replace(BENCH, levels=((900.0, 14.0), (200.0, 230.0)))
    with pytest.raises(SteadyError, match=r"without a change.*of soak and.*of window after it: log 2.68 min longer"):
        steady(as_log(g.generate(bench, 2)))


# -- refusals


def test_too_short():
    with pytest.raises(SteadyError, match=r"log .* longer without a change") as caught:
        steady(as_log(g.generate(replace(BENCH, levels=((300.0, 230.0),)), 1)))
    assert "300 s" in str(caught.value) or "4.98 min" in str(caught.value)


def test_a_drift_is_refused(columns):
    with pytest.raises(SteadyError, match="die minus coolant moves by"):
        steady(as_log(columns, die=columns["die"] + 273.15 + 0.01 * columns["time"]))


def test_a_fast_coolant_drift_is_refused_and_a_slow_one_told(columns):
    minutes = columns["time"] / 60
    warm = {name: columns[name] + 273.15 + 1.0 * minutes for name in ("die", "other", "coolant")}
    with pytest.raises(SteadyError, match="coolant drifts by"):
        steady(as_log(columns, **warm))
    slow = {name: columns[name] + 273.15 + 0.3 * minutes for name in ("die", "other", "coolant")}
    reading = steady(as_log(columns, **slow))
    assert "coolant drift" in kinds(reading)
    # sensors and coolant drift together: the rise is as good as before
    assert reading.resistance[0] == pytest.approx(0.2, abs=0.001)
    assert np.sqrt(reading.rise_covariance[0, 0]) < 0.2 * reading["die"][1]


def test_random_walks_are_refused():
    """Of 100 random walks at most five pass: with 1 % passing, more would happen once in 2,000."""
    passed = 0
    time = np.arange(1500.0)
    for seed in range(100):
        rng = np.random.default_rng(seed)
        values = {
            "die": 330 + np.cumsum(0.1 * rng.standard_normal(1500)),
            "coolant": 300 + 0.03 * rng.standard_normal(1500),
            "power": 200 + rng.standard_normal(1500),
        }
        with contextlib.suppress(SteadyError):
            steady(Log(time, values, {"die": "sensor", "coolant": "coolant", "power": "power"}))
            passed += 1
    assert passed <= 5


def test_a_periodic_load_is_steady_and_a_slow_one_is_not():
    fast = steady(as_log(g.generate(replace(BENCH, periodic=(20.0, 23.0)), 4)))
    assert fast.power == pytest.approx(230, abs=1)
    with pytest.raises(SteadyError):
        steady(as_log(g.generate(replace(BENCH, levels=((150.0, 230.0), (150.0, 90.0)) * 5), 4)))


# -- flags


def test_power_steps_and_throttling(columns):
    limit = np.zeros(len(columns["time"]))
    limit[800:820] = 1
    clock = np.full(len(limit), 4.5e9)
    clock[800:830] = 3e9
    reading = steady(as_log(columns, limit=limit, clock=clock))
    told = [flag for flag in reading.flags if flag.kind == "throttling"]
    assert {flag.column for flag in told} == {"limit", "clock"}
    assert all(790 <= flag.start <= 830 for flag in told)


def test_stuck_sensors(columns):
    reading = steady(as_log(columns, other=np.full(len(columns["time"]), 320.15)))
    assert reading.sensors == ("die",)
    assert any(flag.kind == "stuck" and flag.column == "other" for flag in reading.flags)
    held = columns["die"] + 273.15
    held[700:950] = held[700]
    flag = next(flag for flag in steady(as_log(columns, die=held)).flags if flag.kind == "stuck")
    # the value may have been read by chance just before and after
    assert 650 <= flag.start <= 700
    assert 949 <= flag.end <= 1000
    with pytest.raises(SteadyError, match="no sensor that moves"):
        steady(as_log(columns, **dict.fromkeys(("die", "other"), np.full(len(columns["time"]), 320.15))))


def test_jumping_sensors_end_a_window(columns):
    die = columns["die"] + 273.15
    die[columns["time"] > 700] += 4
    reading = steady(as_log(columns, die=die))
    flag = next(flag for flag in reading.flags if flag.kind == "jump")
    assert (flag.column, flag.start) == ("die", pytest.approx(700, abs=5))
    assert reading.window[1] < 700 or reading.window[0] > 700


def test_outliers_are_left_out(columns):
    clean = steady(as_log(columns))
    die = columns["die"] + 273.15
    die[[500, 501, 900]] = 528.15
    reading = steady(as_log(columns, die=die))
    flag = next(flag for flag in reading.flags if flag.kind == "outliers")
    assert "3 rows" in flag.text
    assert reading["die"][0] == pytest.approx(clean["die"][0], abs=0.003)


def test_a_pause_of_the_load_is_no_outlier(columns):
    die, power = columns["die"] + 273.15, columns["power"].copy()
    die[600:602] -= 25
    power[600:602] = 20
    assert "outliers" not in kinds(steady(as_log(columns, die=die, power=power)))


def test_a_pump_that_was_not_fixed(columns):
    pump = np.where(columns["time"] > 700, 2000.0, 2900.0)
    assert "pump not fixed" in kinds(steady(as_log(columns, pump=pump)))
    assert "pump not fixed" not in kinds(steady(as_log(columns)))


def test_gaps_end_a_window(columns):
    kept = (columns["time"] < 600) | (columns["time"] > 800)
    reading = steady(as_log({name: column[kept] for name, column in columns.items()}))
    assert "gap" in kinds(reading)
    assert not reading.window[0] < 700 < reading.window[1]


# -- bad input


def test_below_the_coolant_under_load_and_at_idle(columns):
    with pytest.raises(InputError, match=r"die reads .* K below the coolant at 23.* W"):
        steady(as_log(columns, die=columns["coolant"] + 273.15 - 5 + 0.1 * np.sin(columns["time"])))
    idle = g.generate(replace(BENCH, levels=((900.0, 14.0),), settled=True, offsets={"die": -10.0}), 5)
    reading = steady(as_log(idle))
    assert "below coolant" in kinds(reading)


def test_power_zero_and_columns_that_are_missing(columns):
    with pytest.raises(InputError, match="power is zero"):
        steady(as_log(columns, power=np.zeros(len(columns["time"]))))
    log = as_log(columns)
    without = {name: column for name, column in log.values.items() if name != "power"}
    roles = {name: log.roles[name] for name in without}
    with pytest.raises(SteadyError, match="no column of power"):
        steady(Log(log.time, without, roles))
    reading = steady(Log(log.time, without, roles), power="230 W (sd 3 W)")
    assert reading["power"] == (230, pytest.approx(3))
    with pytest.raises(InputError, match="no uncertainty"):
        steady(Log(log.time, without, roles), power="230 W")
    with pytest.raises(SteadyError, match="no temperature"):
        steady(
            Log(
                log.time,
                {name: log.values[name] for name in ("power", "coolant")},
                {"power": "power", "coolant": "coolant"},
            )
        )
    with pytest.raises(SteadyError, match="3 rows"):
        steady(Log(log.time[:3], {n: c[:3] for n, c in log.values.items()}, log.roles))


def test_several_coolants_must_be_told_apart(columns):
    log = as_log(columns, outlet=columns["coolant"] + 273.65)
    log = Log(log.time, log.values, {**log.roles, "outlet": "coolant"}, "bench.csv")
    with pytest.raises(InputError, match=r"2 columns of coolant.*coolant='coolant'"):
        steady(log)
    assert steady(log, coolant="outlet").coolant - steady(log, coolant="coolant").coolant == pytest.approx(
        0.5, abs=1e-9
    )


def test_wrong_names_and_values(columns):
    log = as_log(columns)
    with pytest.raises(UnknownNameError, match="did you mean 'die'"):
        steady(log, truncating=["dei"])
    with pytest.raises(UnknownNameError, match="did you mean"):
        steady(log, resolution={"dei": "1 K"})
    with pytest.raises(UnknownNameError, match="did you mean"):
        steady(log, common={"dei.offset": "0 K (sd 2 K)"})
    with pytest.raises(UnitError, match="no unit"):
        steady(log, soak=180)
    with pytest.raises(InputError, match="no duration"):
        steady(log, soak="0 s")


def test_the_ambient_stands_for_the_coolant_of_an_air_cooler(columns):
    log = as_log({name: column for name, column in columns.items() if name != "coolant"})
    assert steady(log).coolant == pytest.approx(273.15 + 22, abs=0.1)


def test_the_plot_shows_window_and_flags(columns):
    import matplotlib as mpl

    mpl.use("Agg")
    from matplotlib import pyplot

    from thermostack.plots import time_series as draw

    die = columns["die"] + 273.15
    die[700:950] = die[700]
    log = as_log(columns, die=die)
    ax = draw(log, steady(log))
    texts = [text.get_text() for text in ax.get_legend().get_texts()]
    assert any("stuck" in text for text in texts)
    assert any("window" in text for text in texts)
    ax.figure.canvas.draw()
    pyplot.close(ax.figure)


def test_demo_logs_are_what_the_generator_makes():
    for state in ("before", "after"):
        stored = (EXAMPLES / f"{state}.csv").read_text(encoding="utf-8")
        assert stored == g.text_of(g.demo(state), state)
        assert len(stored) < 200_000
        reading = steady(as_log(g.demo(state)), truncating=list(g.BEFORE))
        true = np.array(list((g.BEFORE if state == "before" else g.AFTER).values()))
        u = np.sqrt(np.diag(reading.resistance_covariance))
        assert np.all(np.abs(reading.resistance - true) <= 4 * u)
