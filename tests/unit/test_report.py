"""The page to publish: needs nothing else, runs nothing, shows hostile text as text, is written whole or not at all."""

from __future__ import annotations

import base64
import datetime
import html
import os
import re
from dataclasses import dataclass, replace
from html.parser import HTMLParser
from pathlib import Path

import mistune
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import thermostack as ts
from thermostack.cautions import Caution
from thermostack.errors import FileError, InputError
from thermostack.planning import plan
from thermostack.report import page
from thermostack.report.as_html import _text
from thermostack.report.as_markdown import escaped
from thermostack.states import State
from thermostack.tables import Column, Table
from thermostack.textfile import write_whole

FAST = "one-dimensional"
DAY = datetime.date(2026, 1, 2)
HOSTILE = (
    "<script>alert('x')</script> | `code` | **bold** [a](javascript:1) \n# heading\n- list & \"quote\" $x$ https://a.b"
)


def part(name="part"):
    die = ts.Die(
        "die", "silicon", "0.72 mm", footprint=("12.4 mm", "17.6 mm"), power="230 W",
        joint=ts.Interface("solder", "indium solder", bond_line="0.25 mm (sd 0.04 mm)"),
    )  # fmt: skip
    layers = [
        ts.Layer("lid", "copper", "2.4 mm", footprint=("36 mm", "36 mm")), ts.Interface("paste", "ceramic paste"),
        ts.Layer("cold plate", "copper", "3 mm", footprint=("50 mm", "50 mm")),
    ]  # fmt: skip
    return ts.Stack(name, die, layers, ts.Coolant("26 degC", conductance="35 kW/m^2/K (x/ 1.2)"))


@pytest.fixture(scope="module")
def stack():
    return part()


@pytest.fixture(scope="module")
def relid(stack):
    return stack.replace("solder", ts.Interface("liquid metal", "gallium alloy")).named("relid")


@pytest.fixture(scope="module")
def reading():
    return ts.Reading.of({"die": "72 degC (sd 0.3 K)"}, power="230 W (sd 2 W)", coolant="26 degC (sd 0.1 K)")


@pytest.fixture(scope="module")
def log():
    rng, n = np.random.default_rng(4), 1500
    coolant = 300 + 0.02 * rng.standard_normal(n)
    values = {
        "die": coolant + 40 + 0.2 * rng.standard_normal(n),
        "coolant": coolant,
        "power": 200 + rng.standard_normal(n),
    }
    roles = {"die": "sensor", "coolant": "coolant", "power": "power"}
    return ts.Log(np.arange(n, dtype=float), values, roles, source="bench.csv")


@pytest.fixture(scope="module")
def everything(stack, relid, reading, log):
    return (
        "An invented part.\n\nNothing was measured.",
        ts.compare(stack, relid, limit="95 degC", solver=FAST, samples=200),
        ts.predict(stack, solver=FAST),
        ts.sweep(relid, "liquid metal.bond_line", "10 um", "200 um", solver=FAST),
        (log, log.steady()),
        State(stack, reading),
        ts.pool_mounts([reading]),
        plan(stack, relid, solver=FAST, tests=50, counts=[2, 3]),
        ts.materials(),
    )


@pytest.fixture(scope="module")
def made(everything):
    return page(*everything, title="Relid of an invented part", author="bench", date=DAY)


class Seen(HTMLParser):
    """Tags with their attributes, nesting checked; text outside of style."""

    VOID = ("meta", "img", "br")

    def __init__(self, source):
        super().__init__()
        self.tags, self.open, self.words = [], [], []
        self.feed(source)
        self.close()
        assert not self.open

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        if tag not in self.VOID:
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        if self.open[-1:] not in (["style"], ["title"]):
            self.words.append(data)


KNOWN = {
    "html", "head", "meta", "title", "style", "body", "main", "h1", "h2", "h3", "h4", "p", "div", "strong", "ul", "ol", "li",
    "nav", "a", "figure", "img", "figcaption", "table", "caption", "thead", "tbody", "tr", "th", "td", "section", "small",
}  # fmt: skip


