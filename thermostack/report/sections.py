"""From results to sections of a page: any result that shows itself by tables, sentences, cautions and a picture."""

from __future__ import annotations

import io
from collections.abc import Callable, Iterable, Iterator
from functools import singledispatch
from typing import Any

from ..cautions import Caution, cautions
from ..checking import Check
from ..comparison import Comparison
from ..errors import InputError
from ..measured.log import Log
from ..measured.reading import Reading
from ..planning import Checklist, Plan
from ..prediction import Prediction
from ..stack.stack import Stack
from ..states import State
from ..sweeping import Sweep
from ..tables import Table
from ..units import show
from .blocks import Block, Points, Section, Sketch

__all__ = ["section_of"]

FEW = 15
"""Rows of a sweep that are printed; its picture shows the others."""


@singledispatch
def section_of(result: Any) -> Section:
    """Return a result as a section.

    What is not known by its type is asked for what results have: `title`, `sentences` (or `text`), `tables` (or
    `table`, `summary`), `notes`, `cautions`, `plot()`, `stack`, `seed`.

    Raises
    ------
    InputError
        It shows itself by none of these.
    """
    name = type(result).__name__
    tables = () if isinstance(result, type) else tuple(_tables_of(result))
    said = () if isinstance(result, type) else _texts(getattr(result, "sentences", getattr(result, "text", None)))
    if not (tables or said):
        raise InputError(
            f"{name} shows itself by no table and no sentence", where="page", expected="results of thermostack, or text"
        )
    title = getattr(result, "title", "") or next((table.title for table in tables if table.title), "") or name
    printed = [line for table in tables for line in table.notes]
    notes = tuple(line for line in _texts(getattr(result, "notes", None)) if line not in printed)
    blocks: list[Block] = [*_sketches(title, _plot_of(result)), *tables]
    blocks += [Points(notes, "Notes")] if notes else []
    stack, seed = getattr(result, "stack", None), getattr(result, "seed", None)
    return Section(
        str(title),
        said,
        tuple(blocks),
        _cautions_of(result),
        (stack,) if isinstance(stack, Stack) else (),
        (seed,) if isinstance(seed, int) else (),
    )


@section_of.register
def _(result: str) -> Section:
    """Remarks in the author's own words: paragraphs at blank lines."""
    paragraphs = tuple(" ".join(each.split()) for each in result.split("\n\n") if each.strip())
    if not paragraphs:
        raise InputError("an empty remark", where="page", expected="a text")
    return Section("Remarks", (), paragraphs)


@section_of.register
def _(result: Table) -> Section:
    return Section(result.title or "Table", (), (result,))


@section_of.register
def _(result: Stack) -> Section:
    return Section("", stacks=(result,))


@section_of.register
def _(result: Checklist) -> Section:
    return Section(result.title, (), (result,), result.cautions)


@section_of.register
def _(result: Prediction) -> Section:
    junction, total = show(float(result.junction.to("K").magnitude), "temperature"), float(result.point.total[0])
    power, limiting = show(total, "power"), result.limiting
    said = f"{result.stack.label}: junction {junction} at {power}, the largest drop lies in {limiting}."
    tables: list[Table] = [result.summary, result.sensors, result.breakdown]
    seeds: tuple[int, ...] = ()
    if result.ensemble is not None:
        tables[1:1] = [result.uncertainty]
        tables.append(result.budget.table("Which input matters, for the junction"))
        seeds = (result.ensemble.sampler.seed,)
    pictures = [("breakdown", result.plot), ("cross-section", _cross_section_plot(result))]
    blocks = [block for what, plot in pictures for block in _sketches(f"{result.stack.label}, {what}", plot)]
    title = f"Prediction: {result.stack.label}"
    return Section(title, (said,), (*tables[:2], *blocks, *tables[2:]), result.cautions, (result.stack,), seeds)


@section_of.register
def _(result: Comparison) -> Section:
    tables: list[Table] = [result.table]
    said: list[str] = []
    seeds: tuple[int, ...] = ()
    labels = [p.stack.label for p in result.predictions]
    first = result.baseline
    if result.ensemble is None:
        for p in result.predictions[1:]:
            drop = float(first.junction.magnitude - p.junction.magnitude)
            way = "drops" if drop >= 0 else "rises"
            said.append(f"{p.stack.label}: the junction {way} by {abs(drop):.1f} K (centres of all inputs).")
    else:
        seeds = (result.ensemble.sampler.seed,)
        tables += [result.drops, result.decision]
        for number, label in enumerate(labels[1:], start=1):
            found = result.drop(number)
            low, middle, high = (e.value for e in (found.low, found.median, found.high))
            share = f"{100 * result.ensemble.coverage:g} %"
            span = f"{_signed(low)} to {_signed(high)} K"
            said.append(f"{label}: the junction drops by {_signed(middle)} K ({share}: {span}), at equal power.")
            tables.append(result.budget(number).table(f"Which input matters, for the drop of the junction: {label}"))
        tables.append(result.shared)
    blocks: tuple[Block, ...] = (*_sketches("from coolant to junction, variant by variant", result.plot), *tables)
    stacks = tuple(p.stack for p in result.predictions)
    return Section(f"Comparison: {first.stack.name}", tuple(said), blocks, result.cautions, stacks, seeds)


