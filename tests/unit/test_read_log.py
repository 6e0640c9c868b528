"""Logs from files: every way of writing one gives the same log, and what is not understood is told."""

import dataclasses
import json
import os
import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from thermostack.errors import FileError, InputError, UnitError, UnknownNameError
from thermostack.measured.join import join_logs
from thermostack.measured.log import Log
from thermostack.measured.read import read_log

LOGS = Path(__file__).parents[1] / "data" / "logs"
BASIC = {"time": "Elapsed", "power": "Package", "sensors": {"die": "Die"}, "coolant": "Water"}
ROWS = [
    ("0", "100.5", "50.5", "25.0"),
    ("1", "101.5", "51.5", "25.5"),
    ("2.5", "99", "52.5", "26.5"),
    ("3", "98", "52", "26"),
]
HEADER = ("Elapsed [s]", "Package [W]", "Die [°C]", "Water [°C]")


def table(rows=ROWS, header=HEADER, sep=",", end="\n", decimal="."):
    lines = [header, *([cell.replace(".", decimal) for cell in row] for row in rows)]
    return "".join(sep.join(line) + end for line in lines)


@pytest.fixture
def read(tmp_path):
    """Return a reader of texts, which also sees that reading writes nothing."""

    def reader(content, columns=BASIC, *, encoding_of_file="utf-8", **options):
        path = tmp_path / "log.csv"
        raw = content if isinstance(content, bytes) else content.encode(encoding_of_file)
        path.write_bytes(raw)
        try:
            return read_log(path, columns, **options)
        finally:
            assert path.read_bytes() == raw
            assert os.listdir(tmp_path) == ["log.csv"]

    return reader


def is_basic(log):
    assert log.time == pytest.approx([0, 1, 2.5, 3], abs=1e-12)
    assert log.values["power"] == pytest.approx([100.5, 101.5, 99, 98], rel=1e-15)
    assert log.values["die"] == pytest.approx([323.65, 324.65, 325.65, 325.15], rel=1e-15)
    assert log.values["coolant"] == pytest.approx([298.15, 298.65, 299.65, 299.15], rel=1e-15)
    assert log.roles == {"power": "power", "die": "sensor", "coolant": "coolant"}
    return True


# --- how a table is written


@pytest.mark.parametrize("sep", [",", ";", "\t", "|", ", "])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r", "\r\r\n"])
def test_delimiters_and_line_ends(read, sep, end):
    assert is_basic(read(table(sep=sep, end=end)))


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "utf-32", "cp1252"])
@pytest.mark.parametrize("sep", [";", "\t"])
def test_encodings(read, encoding, sep):
    assert is_basic(read(table(sep=sep, decimal=","), encoding_of_file=encoding))


def test_an_encoding_that_is_given(read):
    assert is_basic(read(table(), encoding_of_file="cp850", encoding="cp850"))
    with pytest.raises(InputError, match="'utf-99' is not a known encoding"):
        read(table(), encoding="utf-99")
    with pytest.raises(FileError, match="is not a text in ascii"):
        read(table(), encoding="ascii")


def test_lines_around_the_rows(read):
    text = "run 7\nof an invented part;x\n\n" + table(sep=";") + "\nAverage;99.8;51.6;25.8\nMax;101.5;52.5;26.5\n"
    log = read(text)
    assert is_basic(log)
    assert log.notes == ("left out below the rows: line 10, 'Average;99.8;51.6;25.8' and 1 more",)


def test_remarks_and_blank_lines_among_the_rows(read):
    lines = table().splitlines()
    log = read("\n".join([*lines[:3], "", "# fan set to 60 %", ",,,", *lines[3:], ""]))
    assert is_basic(log)
    assert log.notes == ("left out, no rows: line 5",)


def test_a_header_that_is_repeated(read):
    lines = table().splitlines()
    log = read("\n".join([*lines[:3], "", "second part", lines[0], *lines[3:], "", lines[0], ""]))
    assert is_basic(log)
    assert "sections are joined; their headers are in lines 1, 6" in log.notes[0]


def test_sections_with_other_columns_and_units(read):
    first = table(ROWS[:2])
    second = "Water [°C],Die [K],Elapsed [ms],Fan,Package [mW]\n26.5,325.65,2500,9,99000\n26,325.15,3000,9,98000\n"
    assert is_basic(read(first + "\n" + second))