def check_harmless(source):
    seen = Seen(source)
    assert {tag for tag, _ in seen.tags} <= KNOWN
    for tag, attributes in seen.tags:
        assert not [name for name in attributes if name.startswith("on")]
        for name in ("src", "href"):
            if name in attributes:
                assert attributes[name].startswith(("#part-", "data:image/svg+xml;base64,")), (tag, attributes)
    assert "url(" not in source
    assert "@import" not in source
    return seen


# -- the page in HTML


def test_every_result_has_its_place(made):
    seen = check_harmless(made.html)
    words = " ".join("".join(seen.words).split())
    for text in (
        "In short", "Remarks", "Nothing was measured.", "Comparison: part", "Prediction: part", "Sweep: relid",
        "Reading of bench.csv", "Measured: part", "Mounts of one state", "Plan: relid", "Checklist: relid",
        "Stacks as described", "Inputs with their sources", "Cautions", "How this page was made", "bench, 2026-01-02",
    ):  # fmt: skip
        assert text in words, text
    assert words.count("In short") == 1
    assert sum(tag == "img" for tag, _ in seen.tags) == 6
    assert all(attributes.get("alt") for tag, attributes in seen.tags if tag == "img")


def test_figures_of_results_stand_on_the_page(everything, made):
    comparison = everything[1]
    drop = comparison.drop(1)
    words = "".join(Seen(made.html).words)
    low, middle, high = (f"{x.value:.1f}".replace("-", "−") for x in (drop.low, drop.median, drop.high))
    assert f"relid: the junction drops by {middle} K (95 %: {low} to {high} K), at equal power." in words
    assert f"{float(comparison.baseline.resistance.magnitude):.4f}" in words
    for entry in part().inputs():
        if not entry.path.endswith(("centre_x", "centre_y")):
            assert entry.path in words
            assert " ".join(str(entry.value).split()) in words
    assert "common practice, no source" in words


def test_versions_and_seed(made):
    import scipy

    words = "".join(Seen(made.html).words)
    for text in (ts.__version__, np.__version__, scipy.__version__, "seed", "mm²·K/W"):
        assert text in words


def test_contents_lead_to_the_headings(made):
    seen = Seen(made.html)
    links = [a["href"][1:] for tag, a in seen.tags if tag == "a"]
    marks = [a["id"] for tag, a in seen.tags if tag == "h2"]
    assert links == marks
    assert len(set(marks)) == len(marks)


def test_pictures_need_nothing_else(made):
    for data in re.findall(r"base64,([^\"]+)", made.html):
        svg = base64.b64decode(data).decode("utf-8")
        assert "<svg" in svg
        assert "<script" not in svg
        assert "<text" not in svg  # letters are outlines
        for target in re.findall(r"xlink:href=\"([^\"]+)\"", svg):
            assert target.startswith(("#", "data:"))


def test_same_results_same_bytes(stack):
    first, second = (page(ts.predict(stack, solver=FAST), title="t", date=DAY) for _ in range(2))
    assert first.html == second.html
    assert first.markdown == second.markdown


def test_no_figure_stays_open(stack):
    from matplotlib import pyplot

    before = pyplot.get_fignums()
    page(ts.predict(stack, solver=FAST), title="t")
    assert pyplot.get_fignums() == before


def test_each_caution_and_stack_once(stack, relid):
    one = ts.compare(stack, relid, solver=FAST)
    twice = page(one, one, ts.predict(relid, solver=FAST), title="t", date=DAY)
    keys = [(caution.key, re.findall(r"\d+", caution.text)) for caution in twice.cautions]
    assert len(keys) == len({str(key) for key in keys})
    assert Seen(twice.html).words.count("relid") >= 1
    described = next(section for section in twice.sections if section.title == "Stacks as described")
    assert [table.title for table in described.blocks] == ["part", "relid"]
    assert any(caution.kind == "person" for caution in twice.cautions)


def test_the_caution_that_speaks_of_most_parts_stays():
    @dataclass(frozen=True)
    class Careful(Own):
        cautions: tuple = (
            Caution("k", "result", ("a", "b"), "Mind a and b.", "from memory"),
            Caution("k", "result", ("a",), "Mind a.", "from memory"),
            Caution("k", "result", ("a",), "Mind a at 3 K.", "from memory"),
        )

    texts = [caution.text for caution in page(Careful(), title="t").cautions]
    assert sorted(texts) == ["Mind a and b.", "Mind a at 3 K."]


