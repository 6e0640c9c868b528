"""The check of a drop: what was to be expected of it, and what was measured; and what could explain it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from .style import FILL, LABEL, OUTLINE, axes_for, chars, decimals, fit, inches_of, legend_above, plain, set_title

if TYPE_CHECKING:
    from ..checking.causes import Causes
    from ..checking.examine import Check

__all__ = ["causes", "verdict"]

BINS = 60
SHOWN = 12
"""Causes that are drawn, the most probable ones."""


def verdict(check: Check, ax: Axes | None = None) -> Axes:
    """Draw the drops that were to be expected, the 95 % interval among them, and the measured drop with its interval.

    Parameters
    ----------
    check : Check
    ax : Axes, optional
        Drawn in; a figure is made if not given.

    Returns
    -------
    Axes
    """
    ax, ink = axes_for(ax, 6.4, 4.0)
    drop = check.verdict.drop
    counts, edges = np.histogram(drop.samples, BINS, density=True)
    middle = 0.5 * (edges[:-1] + edges[1:])
    ax.stairs(counts, edges, fill=True, facecolor=FILL["solid"], edgecolor=OUTLINE, linewidth=0.8, zorder=1)
    usual = (middle >= drop.low) & (middle <= drop.high)
    ax.bar(middle[usual], counts[usual], np.diff(edges)[usual], color=FILL["coolant"], hatch="..", edgecolor=OUTLINE,
           linewidth=0.0, zorder=2)  # fmt: skip
    top = float(counts.max())
    ax.plot([drop.expected] * 2, [0, top], color=ink.text, linewidth=1.2, linestyle="--", zorder=3)
    half = 1.96 * drop.u_D
    ax.errorbar([drop.measured], [0.5 * top], xerr=[half], fmt="D", color=FILL["die"], markeredgecolor=OUTLINE,
                ecolor=ink.text, capsize=4, markersize=8, zorder=4)  # fmt: skip
    entries = [
        (Patch(facecolor=FILL["coolant"], hatch="..", edgecolor=OUTLINE),
         f"95 % of what was to be expected, {decimals(drop.low, 1)} to {decimals(drop.high, 1)} K"),
        (Line2D([], [], color=ink.text, linestyle="--"), f"expected {decimals(drop.expected, 1)} K"),
        (Line2D([], [], color=FILL["die"], marker="D", linestyle="", markeredgecolor=OUTLINE),
         f"measured {decimals(drop.measured, 1)} K ± {decimals(half, 1)} K (95 %)"),
    ]  # fmt: skip
    legend_above(ax, ink, entries, 0.0, 1.05 * top)
    ax.set_xlabel("drop at equal power [K]")
    ax.set_yticks([])
    ax.set_ylabel("probability density")
    set_title(ax, ink, check.verdict.finding.capitalize(), check.states[-1].stack.label)
    return ax


def causes(causes: Causes, ax: Axes | None = None) -> Axes:
    """Draw the probabilities of the most probable causes, with their range over half to double sizes.

    Parameters
    ----------
    causes : Causes
    ax : Axes, optional
        Drawn in; a figure is made if not given.

    Returns
    -------
    Axes
    """
    ax, ink = axes_for(ax, 7.2, 4.6)
    shown = sorted(causes.ranked, key=lambda ranked: -ranked.probability)[:SHOWN]
    order = {group.members[0].group: chr(ord("A") + i) for i, group in enumerate(causes.groups[:26])}
    room = max(20, chars(0.55 * inches_of(ax)[0]))
    for row, ranked in enumerate(shown):
        ax.barh(-row, ranked.probability, 0.62, color=FILL["interface"], edgecolor=OUTLINE, linewidth=0.8, zorder=1)
        ax.plot([ranked.low, ranked.high], [-row] * 2, color=ink.text, linewidth=1.6, marker="|", zorder=2)
        ax.text(1.02, -row, order.get(ranked.group, ""), va="center", fontsize=LABEL, color=ink.text)
    ax.set_yticks([-row for row in range(len(shown))], [fit(plain(each.name), room, 2) for each in shown])
    ax.set_xlim(0.0, 1.06)
    ax.set_xlabel("probability; line: half to double sizes; letter: group that cannot be split")
    set_title(ax, ink, "What could explain the readings", "")
    return ax