def test_one_section_of_several(read):
    text = table(ROWS[2:]) + "\n" + table()
    with pytest.raises(FileError, match=r"line 6, column 'Elapsed \[s\]': time goes back by 3 s.*section=1"):
        read(text)
    assert is_basic(read(text, section=2))
    assert read(text, section=1).time == pytest.approx([0, 0.5])
    with pytest.raises(InputError, match="expected 1 to 2"):
        read(text, section=3)


def test_a_line_of_units(read):
    header = [h.split(" [")[0] for h in HEADER]
    assert is_basic(read(table([("s", "[W]", "degC", "°C"), *ROWS], header)))
    with pytest.raises(UnitError, match="'V' is not a unit of power"):
        read(table([("s", "V", "degC", "°C"), *ROWS], header))


def test_trailing_delimiters(read):
    assert is_basic(read(table(end=",\n")))
    assert is_basic(read(table().replace("2.5,99,52.5,26.5\n", "2.5,99,52.5,26.5,,,\n")))


def test_quotes(read):
    rows = [[f'"{cell}"' for cell in row] for row in ROWS]
    assert is_basic(read(table(rows, [f'"{h}"' for h in HEADER], decimal=",")))
    header = ('"Elapsed, s"', '"Package ""all"" [W]"', *HEADER[2:])
    assert is_basic(read(table(header=header), BASIC | {"time": ("Elapsed, s", "s"), "power": 'Package "all"'}))


def test_no_header_and_numbers_of_columns(read):
    columns = {"time": (1, "s"), "power": (2, "W"), "sensors": {"die": (3, "degC")}, "coolant": (4, "°C")}
    assert is_basic(read("".join(";".join(row) + "\n" for row in ROWS), columns))
    with pytest.raises(FileError, match=r"line 2, column 'no\. 2': 'x' is not a number"):
        read("0;5;6;7\n1;x;6;7\n", columns)
    assert is_basic(read("some words\n" + table(), {"time": 1, "power": 2, "sensors": {"die": 3}, "coolant": 4}))
    with pytest.raises(UnknownNameError, match="no column 5, there are 4"):
        read(table(), BASIC | {"fan": 5})


def test_few_of_many_columns_are_used(read):
    wide = [(*row, *"123456789") for row in ROWS]
    header = (*HEADER, *(f"x{n}" for n in range(9)))
    assert is_basic(read(table(wide, header)))
    wide[2] = (*wide[2], "7")
    with pytest.raises(FileError, match="line 4: 14 cells, where the header has 13"):
        read(table(wide, header))


# --- numbers


@pytest.mark.parametrize(
    ("cells", "numbers"),
    [
        (["1234,5", "2,25"], [1234.5, 2.25]),
        (["1.234,5", "1.234"], [1234.5, 1234]),
        (["1,234.5", "1,234"], [1234.5, 1234]),
        (["1 234,5", "1'234"], [1234.5, 1234]),
        (["1,234,567", "1,234"], [1234567, 1234]),
        (["1\u202f234,5", "−3,5"], [1234.5, -3.5]),
        (["0,125", "1,234"], [0.125, 1.234]),
        (["1,2345", "1,234"], [1.2345, 1.234]),
        (["1.234", "2.5"], [1.234, 2.5]),
        ([".5", "-5."], [0.5, -5]),
        (["1e3", "-2.5E-1"], [1000, -0.25]),
        (["7 W", "8.5 W"], [7, 8.5]),
        (["7", "99999999999999999999"], [7, 1e20]),
    ],
)
def test_ways_of_writing_numbers(read, cells, numbers):
    log = read("t [s];P\n0;" + cells[0] + "\n1;" + cells[1] + "\n", {"time": "t", "power": ("P", "W")})
    assert log.values["power"] == pytest.approx(numbers, rel=1e-15)


def test_a_decimal_sign_that_shows_late(read):
    rows = "".join(f"{n};1.234;{n}\n" for n in range(300)) + "300;1.234;2,5\n"
    log = read("t [s];P [W];Q\n" + rows, {"time": "t", "power": "P", "other": "Q"})
    assert log.values["power"] == pytest.approx(np.full(301, 1234.0))
    assert log.values["Q"][-1] == 2.5