# -- hostile text


@pytest.fixture(scope="module")
def hostile():
    stack = part(HOSTILE)
    mod = stack.replace("solder", ts.Interface("<img src=x onerror=alert(1)>|`", "gallium alloy")).named(HOSTILE + "2")
    bad = Caution(HOSTILE, "person", (), HOSTILE, HOSTILE)
    rows = ((HOSTILE, 1.0), ("a\\|b", None))
    table = Table((Column("a", HOSTILE), Column("b", "b|c")), rows, HOSTILE, (HOSTILE,))
    comparison = ts.compare(stack, mod, solver=FAST)
    made = page(
        HOSTILE, comparison, plan(stack, mod, solver=FAST, tests=50, counts=[2]), table, title=HOSTILE, author=HOSTILE
    )
    return replace(made, cautions=(*made.cautions, bad))


def test_hostile_names_stay_text_in_html(hostile):
    seen = check_harmless(hostile.html)
    assert "<script" not in hostile.html
    assert "onerror=alert(1)" not in "".join(str(a) for _, a in seen.tags if "src" in a)
    shown = " ".join("".join(seen.words).split())
    assert " ".join(HOSTILE.split()) in shown


MARKDOWN = mistune.create_markdown(
    renderer="html", escape=False, plugins=["table", "task_lists", "strikethrough", "url", "math"]
)


def test_hostile_names_stay_text_in_markdown(hostile):
    shown = MARKDOWN(hostile.markdown)
    for sign in ("<script", "<img", 'javascript:1)"', "<code", "<a ", "<del", 'class="math"'):
        assert sign not in shown
    tags = set(re.findall(r"<(\w+)", shown))
    assert tags <= {
        "h1",
        "h2",
        "h3",
        "p",
        "ul",
        "li",
        "table",
        "thead",
        "tbody",
        "tr",
        "th",
        "td",
        "strong",
        "em",
        "input",
    }
    assert shown.count("<h1>") == 1
    text = html.unescape(re.sub(r"<[^>]+>", "", shown))
    assert " ".join(HOSTILE.split()) in " ".join(text.split())


def test_markdown_tables_keep_their_shape(hostile, made):
    for one in (hostile, made):
        tables = [block for section in one.sections for block in section.blocks if isinstance(block, Table)]
        shown = re.findall(r"<table>.*?</table>", MARKDOWN(one.markdown), flags=re.DOTALL)
        assert len(shown) == len(tables) + 1  # and that of the versions
        for source, table in zip(shown, tables, strict=False):
            rows = [re.findall(r"<t[hd]", row) for row in re.findall(r"<tr>.*?</tr>", source, flags=re.DOTALL)]
            assert [len(row) for row in rows] == [len(table.columns)] * (len(table.rows) + 1)


@given(st.text(max_size=60))
def test_any_text_in_markdown_is_itself(text):
    shown = MARKDOWN(f"before\n\n{escaped(text) or '–'}\n")
    paragraphs = re.findall(r"<p>(.*?)</p>", shown, flags=re.DOTALL)
    want = " ".join("".join(c if c.isprintable() else " " for c in text).split()) or "–"
    assert paragraphs[0] == "before"
    assert html.unescape(paragraphs[1]) == want
    assert len(paragraphs) == 2


@given(st.text(max_size=60))
def test_any_text_in_a_cell_is_itself(text):
    shown = MARKDOWN(f"| a | b |\n| :--- | ---: |\n| {escaped(text)} | x |\n")
    cells = re.findall(r"<td[^>]*>(.*?)</td>", shown, flags=re.DOTALL)
    want = " ".join("".join(c if c.isprintable() else " " for c in text).split())
    assert [html.unescape(cell) for cell in cells] == [want, "x"]


@given(st.text(max_size=60))
def test_any_text_in_html_is_itself(text):
    want = " ".join("".join(c if c.isprintable() else " " for c in text).split())
    assert html.unescape(_text(text)) == want
    assert not set(_text(text)) & set("<>\"'")


