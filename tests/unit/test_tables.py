"""The table: text, HTML and plain values."""

import builtins
import re
from html.parser import HTMLParser

import numpy as np
import pytest

from thermostack.errors import InputError
from thermostack.tables import Column, Table, format_number

HOSTILE = "<script>alert('x')</script> & \"lid\""


def table() -> Table:
    return Table(
        (
            Column("part", "part"),
            Column("rise", "rise [K]", ".1f"),
            Column("open", "demountable"),
            Column("why", "note"),
        ),
        (("die", 12.94, False, "a"), ("lid", -0.06, True, None), ("paste", None, None, "two\nlines")),
        "Rises",
        ("Powers as measured.",),
    )


@pytest.mark.parametrize(
    ("value", "digits", "text"),
    [
        (0.0123456, 3, "0.0123"),
        (12345.6, 3, "12346"),
        (999.96, 4, "1000"),
        (999.94, 4, "999.9"),
        (2.5, 4, "2.5"),
        (100.0, 4, "100"),
        (0.0, 4, "0"),
        (-0.5, 4, "−0.5"),
        (1.234e-7, 3, "1.23e-07"),
        (float("nan"), 4, "nan"),
        (float("-inf"), 4, "−inf"),
        (7, 4, "7"),
    ],
)
def test_numbers_read_without_an_exponent(value, digits, text):
    assert format_number(value, digits) == text


def test_text_is_aligned_and_says_where_nothing_is():
    assert str(table()).splitlines() == [
        "Rises",
        "part   rise [K]  demountable  note",
        "-----  --------  -----------  ---------",
        "die        12.9  no           a",
        "lid        −0.1  yes          –",
        "paste         –  –            two lines",
        "Powers as measured.",
    ]


def test_long_text_goes_on_below_in_the_same_row():
    text = str(Table((Column("a", "a"), Column("b", "b", wrap=7)), ((1, "one two three"), (2, "four"))))
    assert text.splitlines() == ["a  b", "-  -------", "1  one two", "   three", "2  four"]


def test_html_is_whole_and_says_which_cell_heads_what():
    page = table()._repr_html_()
    assert page.count('<th scope="col"') == 4
    assert page.count('<th scope="row"') == 3
    assert "<caption" in page
    assert ">Rises</caption>" in page
    assert ">12.9</td>" in page
    open_tags = []

    class Reader(HTMLParser):
        def handle_starttag(self, tag, attrs):
            open_tags.append(tag)

        def handle_endtag(self, tag):
            assert open_tags.pop() == tag

    Reader().feed(page)
    assert open_tags == []


def test_html_puts_numbers_to_the_right_and_words_to_the_left():
    cell = dict(re.findall(r'<td style="text-align:(\w+)[^"]*">([^<]*)<', table()._repr_html_()))
    assert cell == {"right": "–", "left": "two lines"}  # the last of each in the last row
    assert 'text-align:right;font-variant-numeric:tabular-nums">12.9<' in table()._repr_html_()


def test_everything_in_the_html_is_escaped():
    page = Table((Column("a", HOSTILE), Column("b", HOSTILE)), ((HOSTILE, HOSTILE),), HOSTILE, (HOSTILE,))._repr_html_()
    assert "<script" not in page
    assert page.count("&lt;script&gt;") == 6
    assert page.count("&amp;") == 6


def test_html_has_no_colour_of_its_own():
    page = table()._repr_html_()
    assert not re.search(r"#[0-9a-fA-F]{3,8}\b|rgb|hsl|background", page)
    assert re.findall(r"color\w*", page.replace("currentColor", "")) == []


def test_values_come_out_as_they_went_in():
    assert table().to_dict() == {
        "part": ["die", "lid", "paste"],
        "rise": [12.94, -0.06, None],
        "open": [False, True, None],
        "why": ["a", None, "two\nlines"],
    }
    frame = table().to_pandas()
    assert list(frame.columns) == ["part", "rise", "open", "why"]
    np.testing.assert_array_equal(frame["rise"], [12.94, -0.06, np.nan])


def test_without_pandas_the_message_says_so(monkeypatch):
    real = builtins.__import__

    def without(name, *args, **kwargs):
        if name == "pandas":
            raise ImportError(name)
        return real(name, *args, **kwargs)

    monkeypatch.setattr(builtins, "__import__", without)
    with pytest.raises(ImportError, match=r"needs pandas.*to_dict"):
        table().to_pandas()


def test_alignment_can_be_set():
    shown = Table((Column("a", "number", align="left"), Column("b", "word", align="right")), ((1.0, "x"),))
    assert str(shown).splitlines()[2] == "1          x"


def test_an_empty_table_still_has_its_headings():
    empty = Table((Column("a", "a [K]"),), ())
    assert str(empty) == "a [K]\n-----"
    assert len(empty) == 0
    assert empty.to_dict() == {"a": []}
    assert "a [K]</th>" in empty._repr_html_()


def test_a_short_row_and_a_key_twice_are_refused():
    with pytest.raises(InputError, match=r"table.row 1: 1 cells; expected 2 cells"):
        Table((Column("a", "a"), Column("b", "b")), ((1, 2), (1,)))
    with pytest.raises(InputError, match="not unique"):
        Table((Column("a", "a"), Column("a", "b")), ())