def test_a_comma_that_may_be_either(read):
    text = "t [s];P [W]\n0;1,234\n1;1,235\n"
    with pytest.raises(FileError, match=r"may hold a decimal comma.*decimal=','"):
        read(text, {"time": "t", "power": "P"})
    assert read(text, {"time": "t", "power": "P"}, decimal=",").values["power"][0] == 1.234
    assert read(text, {"time": "t", "power": "P"}, decimal=".").values["power"][0] == 1234


@pytest.mark.parametrize(
    "bad",
    [
        "12.5.1",
        "1,23",
        "12a",
        "0x10",
        "1_0",
        "inf",
        "1e999",
        "9e30",
        "9" * 400,
        "1e9999 W",
        "--5",
        "OL",
        "1 2",
        "True",
        "5 V",
    ],
)
def test_text_in_numbers(read, bad):
    rows = [*ROWS[:2], ("2", f'"{bad}"', "52", "26"), ROWS[3]]
    with pytest.raises((FileError, UnitError), match=r"log\.csv, line 4, column 'Package \[W\]': '.*' is not a number"):
        read(table(rows))
    log = read(table(rows), unreadable="leave out")
    assert len(log.time) == 3
    assert log.notes == ("unreadable rows that were left out: 1, the first in line 4",)


@pytest.mark.parametrize("gap", ["", "-", "--", "N/A", "n/a", "NaN", "nan", "null", "None", "#N/A", " "])
def test_cells_that_are_not_available(read, gap):
    log = read(table([*ROWS[:2], ("2.5", "99", gap, "26.5"), ROWS[3]]))
    assert log.values["die"][[0, 1, 3]] == pytest.approx([323.65, 324.65, 325.15])
    assert np.isnan(log.values["die"][2])


def test_own_words_for_not_available(read):
    rows = [*ROWS[:2], ("2.5", "99", "-999", "OL"), ROWS[3]]
    with pytest.raises(FileError, match=r"line 4, column 'Water \[°C\]': 'OL' is not a number.*missing=\['OL'\]"):
        read(table(rows), missing=["-999"])
    with pytest.raises(FileError, match=r"-999.* is below absolute zero.*missing=\['-999'\]"):
        read(table(rows), missing=["OL"])
    log = read(table(rows), missing=["OL", "-999"])
    assert np.isnan(log.values["die"][2])
    assert np.isnan(log.values["coolant"][2])


@pytest.mark.parametrize("words", [("No", "Yes"), ("0", "1"), ("off", "ON"), ("FALSE", "TRUE"), ("0.0", "37.5")])
def test_flags(read, words):
    rows = [(*row, words[n in (1, 2)]) for n, row in enumerate(ROWS)]
    log = read(table(rows, (*HEADER, "Capped")), BASIC | {"limit": "Capped"})
    assert list(log.values["limit"]) == [0, 1, 1, 0]
    assert log.roles["limit"] == "limit"


def test_a_flag_that_is_none(read):
    rows = [(*row, "maybe") for row in ROWS]
    with pytest.raises(FileError, match=r"line 2, column 'Capped': 'maybe' is not yes or no, or 0 or 1"):
        read(table(rows, (*HEADER, "Capped")), BASIC | {"limit": "Capped"})


def test_power_of_zero_is_read(read):
    log = read(table([(t, "0", *rest) for t, _, *rest in ROWS]))
    assert list(log.values["power"]) == [0, 0, 0, 0]


# --- units


@pytest.mark.parametrize(
    ("header", "cell", "kelvin"),
    [
        ("Die [°C]", "50", 323.15), ("Die (C)", "50", 323.15), ("Die / °C", "50", 323.15), ("Die °C", "50", 323.15),
        ("Die, degC", "50", 323.15), ("Die_degC", "50", 323.15), ("Die [deg C]", "50", 323.15),
        ("Die [°F]", "122", 323.15), ("Die (K)", "323.15", 323.15), ("Die[℃]", "50", 323.15),
    ],
)  # fmt: skip
def test_units_in_headers(read, header, cell, kelvin):
    log = read(
        f"t [s];{header}\n0;{cell}\n1;{cell}\n", {"time": "t", "sensors": {"die": header.split("Die")[0] + "Die"}}
    )
    assert log.values["die"] == pytest.approx([kelvin, kelvin], rel=1e-12)


