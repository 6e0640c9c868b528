"""Readings: figures, labels, what is common, and those typed by hand."""

from __future__ import annotations

import json
from datetime import datetime

import numpy as np
import pytest

from thermostack.errors import InputError, ThermostackWarning, UnitError, UnknownNameError
from thermostack.measured.reading import Reading
from thermostack.measured.swapped import warn_if_swapped

TYPED = {"die": "71.2 degC (sd 0.3 K)", "lid": "50 .. 51 degC"}


def typed(**changes):
    return Reading.of(TYPED, **({"power": "231 W (sd 2 W)", "coolant": "26.1 degC (sd 0.1 K)"} | changes))


def test_figures_of_a_typed_reading():
    reading = typed()
    assert reading["die"] == (pytest.approx(344.35), pytest.approx(0.3))
    assert reading["lid"][1] == pytest.approx(0.5 / np.sqrt(3))
    assert reading.rise[0] == pytest.approx(45.1)
    assert reading.rise_covariance[0, 0] == pytest.approx(0.3**2 + 0.1**2)
    assert reading.rise_covariance[0, 1] == pytest.approx(0.1**2)
    assert reading.resistance[0] == pytest.approx(45.1 / 231)
    relative = (0.3**2 + 0.1**2) / 45.1**2 + (2 / 231) ** 2
    assert reading.resistance_covariance[0, 0] == pytest.approx((45.1 / 231) ** 2 * relative)
    assert (reading.basis, reading.window) == ("typed", None)


def test_resistance_uncertainty_by_sampling():
    """First order against draws: 45 K and 231 W with 1 % each leave second order below 0.1 %."""
    reading = typed()
    draws = reading.draw(200_000, seed=1)
    sampled = (draws[:, 0] - draws[:, 3]) / draws[:, 2]
    assert sampled.std() == pytest.approx(np.sqrt(reading.resistance_covariance[0, 0]), rel=0.01)
    np.testing.assert_allclose(np.cov(draws.T), reading.covariance, atol=0.03)


def test_common_inputs_stay_apart():
    slope = {"die.slope": "0 (sd 0.03)", "die.pivot": "100 degC"}
    reading = typed(common={"die.offset": "0 K (sd 3 K)", "power.gain": "1 (sd 0.05)", **slope})
    assert reading["die"][1] == pytest.approx(0.3)
    assert reading.common["die.offset"].standard_uncertainty == 3
    assert "die.offset" in str(reading)
    with pytest.raises(InputError, match="slope without a pivot"):
        typed(common={"die.slope": "0 (sd 0.03)"})
    with pytest.raises(UnknownNameError, match=r"did you mean 'power.gain'"):
        typed(common={"power.gian": "1 (sd 0.05)"})


def test_labels_and_words():
    reading = typed(level="idle", mount="2")
    assert "level idle, mount 2" in reading.title
    assert reading.labelled(mount="3").mount == "3"
    assert reading.labelled(mount="3").level == "idle"
    assert reading.idle
    assert not typed().idle
    assert "71.200" in str(reading)
    assert "<table" in reading._repr_html_()
    plain = json.loads(json.dumps(reading.to_dict()))
    assert plain["names"] == ["die", "lid", "power", "coolant"]
    assert plain["means"][2] == 231


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"power": "231 W"}, "no uncertainty"),
        ({"power": "0 W (sd 1 W)"}, "power is 0 W"),
        ({"coolant": "80 degC (sd 0.1 K)"}, "die reads 8.8 K below the coolant at 231 W"),
        ({"power": "231 W (x/ 1.1)"}, "not normal"),
    ],
)
def test_bad_readings(changes, message):
    with pytest.raises(InputError, match=message):
        typed(**changes)


def test_more_bad_readings():
    with pytest.raises(UnitError, match="no unit"):
        typed(power=231)
    with pytest.raises(InputError, match="no sensor"):
        Reading.of({}, power="231 W (sd 2 W)", coolant="26 degC (sd 1 K)")
    with pytest.raises(InputError, match="cannot be called 'power'"):
        Reading.of({"power": "30 degC (sd 1 K)"}, power="231 W (sd 2 W)", coolant="26 degC (sd 1 K)")
    with pytest.raises(UnknownNameError, match="did you mean 'die'"):
        typed()["dei"]


def test_below_the_coolant_at_idle_is_told():
    reading = Reading.of({"die": "24 degC (sd 0.3 K)"}, power="12 W (sd 1 W)", coolant="26.1 degC (sd 0.1 K)")
    assert [flag.kind for flag in reading.flags] == ["below coolant"]
    assert len(reading.labelled(mount="2").flags) == 1


def test_swapped():
    early, late = datetime(2026, 3, 1, 10), datetime(2026, 3, 5, 10)
    with pytest.warns(ThermostackWarning, match=r"recorded 2026-03-01.*swapped"):
        warn_if_swapped([typed(start=late)], [typed(start=early)])
    assert warn_if_swapped([typed(start=early)], [typed(start=late)]) is None
    with pytest.warns(ThermostackWarning, match=r"after.csv was given as before"):
        warn_if_swapped([typed(source="after.csv")], [typed(source="before.csv")])
    assert warn_if_swapped([typed(source="before.csv")], [typed(source="after.csv")]) is None
    assert warn_if_swapped([typed()], [typed()]) is None
