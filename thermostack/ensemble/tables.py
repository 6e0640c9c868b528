"""What samples say, as tables: figures of one stack, drops of mods, and the decision between them."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import TypeAlias

from ..propagate import Budget, Estimate, Summary
from ..tables import Cell, Column, Table, format_number
from ..units import convert
from .result import Ensemble

__all__ = ["budget_rows", "decision_table", "drops_table", "figures_table", "told"]

SHOWN = 1e-3
"""Least share of the largest contribution with which an input is listed."""
Text: TypeAlias = Callable[[int], str | None]


def told(summary: Summary, unit: str = "") -> str:
    """Return median and interval as text, to two digits of the standard uncertainty: ``"4.3 K (−1.8 … 9.0)"``."""
    u = summary.standard_uncertainty.value
    decimals = max(0, 1 - math.floor(math.log10(u))) if u > 0 else 2
    median, low, high = (_fixed(e.value, decimals) for e in (summary.median, summary.low, summary.high))
    return f"{median} {unit}".rstrip() + f" ({low} … {high})"


def _fixed(value: float, decimals: int) -> str:
    text = f"{value:.{decimals}f}"
    text = text if float(text) != 0 else text.lstrip("-")
    return text.replace("-", "−")


def _celsius(summary: Summary) -> tuple[float, ...]:
    values = (float(convert(e.value, "temperature")) for e in (summary.median, summary.low, summary.high))
    median, low, high = values
    return median, summary.standard_uncertainty.value, low, high, summary.median.error


def _plain(summary: Summary) -> tuple[float, ...]:
    ends = (summary.low.value, summary.high.value)
    return summary.median.value, summary.standard_uncertainty.value, *ends, summary.median.error


def _columns(first: Sequence[Column], coverage: float) -> tuple[Column, ...]:
    p = f"{100 * coverage:g} %"
    return (
        *first,
        Column("median", "median"),
        Column("standard_uncertainty", "standard uncertainty", ".2g"),
        Column("low", f"{p}, low"),
        Column("high", f"{p}, high"),
        Column("error_of_median", "Monte Carlo error of the median", ".1g"),
    )


def figures_table(ensemble: Ensemble, variant: int = 0) -> Table:
    """Return a row a figure of one stack: median, standard uncertainty, interval."""
    rows: list[tuple[Cell, ...]] = []
    for index, name in ensemble.model.outputs:
        if index != variant or " at equal " in name:
            continue
        summary = ensemble.summary(name, variant)
        unit = {"power": "W", "headroom": "W", "resistance": "K/W"}.get(name, "°C")
        if name == "power" and summary.standard_uncertainty.value == 0:
            continue
        rows.append((name, unit, *(_celsius(summary) if unit == "°C" else _plain(summary))))
    columns = _columns((Column("figure", "figure"), Column("unit", "unit")), ensemble.coverage)
    return Table(columns, tuple(rows), f"What is uncertain, {ensemble.labels[variant]}", ensemble.notes)


def drops_table(ensemble: Ensemble, minimum: float | None = None, quantity: str = "junction") -> Table:
    """Return a row a mod and a way to compare: its drop with interval, and the chance that it is less than `minimum`.

    Parameters
    ----------
    ensemble : Ensemble
    minimum : float, optional
        Drop that the mod must bring. [K]
    quantity : str
        "junction", "die mean" or "sensor <name>".
    """
    rows: list[tuple[Cell, ...]] = []
    notes = list(ensemble.notes)
    for variant in range(1, len(ensemble.labels)):
        for at in ("equal power", "equal workload"):
            below = () if minimum is None else (minimum,)
            summary = ensemble.drop(variant, quantity, at, below=below)
            chance: tuple[Cell, ...] = ()
            if summary.below:
                estimate = summary.below[0][1]
                chance = (100 * estimate.value, 100 * estimate.error)
            rows.append((ensemble.labels[variant], at, *_plain(summary), *chance))
        notes.append(f"{ensemble.labels[variant]}, equal power: {ensemble.agreement(variant, quantity).note}")
    columns = _columns((Column("variant", "variant"), Column("at", "at")), ensemble.coverage)
    if minimum is not None:
        columns = (
            *columns,
            Column("chance_percent", f"chance of less than {minimum:g} K [%]", ".1f"),
            Column("chance_error_percent", "Monte Carlo error [%]", ".1g"),
        )
    return Table(columns, tuple(rows), f"Drop of the {quantity} [K]", tuple(notes))


def decision_table(
    ensemble: Ensemble,
    *,
    minimum: float | None,
    limit_text: str | None,
    remainders: Sequence[str],
    worries: Sequence[str],
    clock: Callable[[int], Summary | None] | None = None,
) -> Table:
    """Return what speaks for and against each mod, a column a mod.

    Parameters
    ----------
    ensemble : Ensemble
    minimum : float, optional
        Drop below which the mod is not worth while. [K]
    limit_text : str, optional
        The limit of the headroom, as text.
    remainders : sequence of str
        For each variant the largest drop, and what would be left without it.
    worries : sequence of str
        For each variant its cautions in short.
    clock : callable, optional
        Gives the clock gained by a variant at the limit. [MHz]
    """
    mods = range(1, len(ensemble.labels))
    figures: list[tuple[str, Text]] = [
        ("drop at equal power", lambda v: told(ensemble.drop(v, at="equal power"), "K")),
        ("drop at equal workload", lambda v: told(ensemble.drop(v, at="equal workload"), "K")),
    ]
    if minimum is not None:
        for at in ("equal power", "equal workload"):
            figures.append(
                (
                    f"chance of less than {minimum:g} K at {at}",
                    lambda v, at=at: _percent(ensemble.drop(v, at=at, below=(minimum,)).below[0][1]),  # type: ignore[misc]
                )
            )
    if limit_text is not None:
        figures += [
            (f"headroom to {limit_text}", lambda v: told(ensemble.summary("headroom", v), "W")),
            (f"power gained at {limit_text}", lambda v: told(ensemble.gain(v), "W")),
        ]
        if clock is not None:
            figures.append((f"clock gained at {limit_text}", lambda v: _clock(clock(v))))
    figures += [("most is lost in", lambda v: remainders[v]), ("be careful about", lambda v: worries[v])]
    columns = [Column("figure", "figure", wrap=28)]
    columns += [Column(f"variant_{v}", ensemble.labels[v], wrap=40) for v in mods]
    rows = tuple((name, *(text(v) for v in mods)) for name, text in figures)
    notes = (f"median ({100 * ensemble.coverage:g} % interval), against {ensemble.labels[0]}", *ensemble.notes)
    return Table(tuple(columns), rows, "The decision", notes)


def _percent(chance: Estimate) -> str:
    return f"{format_number(100 * chance.value, 2)} % (± {format_number(100 * chance.error, 1)})"


def _clock(summary: Summary | None) -> str:
    return "beyond the clocks that were given" if summary is None else told(summary, "MHz")


def budget_rows(budget: Budget) -> Budget:
    """Return a budget without the inputs that hardly matter; a note says how many they are."""
    most = max((abs(row.contribution) for row in budget.rows), default=0.0)
    kept = tuple(row for row in budget.rows if abs(row.contribution) > SHOWN * most)
    left = len(budget.rows) - len(kept)
    note = f"{left} further inputs contribute less than {100 * SHOWN:g} % of the largest each"
    return replace(budget, rows=kept, notes=(*budget.notes, note) if left else budget.notes)