def test_units_to_si(read):
    text = "t [min];P [kW];c [MHz];f [rpm]\n0;0.5;4200;900\n2;0.25;3900;905\n"
    log = read(text, {"time": "t", "power": "P", "clock": "c", "fan": "f"})
    assert log.time[1] == pytest.approx(120)
    assert log.values["power"] == pytest.approx([500, 250])
    assert log.values["clock"] == pytest.approx([4.2e9, 3.9e9])
    assert list(log.values["fan"]) == [900, 905]


def test_what_stands_in_brackets_and_is_no_unit(read):
    log = read("t [s];P (mean)\n0;5\n1;6\n", {"time": "t", "power": ("P (mean)", "W")})
    assert list(log.values["power"]) == [5, 6]


def test_units_that_contradict_or_are_missing(read):
    with pytest.raises(UnitError, match=r"column 'Die \[°C\]': the file says '°C', the mapping 'degF'"):
        read(table(), BASIC | {"sensors": {"die": ("Die", "degF")}})
    assert is_basic(read(table(), BASIC | {"sensors": {"die": ("Die", "degC")}}))
    with pytest.raises(UnitError, match=r"'V' is not a unit of power"):
        read(table().replace("[W]", "[V]"))
    with pytest.raises(UnitError, match=r"no unit in the header and none given; .*\('Package', 'W'\)"):
        read(table().replace(" [W]", ""))
    with pytest.raises(UnitError, match=r"no unit in the header and none given; .*\('Elapsed', 's'\)|'min'"):
        read(table().replace(" [s]", ""))
    with pytest.raises(UnitError, match="is not a unit of power"):
        read(table(), BASIC | {"power": ("Package", "degC")})
    with pytest.raises(UnitError, match="'V' is not a unit of power"):
        read("t [s];P\n0;5 V\n1;6 V\n", {"time": "t", "power": "P"})
    with pytest.raises(UnitError, match="'furlongs' stands beside the numbers"):
        read("t [s];P\n0;5 furlongs\n1;6 furlongs\n", {"time": "t", "power": "P"})


# --- the mapping


def test_patterns_lists_and_names(read):
    header = ("Elapsed [s]", "Core #0 [°C]", "Core #1 [°C]", "Core #0 clock [GHz]")
    rows = [("0", "50", "51", "4"), ("1", "52", "53", "4.1")]
    base = {"time": "Elapsed"}
    for sensors, names in (
        ({"core *": "Core #* [°C]"}, ["core 0", "core 1"]),
        ("Core #* [°C]", ["Core #0", "Core #1"]),
        (["Core #1", "Core #0"], ["Core #1", "Core #0"]),
        ({"b": "Core #1", "a": "Core #0"}, ["b", "a"]),
    ):
        assert list(read(table(rows, header), base | {"sensors": sensors}).values) == names
    log = read(table(rows, header), base | {"clock": {"clock *": "Core #* clock"}, "sensors": "Core #1"})
    assert log.of_role("clock") == ("clock 0",)
    with pytest.raises(UnitError, match="'GHz' is not a unit of temperature"):
        read(table(rows, header), base | {"sensors": "Core #*"})


def test_columns_that_are_missing(read):
    with pytest.raises(UnknownNameError, match=r"log\.csv, line 1: no column 'Packge'; did you mean 'Package \[W\]'\?"):
        read(table(), BASIC | {"power": "Packge"})
    with pytest.raises(UnknownNameError, match=r"no column is like 'Core \*'; known: 'Elapsed \[s\]'"):
        read(table(), BASIC | {"sensors": "Core *"})
    with pytest.raises(UnknownNameError, match=r"line 3: no column 'nothing'"):
        read("a\n\n" + table(), {"time": "nothing", "power": "alike"})


@pytest.mark.parametrize(
    ("columns", "said"),
    [
        ([], "is not a mapping"), ({"power": "Package"}, "no column of time"),
        (BASIC | {"power": 0}, "0 is not a column"),
        ({"time": "Elapsed"}, "nothing but time"), (BASIC | {"heat": "x"}, "'heat' is not what a column can be"),
        (BASIC | {"power": ("a", "b", "c")}, "is not a column"), (BASIC | {"power": None}, "None is not a column"),
        (BASIC | {"sensors": {"core *": "Die"}}, "do not hold the same number of stars"),
        (BASIC | {"sensors": {"power": "Die"}}, "the name 'power' is given twice"),
        (BASIC | {"time": ["a", "b", "c"]}, "are not date and time"),
        (BASIC | {"time": "El*"}, "may be several columns"),
        (BASIC | {"ambient": "Water"}, r"column 'Water \[°C\]' is mapped twice, as 'coolant' and 'ambient'"),
        (BASIC | {"power": ("Package", "furlong")}, "is not a unit of power"),
        (BASIC | {"sensors": {"": "Die"}}, "is not a name"),
    ],
)  # fmt: skip
def test_mappings_that_are_none(read, columns, said):
    with pytest.raises(InputError, match=said):
        read(table(), columns)