@section_of.register
def _(result: Sweep) -> Section:
    table = result.table
    rows, notes = table.rows, table.notes
    if len(rows) > FEW:
        step = -(-len(rows) // FEW)
        rows, notes = rows[::step], (*notes, f"one of every {step} rows, of {len(rows)}")
    few = Table(table.columns, rows, table.title, notes)
    words = f"sweep of {' and '.join(axis.path for axis in result.axes)}"
    return Section(f"Sweep: {result.stack.label}", (), (*_sketches(words, result.plot), few), (), (result.stack,))


@section_of.register
def _(result: Reading) -> Section:
    return Section(result.title, (), (result.table,))


@section_of.register
def _(result: State) -> Section:
    said = []
    for reading in result.readings:
        told = [reading.level] * bool(reading.level) + [f"mount {reading.mount}"] * bool(reading.mount)
        said.append(f"{', '.join([result.stack.label, *told])}: {_read(reading)}.")
    tables = tuple(reading.table for reading in result.readings)
    return Section(f"Measured: {result.stack.label}", tuple(said), tables, (), (result.stack,))


@section_of.register(tuple)
@section_of.register(list)
def _(result: tuple[Log, Reading]) -> Section:
    """A log with its reading: the reading, and the log drawn over time."""
    if len(result) != 2 or not isinstance(result[0], Log) or not isinstance(result[1], Reading):
        raise InputError("a group of things", where="page", expected="results one by one, or a pair (log, reading)")
    log, reading = result
    blocks: tuple[Block, ...] = (reading.table, *_sketches(f"log of {log.source} over time", lambda: log.plot(reading)))
    return Section(reading.title, (), blocks)


@section_of.register
def _(result: Plan) -> Section:
    picture = _sketches("chance to tell drops from scatter", result.plot)
    blocks: tuple[Block, ...] = (Points(result.sentences), *picture, *result.tables)
    stacks = (result.before.stack, result.after.stack)
    said = result.sentences[:2]
    return Section(result.title, said, (*blocks, result.checklist), result.cautions, stacks, (result.seed,))


def _signed(kelvin: float) -> str:
    text = f"{kelvin:.1f}"
    return text.lstrip("-") if float(text) == 0 else text.replace("-", "−")


@section_of.register
def _(result: Check) -> Section:
    said = (result.verdict.sentences[0], result.causes.conclusion)
    picture = _sketches("what was to be expected of the drop, and what was measured", result.plot)
    # the joint posterior may take minutes: it stands on the page where it was asked for before
    moved = (result.moved,) if "posterior" in vars(result) else ()
    tables = (
        result.drops, result.causes.table, result.causes.sizes, result.alone_table, *moved,
        result.next_measurements.table,
    )  # fmt: skip
    read = tuple(reading.table for state in result.states for reading in state.readings)
    blocks: tuple[Block, ...] = (Points(result.sentences), *picture, *tables, *read)
    title = f"Check: {result.states[-1].stack.label}"
    stacks = tuple(state.stack for state in result.states)
    careful = cautions(stacks[-1], baseline=stacks[0]) if stacks[-1] != stacks[0] else cautions(stacks[0])
    return Section(title, said, blocks, careful, stacks, (result.seed,))


def _read(reading: Reading) -> str:
    rise, u = float(reading.rise.mean()), float(reading.rise_covariance.mean()) ** 0.5
    return f"the sensors' mean stood {rise:.1f} K (u {u:.2g} K) over the coolant at {reading.power:.1f} W"


# -- of any result


def _tables_of(result: Any) -> Iterator[Table]:
    several = getattr(result, "tables", None)
    if isinstance(several, tuple | list):
        yield from _tables(several)
        return
    for name in ("summary", "table"):
        one = getattr(result, name, None)
        one = one() if callable(one) and not isinstance(one, Table) else one
        yield from _tables([one])


def _tables(several: Iterable[Any]) -> Iterator[Table]:
    yield from (one for one in several if isinstance(one, Table))


def _texts(given: Any) -> tuple[str, ...]:
    if isinstance(given, str):
        return (given,) if given.strip() else ()
    return tuple(str(each) for each in given) if isinstance(given, tuple | list) else ()


def _cautions_of(result: Any) -> tuple[Caution, ...]:
    found = getattr(result, "cautions", ())
    return tuple(each for each in found if isinstance(each, Caution)) if isinstance(found, tuple | list) else ()


def _plot_of(result: Any) -> Callable[[], Any] | None:
    plot = getattr(result, "plot", None)
    return plot if callable(plot) else None


def _cross_section_plot(prediction: Prediction) -> Callable[[], Any]:
    def draw() -> Any:
        from ..plots import cross_section

        return cross_section(prediction)

    return draw


def _sketches(words: str, plot: Callable[[], Any] | None) -> tuple[Sketch, ...]:
    """Return what a result draws as SVG, and close the figure that was made for it."""
    if plot is None:
        return ()
    import matplotlib as mpl
    from matplotlib import pyplot

    open_before = set(pyplot.get_fignums())
    # letters as outlines, and the same bytes for the same picture
    with mpl.rc_context({"svg.fonttype": "path", "svg.hashsalt": "thermostack", "figure.max_open_warning": 0}):
        try:
            axes = plot()
            figure = axes.figure
            out = io.BytesIO()
            figure.savefig(out, format="svg", metadata={"Date": None, "Creator": None})
            return (Sketch(out.getvalue(), words, float(figure.get_size_inches()[0])),)
        finally:
            for number in set(pyplot.get_fignums()) - open_before:
                pyplot.close(number)
