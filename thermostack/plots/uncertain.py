"""What is uncertain: an uncertainty budget as sorted bars, drops of mods with their intervals."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from matplotlib.axes import Axes
from matplotlib.lines import Line2D

from .style import (
    FILL,
    LABEL,
    OUTLINE,
    axes_for,
    decimals,
    fit,
    inches_of,
    legend_above,
    lines_a_unit,
    room_for,
    set_title,
)

if TYPE_CHECKING:
    from ..comparison import Comparison
    from ..propagate import Budget

__all__ = ["budget", "drops"]

MOST = 12
"""Inputs that are drawn, and…"""
LEAST = 0.02
"""…the least contribution with which one is, relative to the largest; the others add up in one bar."""
MARKS = {"equal power": ("o", 0.16), "equal workload": ("D", -0.16)}


def budget(budget: Budget, ax: Axes | None = None, *, label: str = "") -> Axes:
    """Draw a bar an input, its contribution to the standard uncertainty, largest on top; below them all together.

    A bar to the right is an input that makes the result larger when it is larger itself, one to the left the opposite.

    Parameters
    ----------
    budget : Budget
    ax : Axes, optional
        Drawn in; a figure is made if not given.
    label : str
        Whose uncertainty it is, for the title.

    Returns
    -------
    Axes
    """
    unit = "K" if budget.unit == "°C" else budget.unit
    most = max((abs(row.contribution) for row in budget.rows), default=0.0)
    drawn = [row for row in budget.rows[:MOST] if abs(row.contribution) > LEAST * most]
    rows = [(row.path, row.contribution, row.share) for row in drawn]
    rest = budget.rows[len(drawn) :]
    if rest:
        together = float(np.sqrt(sum(row.contribution**2 for row in rest)))
        rows.append((f"{len(rest)} others together", together, sum(row.share for row in rest)))
    ax, ink = axes_for(ax, 7.2, 1.6 + 0.36 * (len(rows) + 1))
    ends = []
    for y, (_, value, share) in enumerate(rows):
        ax.barh(-y, value, 0.62, color=FILL["interface"], edgecolor=OUTLINE, linewidth=0.8)
        ends.append((max(value, 0.0), f"{decimals(abs(value), 2)} {unit}  ({100 * share:.0f} %)"))
    whole = budget.standard_uncertainty
    ax.barh(-len(rows), whole, 0.62, color=FILL["solid"], edgecolor=OUTLINE, linewidth=0.8, hatch="////")
    ends.append((whole, f"{decimals(whole, 2)} {unit}"))
    low = min(0.0, *(value for _, value, _ in rows)) if rows else 0.0
    low -= 0.03 * (whole - low)
    ax.set_xlim(low, room_for(ends, low, inches_of(ax)[0]))
    ax.axvline(0.0, color=ink.text, linewidth=0.9)
    for y, (end, text) in enumerate(ends):
        ax.annotate(text, (end, -y), xytext=(4, 0), textcoords="offset points", va="center", fontsize=LABEL,
                    color=ink.text)  # fmt: skip
    lines = min(2, lines_a_unit(ax))
    names = [fit(name, 24, lines) for name, _, _ in rows] + ["all together"]
    ax.set_yticks([-y for y in range(len(names))], names)
    ax.set_ylim(-len(rows) - 0.6, 0.6)
    ax.set_xlabel(f"contribution to the standard uncertainty [{unit}] (share of the variance)")
    set_title(ax, ink, "What the uncertainty comes from", label)
    return ax


def drops(comparison: Comparison, ax: Axes | None = None, *, quantity: str = "junction") -> Axes:
    """Draw the drop of each mod with its interval, at equal power and at equal workload; needs samples.

    Parameters
    ----------
    comparison : Comparison
        With samples.
    ax : Axes, optional
        Drawn in; a figure is made if not given.
    quantity : str
        "junction", "die mean" or "sensor <name>".

    Returns
    -------
    Axes
    """
    ensemble = comparison.sampled
    mods = range(1, len(ensemble.labels))
    ax, ink = axes_for(ax, 7.2, 1.7 + 0.75 * len(mods))
    ends = []
    for row, variant in enumerate(mods):
        for at, (marker, lift) in MARKS.items():
            found = comparison.drop(variant, quantity, at)
            low, middle, high = found.low.value, found.median.value, found.high.value
            y = -row + lift
            ax.plot([low, high], [y, y], "-", color=ink.text, linewidth=1.6, solid_capstyle="butt")
            ax.plot([low, high], [y, y], "|", color=ink.text, markersize=8, markeredgewidth=1.6)
            ax.plot([middle], [y], marker, color=FILL["die"], markeredgecolor=ink.text, markersize=8)
            text = f"{decimals(middle, 1)} K"
            if found.below:
                limit, chance = found.below[0]
                text += f", less than {limit:g} K: {100 * chance.value:.0f} %"
            ends.append((high, y, text))
    least = min(comparison.drop(v, quantity, at).low.value for v in mods for at in MARKS)
    least = min(least, 0.0)
    least -= 0.04 * (max(end for end, _, _ in ends) - least)
    ax.set_xlim(least, room_for([(end, text) for end, _, text in ends], least, inches_of(ax)[0]))
    for end, y, text in ends:
        ax.annotate(text, (end, y), xytext=(6, 0), textcoords="offset points", va="center", fontsize=LABEL,
                    color=ink.text)  # fmt: skip
    bottom, top = 0.4 - len(mods), 0.6
    ax.vlines(0.0, bottom, top, color=ink.text, linewidth=0.9)
    minimum = comparison._minimum
    if minimum is not None:
        ax.vlines(minimum, bottom, top, color=ink.text, linewidth=1.2, linestyle="--")
    lines = min(2, lines_a_unit(ax))
    ax.set_yticks([-row for row in range(len(mods))], [fit(ensemble.labels[v], 22, lines) for v in mods])
    ax.set_ylim(bottom, top)
    ax.set_xlabel(f"drop of the {quantity} [K], median and {100 * ensemble.coverage:g} % interval")
    entries = [
        (Line2D([], [], marker=marker, linestyle="", color=FILL["die"], markeredgecolor=ink.text), f"at {at}")
        for at, (marker, _) in MARKS.items()
    ]
    if minimum is not None:
        entries.append((Line2D([], [], color=ink.text, linestyle="--"), f"{minimum:g} K, wanted at least"))
    legend_above(ax, ink, entries, bottom, top)
    set_title(ax, ink, "What each mod brings", ensemble.labels[0])
    return ax