def test_a_header_that_stands_twice(read):
    with pytest.raises(FileError, match=r"columns 2 and 3 are both called 'P'; expected its number in .*, such as 2"):
        read("t [s],P,P\n0,1,2\n", {"time": "t", "power": ("P", "W")})
    assert read("t [s],P,P\n0,1,2\n1,1,2\n", {"time": "t", "power": (3, "W")}).values["power"][0] == 2


@pytest.mark.parametrize(
    "option", ["delimiter", "decimal", "dates", "duplicates", "unreadable", "section", "date", "missing"]
)
def test_options_that_are_none(read, option):
    with pytest.raises(InputError, match=f"^{option}"):
        read(table(), **{option: [3]})


# --- times


def timed(read, cells, header="When", **options):
    text = f"{header}\tP\n" + "".join(f"{cell}\t1\n" for cell in cells)
    return read(text, {"time": options.pop("column", header), "power": ("P", "W")}, **options)


@pytest.mark.parametrize(
    ("first", "second", "start"),
    [
        ("2026-03-01 23:59:59", "2026-03-02 00:00:00.5", datetime(2026, 3, 1, 23, 59, 59)),
        ("2026-03-01T23:59:59,250", "2026-03-02T00:00:00,750", datetime(2026, 3, 1, 23, 59, 59, 250000)),
        ("2026/3/1 23:59:59", "2026/3/2 0:00:00.5", datetime(2026, 3, 1, 23, 59, 59)),
        ("20260301 23:59:59", "20260302 00:00:00:500", datetime(2026, 3, 1, 23, 59, 59)),
        ("28.02.2026 23:59:59", "01.03.2026 00:00:00.5", datetime(2026, 2, 28, 23, 59, 59)),
        ("31/12/2025 23:59:59", "1/1/2026 00:00:00.5", datetime(2025, 12, 31, 23, 59, 59)),
        ("12/31/2025 11:59:59 PM", "1/1/2026 12:00:00.5 AM", datetime(2025, 12, 31, 23, 59, 59)),
        ("Sun, 1 Mar 2026 23:59:59", "Mon, 2 Mar 2026 00:00:00.5", datetime(2026, 3, 1, 23, 59, 59)),
        ("March 1, 2026 11:59:59 p.m.", "March 2, 2026 12:00:00.5 a.m.", datetime(2026, 3, 1, 23, 59, 59)),
        ("23:59:59 01.03.26", "00:00:00.5 02.03.26", datetime(2026, 3, 1, 23, 59, 59)),
        ("2026-03-01T23:59:59Z", "2026-03-02T01:00:00.5+01:00", datetime(2026, 3, 1, 23, 59, 59, tzinfo=UTC)),
        ("2026-03-01T18:29:59-05:30", "2026-03-02T00:00:00.5Z", datetime(2026, 3, 1, 23, 59, 59, tzinfo=UTC)),
    ],
)
def test_dates_and_times(read, first, second, start):
    log = timed(read, [first, second])
    assert log.start == start
    assert log.time == pytest.approx([0, 1.5], abs=1e-6)


def test_dates_that_are_asked_for(read):
    cells = ["3/4/2026 10:00:00", "3/4/2026 10:00:01"]
    with pytest.raises(FileError, match=r"the date 03/04/2026 may have its day or its month first.*'day first'"):
        timed(read, cells)
    assert timed(read, cells, dates="day first").start == datetime(2026, 4, 3, 10)
    assert timed(read, cells, dates="month first").start == datetime(2026, 3, 4, 10)
    with pytest.raises(FileError, match="may have its day"):  # could be the year
        timed(read, ["26-03-01 10:00:00", "26-03-01 10:00:01"])