# -- what it takes


@dataclass(frozen=True)
class Own:
    """A result of another kind: shows itself by words and tables."""

    title: str = "Own"
    sentences: tuple = ("It is explained.",)
    notes: tuple = ("seen once",)
    seed: int = 77
    cautions: tuple = (Caution("k", "result", (), "Mind the step.", "from memory"),)

    @property
    def tables(self):
        return (Table((Column("a", "a"),), ((1.0,),), "Table of its own", ("seen once",)),)

    def plot(self, ax=None):
        from matplotlib import pyplot

        return pyplot.subplots()[1]


def test_any_result_that_shows_itself():
    made = page(Own(), title="t", date=DAY)
    words = "".join(Seen(made.html).words)
    for text in ("It is explained.", "Table of its own", "Mind the step.", "77"):
        assert text in words
    assert words.count("seen once") == 1
    assert made.html.count("<img") == 1


@pytest.mark.parametrize("bad", [3, object(), Own, "  \n ", (1, 2), []])
def test_what_shows_nothing_is_refused(bad):
    with pytest.raises(InputError):
        page(bad, title="t")


def test_it_needs_a_title_and_a_result(stack):
    with pytest.raises(InputError, match="nothing to show"):
        page(title="t")
    with pytest.raises(InputError, match="no title"):
        page(stack, title=" ")


# -- writing


def test_written_as_a_whole(made, tmp_path):
    written = made.write(tmp_path / "page.html")
    assert written.read_text(encoding="utf-8") == made.html
    assert made.write(tmp_path / "page.md").read_text(encoding="utf-8") == made.markdown
    assert sorted(os.listdir(tmp_path)) == ["page.html", "page.md"]


def test_a_file_that_is_there_stays(made, tmp_path):
    path = tmp_path / "page.html"
    path.write_text("mine", encoding="utf-8")
    with pytest.raises(FileError, match=r"already.*overwrite=True"):
        made.write(path)
    assert path.read_text(encoding="utf-8") == "mine"
    assert os.listdir(tmp_path) == ["page.html"]
    path.chmod(0o600)
    made.write(path, overwrite=True)
    assert path.read_text(encoding="utf-8") == made.html
    assert path.stat().st_mode & 0o777 == 0o600
    assert os.listdir(tmp_path) == ["page.html"]


@pytest.mark.parametrize("overwrite", [False, True])
def test_nothing_half_written(tmp_path, monkeypatch, overwrite):
    path = tmp_path / "page.html"
    if overwrite:
        path.write_text("mine", encoding="utf-8")

    def full(descriptor):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(FileError, match="no space left"):
        write_whole(path, "x" * 100_000, overwrite=overwrite)
    assert os.listdir(tmp_path) == (["page.html"] if overwrite else [])
    if overwrite:
        assert path.read_text(encoding="utf-8") == "mine"


def test_a_file_system_without_links(made, tmp_path, monkeypatch):
    def refused(source, target):
        raise PermissionError(1, "Operation not permitted")

    monkeypatch.setattr(os, "link", refused)
    path = tmp_path / "page.md"
    made.write(path)
    assert path.read_text(encoding="utf-8") == made.markdown
    with pytest.raises(FileError, match="already"):
        made.write(path)
    assert os.listdir(tmp_path) == ["page.md"]


def test_a_folder_that_is_not_there(made, tmp_path):
    with pytest.raises(FileError, match="folder that exists"):
        made.write(tmp_path / "none" / "page.html")


def test_another_ending(made, tmp_path):
    with pytest.raises(InputError, match=r"\.html or \.md"):
        made.write(tmp_path / "page.pdf")
    assert os.listdir(tmp_path) == []


def test_a_link_stays_a_link(made, tmp_path):
    (tmp_path / "real.md").write_text("old", encoding="utf-8")
    (tmp_path / "link.md").symlink_to(tmp_path / "real.md")
    made.write(tmp_path / "link.md", overwrite=True)
    assert (tmp_path / "link.md").is_symlink()
    assert Path(tmp_path / "real.md").read_text(encoding="utf-8") == made.markdown
