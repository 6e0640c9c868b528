"""The columns of a log before anyone has said what they are."""

from pathlib import Path

import pytest

import thermostack as ts
from thermostack.measured.headers import headers_of, mapping_of

LOGS = Path(__file__).parents[1] / "data" / "logs"
EXAMPLES = Path(__file__).parents[2] / "examples"


def test_the_demo_log_is_guessed_whole():
    found = headers_of(EXAMPLES / "before.csv")
    assert [(h.name, h.unit, h.kind) for h in found] == [
        ("time", "s", "time"), ("core a", "degC", "sensor"), ("core b", "degC", "sensor"), ("core c", "degC", "sensor"),
        ("core d", "degC", "sensor"), ("coolant", "degC", "coolant"), ("room", "degC", "ambient"), ("power", "W", "power"),
        ("pump", "rpm", "pump"),
    ]  # fmt: skip
    log = ts.read_log(EXAMPLES / "before.csv", mapping_of(found, [h.kind for h in found]))
    assert log.of_role("sensor") == ("core a", "core b", "core c", "core d")
    assert log.of_role("pump") == ("pump",)


@pytest.mark.parametrize(
    ("name", "kinds"),
    [
        ("bench_comma.csv", ["time", "power", "sensor", "sensor", "sensor"]),
        ("plain.csv", ["time", "power", "sensor", "sensor", "coolant", "limit"]),
        ("quoted.csv", ["time", "clock", "power", "sensor", "pump"]),
        ("halfday.csv", ["time", "power", "sensor", "sensor", "coolant"]),
    ],
)
def test_guesses_by_unit_and_word(name, kinds):
    found = headers_of(LOGS / name)
    assert [h.kind for h in found] == kinds
    choices = {"dates": "day first"} if name == "halfday.csv" else {}
    log = ts.read_log(LOGS / name, mapping_of(found, kinds), **choices)
    assert set(log.roles.values()) == set(kinds) - {"time"}


def test_date_and_time_of_day_are_one_time():
    found = headers_of(LOGS / "sections.csv")
    assert [h.kind for h in found][:2] == ["time", "time"]
    kinds = ["time", "time", "power", "sensor", "sensor", "ambient"]
    log = ts.read_log(LOGS / "sections.csv", mapping_of(found, kinds, ["", "", "W", "degC", "degC", "degC"]))
    assert log.of_role("sensor") == ("Probe 1", "Probe 2")


def test_a_unit_that_the_header_does_not_tell(tmp_path):
    path = tmp_path / "log.csv"
    path.write_text("t,die,die,load\n0,40.5,41,100\n1,40.5,41,100\n2,40.6,41,100\n")
    found = headers_of(path)
    mapping = mapping_of(found, ["time", "sensor", "sensor", "power"], ["s", "degC", "degC", "W"])
    assert mapping == {
        "time": ("t", "s"), "sensors": {"die": (2, "degC"), "die (3)": (3, "degC")}, "power": {"load": ("load", "W")},
    }  # fmt: skip
    assert mapping_of(found, [None] * 4) == {}


def test_a_file_without_a_header_is_refused(tmp_path):
    path = tmp_path / "log.csv"
    path.write_text("1,2,3\n2,3,4\n")
    with pytest.raises(ts.FileError, match="no header was found"):
        headers_of(path)