def test_date_and_time_in_two_columns(read):
    text = "Day;Hour;P [W]\n2026-03-01;23:59:59;5\n2026-03-02;00:00:01;6\n"
    log = read(text, {"time": ["Day", "Hour"], "power": "P"})
    assert log.start == datetime(2026, 3, 1, 23, 59, 59)
    assert log.time == pytest.approx([0, 2])


def test_clock_times_cross_midnight(read):
    log = timed(read, ["23:59:58", "23:59:59.5", "0:00:01", "12:00:00", "23:00:00", "01:00:00"])
    assert log.time == pytest.approx([0, 1.5, 3, 43202, 82802, 90002])
    assert log.start is None
    assert log.notes[0] == "clock times cross midnight at line 4"
    assert timed(read, ["23:59:58", "00:00:01"], date="2026-03-01").start == datetime(2026, 3, 1, 23, 59, 58)
    assert timed(read, ["11:59:59 PM", "12:00:01 AM"]).time == pytest.approx([0, 2])


def test_elapsed_hours_do_not_cross_midnight(read):
    assert timed(read, ["23:59:59", "24:00:01", "30:00:00"]).time == pytest.approx([0, 2, 21601])


def test_two_numbers_with_a_colon(read):
    with pytest.raises(FileError, match=r"hours and minutes, or minutes and seconds.*\('Time', 'm:s'\)"):
        timed(read, ["10:30", "10:31"])
    assert timed(read, ["59:30", "60:31.5"], column=("When", "m:s")).time == pytest.approx([0, 61.5])
    assert timed(read, ["23:59", "00:01"], column=("When", "h:m")).time == pytest.approx([0, 120])


def test_times_that_contradict_the_mapping(read):
    with pytest.raises(UnitError, match="the column holds clock times, the mapping says 's'"):
        timed(read, ["10:30:00", "10:31:00"], column=("When", "s"))
    with pytest.raises(UnitError, match="the column holds numbers, the mapping says 'm:s'"):
        timed(read, ["1", "2"], column=("When", "m:s"))
    with pytest.raises(InputError, match="a date is given, but the times are numbers"):
        timed(read, ["1", "2"], "When [s]", date="2026-03-01")
    with pytest.raises(InputError, match="the file tells its own, 2026-03-01"):
        timed(read, ["2026-03-01 10:00:00"] * 2, date="2026-03-01")


@pytest.mark.parametrize("bad", ["25:61:00", "10:00:75", "2026-03-01 10:00:00", "soon", "7.5"])
def test_a_time_unlike_the_others(read, bad):
    with pytest.raises(FileError, match=r"line 3, column 'When': '.*' is not a time like those of the other rows"):
        timed(read, ["10:00:00", bad, "10:00:02"])


def test_a_day_that_is_none(read):
    with pytest.raises(FileError, match=r"line 3, column 'When': '31\.02\.2026 10:00:00' is not a time"):
        timed(read, ["28.02.2026 10:00:00", "31.02.2026 10:00:00", "01.03.2026 10:00:00"])


def test_time_backwards(read):
    with pytest.raises(FileError, match=r"line 4, column 'Elapsed \[s\]': time goes back by 0\.5 s from line 3"):
        read(table([ROWS[0], ROWS[1], ("0.5", *ROWS[2][1:])]))
    with pytest.raises(FileError, match="line 3, column 'When': time goes back by 3600 s"):
        timed(read, ["10:00:00", "09:00:00"])


def test_equal_times(read):
    text = "t [s];P [W];Hot;Q\n0;1;no;1\n1;2;no;-\n1;4;yes;3\n1;6;no;4\n2;5;no;-\n2;7;no;-\n"
    columns = {"time": "t", "power": "P", "limit": "Hot", "other": "Q"}
    log = read(text, columns)
    assert list(log.time) == [0, 1, 2]
    assert list(log.values["power"]) == [1, 4, 6]
    assert list(log.values["limit"]) == [0, 1, 0]
    assert log.values["Q"] == pytest.approx([1, 3.5, np.nan], nan_ok=True)
    assert log.notes == ("rows with the time of the row before: 3; rows of one time were averaged",)
    assert list(read(text, columns, duplicates="first").values["power"]) == [1, 2, 5]


def test_irregular_sampling_and_gaps(read):
    log = timed(read, ["0", "1", "1.9", "3", "4", "64", "65"], "When [s]")
    assert log.time == pytest.approx([0, 1, 1.9, 3, 4, 64, 65])
    assert log.notes == ("gaps of more than five intervals of 1 s: 1, the longest of 60 s at 4 s",)


# --- files that are damaged, or none


def test_rows_that_are_cut(read):
    with pytest.raises(FileError, match=r"line 3: the row is cut off: 2 of 4 cells: '1,101\.5'; expected a whole row"):
        read(table([ROWS[0], ROWS[1][:2], *ROWS[2:]]))
    whole = table()
    with pytest.raises(FileError, match="line 5: the row is cut off: 3 of 4 cells"):
        read(whole[: whole.rindex(",")])
    log = read(whole[:-2])  # '2' of the last '26'
    assert list(log.time) == [0, 1, 2.5]
    assert log.notes == ("line 5, the last, has no line end: it may lack digits and was left out",)
    assert len(read(whole + "5,100,5", unreadable="leave out").time) == 4


def test_rows_with_too_many_cells(read):
    with pytest.raises(FileError, match="line 3: 7 cells, where the header has 4"):
        read(table().replace("1,101.5,51.5,25.5", "1,101,5,51,5,25,5"))


def test_quotes_that_are_not_closed(read):
    with pytest.raises(FileError, match="line 3: a quotation mark is not closed"):
        read(table().replace("101.5,", '"101.5,'))


def test_files_that_are_none(read, tmp_path):
    for content, said in (
        (b"", "is empty"), (b" \r\n\n", "is empty"), (bytes(range(256)) * 9, "is not a text file"),
        (b"PK\x03\x04" + bytes(90), "an archive or a spreadsheet"), (table([]), "below line 1: holds no rows"),
        (table([("a", "b", "c", "d")]), "holds no rows"),
    ):  # fmt: skip
        with pytest.raises(FileError, match=said):
            read(content)
    with pytest.raises(FileError, match="is a directory"):
        read_log(tmp_path, BASIC)
    with pytest.raises(FileError, match="cannot be read: no such file"):
        read_log(tmp_path / "none.csv", BASIC)
    with pytest.raises(FileError, match="cannot be read"):
        read_log("a\0b", BASIC)
    with pytest.raises(InputError, match=r"3\.5 is not a path"):
        read_log(3.5, BASIC)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="needs named pipes")
def test_a_pipe_is_not_waited_for(tmp_path):
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(FileError, match="is not a regular file"):
        read_log(tmp_path / "pipe", BASIC)


def test_zero_bytes_after_a_crash(read):
    log = read(table().encode() + bytes(500))
    assert is_basic(log)
    assert log.notes == ("500 zero bytes after the last line were left out",)


# --- the invented layouts


@pytest.mark.parametrize("name", sorted(json.loads((LOGS / "mappings.json").read_text(encoding="utf-8"))))
def test_invented_layouts(name):
    """Every one holds power near 180 W, sensors 0.17 K/W above a coolant near 31 degC, as it was made."""
    entry = json.loads((LOGS / "mappings.json").read_text(encoding="utf-8"))[name]

    def tupled(part):
        if isinstance(part, dict):
            pair = set(part) == {"column", "unit"}
            return (part["column"], part["unit"]) if pair else {key: tupled(value) for key, value in part.items()}
        return [tupled(each) for each in part] if isinstance(part, list) else part

    log = read_log(LOGS / name, tupled(entry["columns"]), **entry.get("options", {}))
    assert np.median(np.diff(log.time)) in (pytest.approx(0.5), pytest.approx(1), pytest.approx(2))
    assert log.values[log.of_role("power")[0]].mean() == pytest.approx(180, abs=3)
    hottest = max(log.values[sensor].mean() for sensor in log.of_role("sensor"))
    assert hottest - 273.15 == pytest.approx(31 + 0.17 * 180 + 1, abs=2)
    assert log.source == name


# --- two logs


def make(time, start=None, source="a", role="power", **values):
    arrays = {name: np.asarray(value, dtype=float) for name, value in values.items()}
    roles = {name: "limit" if name == "limit" else role for name in arrays}
    return Log(np.asarray(time, dtype=float), arrays, roles, source, start)


def test_joined_with_a_skew():
    a = make(np.arange(0, 11), x=np.arange(0, 11))
    b = make(np.arange(0, 21) * 0.7, y=3 * np.arange(0, 21) * 0.7, source="b")
    log = join_logs(a, b, skew="1.5 s")  # b shows 1.5 s where a shows 0
    assert log.values["x"] == pytest.approx(np.arange(0, 11))
    assert log.values["y"] == pytest.approx(3 * (np.arange(0, 11) + 1.5))
    behind = join_logs(a, b, skew="-1.5 s")
    assert behind.values["x"] == pytest.approx(np.arange(2, 11))
    assert behind.values["y"] == pytest.approx(3 * (np.arange(2, 11) - 1.5))
    assert behind.time == pytest.approx(np.arange(0, 9))
    assert "2 rows of a that b does not cover were left out" in behind.notes
    assert any("its clock taken 1.5 s ahead" in note for note in log.notes)


def test_joined_by_their_clocks():
    a = make([0, 1, 2, 3], datetime(2026, 3, 1, 10), x=[0, 1, 2, 3])
    b = make([0, 1, 2, 3], datetime(2026, 3, 1, 9, 59, 59), y=[0, 10, 20, 30], source="b")
    log = join_logs(a, b)
    assert log.values["y"] == pytest.approx([10, 20, 30])
    assert log.start == datetime(2026, 3, 1, 10)
    assert join_logs(a, b, skew="-1 s").values["y"] == pytest.approx([0, 10, 20, 30])
    with pytest.raises(InputError, match="b does not tell its date"):
        join_logs(a, dataclasses.replace(b, start=None))
    with pytest.raises(InputError, match="time zone"):
        join_logs(a, dataclasses.replace(b, start=datetime(2026, 3, 1, 10, tzinfo=UTC)))


def test_gaps_are_not_bridged():
    a = make(np.arange(0, 11), x=np.arange(0, 11))
    b = make([0, 1, 2, 7, 8, 9, 10], y=[0, 1, 2, 7, 8, 9, 10], source="b")
    y = join_logs(a, b).values["y"]  # at most three times the usual 1 s
    assert y == pytest.approx([0, 1, 2, np.nan, np.nan, np.nan, np.nan, 7, 8, 9, 10], nan_ok=True)
    assert join_logs(a, b, largest_gap="5 s").values["y"] == pytest.approx(np.arange(0, 11))
    assert np.isnan(join_logs(a, b, largest_gap="4.9 s").values["y"]).sum() == 4
    holes = make(np.arange(0, 11), y=[0, 1, np.nan, 3, *[np.nan] * 4, 8, 9, np.nan], source="b")
    expected = [0, 1, 2, 3, *[np.nan] * 4, 8, 9, np.nan]
    assert join_logs(a, holes).values["y"] == pytest.approx(expected, nan_ok=True)


def test_flags_are_not_interpolated():
    a = make(np.arange(0, 5) + 0.5, x=np.arange(0, 5))
    b = make(np.arange(0, 6), limit=[0, 0, 1, 0, 0, 0], source="b")
    assert list(join_logs(a, b, skew="-0.5 s").values["limit"][:2]) == [0, 0]
    assert list(join_logs(make(np.arange(0, 5), x=np.arange(5)), b, skew="0.5 s").values["limit"]) == [0, 1, 1, 0, 0]


def test_logs_that_cannot_be_joined():
    a, b = make([0, 1, 2], x=[1, 2, 3]), make([0, 1, 2], y=[1, 2, 3], source="b")
    with pytest.raises(InputError, match="'x' in both logs"):
        join_logs(a, a)
    with pytest.raises(InputError, match="b lasts from -60 to -58 s after the start of a, which ends at 2 s"):
        join_logs(a, b, skew="1 min")
    with pytest.raises(UnitError, match="skew"):
        join_logs(a, b, skew=1.5)
    with pytest.raises(UnitError, match="skew"):
        join_logs(a, b, skew="1.5 K")
    with pytest.raises(InputError, match="largest_gap"):
        join_logs(a, b, largest_gap="0 s")
    with pytest.raises(InputError, match="holds one row"):
        join_logs(a, make([0], y=[1], source="b"))


def test_pandas_is_imported_only_when_a_log_is_read():
    modules = "thermostack, thermostack.measured.read, thermostack.measured.join"
    code = f"import sys, {modules}; assert 'pandas' not in sys.modules"
    subprocess.run([sys.executable, "-c", code], check=True)
