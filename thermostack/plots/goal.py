"""Where a goal is met over one input."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import FuncFormatter, LogLocator, NullFormatter

from ..units import convert, show, unit_text
from .style import FILL, LABEL, OUTLINE, axes_for, chars, fit, inches_of, note_box, plain, set_title

if TYPE_CHECKING:
    from ..goal import ValueFor

__all__ = ["goal"]


def goal(found: ValueFor, ax: Axes | None = None) -> Axes:
    """Draw the figure over the input, the goal, and the stretches over which it is met.

    Parameters
    ----------
    found : ValueFor
    ax : Axes, optional
        Drawn in; a figure is made if not given.

    Returns
    -------
    Axes
    """
    ax, ink = axes_for(ax, 6.4, 4.4)
    wanted = found.goal
    x = np.asarray(convert(found.scanned, found.dimension))
    y = np.asarray(convert(found.figures, wanted.dimension))
    line = float(convert(wanted.wanted, wanted.dimension))
    if np.ptp(np.diff(x)) > 1e-6 * np.ptp(x):  # looked at by factors
        ax.set_xscale("log")
        ax.xaxis.set_major_locator(LogLocator(subs=(1.0, 2.0, 5.0)))
        ax.xaxis.set_major_formatter(FuncFormatter(lambda number, _: f"{number:g}"))
        ax.xaxis.set_minor_formatter(NullFormatter())
    ax.set_xlim(float(x.min()), float(x.max()))
    ends = [*y[np.isfinite(y)], line]
    span = max(float(np.ptp(ends)), 0.1)
    ax.set_ylim(min(ends) - 0.36 * span, max(ends) + 0.16 * span)
    ax.plot(x, y, color=FILL["die"], linewidth=2.2)
    ax.axhline(line, color=ink.text, linewidth=1.1, linestyle="--")
    for low, high in found.met:
        left, right = (float(convert(end, found.dimension)) for end in (low, high))
        ax.axvspan(left, right, facecolor=FILL["board"], alpha=0.18, hatch="..", edgecolor=ink.text, linewidth=0)
    for at in found.crossings:
        place = float(convert(at, found.dimension))
        ax.plot([place], [line], "o", color=FILL["die"], markeredgecolor=ink.text, markersize=8, zorder=4)
        last = any(at == high for _, high in found.met)  # written on the side on which the goal is missed
        ax.annotate(show(at, found.dimension), (place, 0.03), xycoords=ax.get_xaxis_transform(),
                    xytext=(5 if last else -5, 0), textcoords="offset points", rotation=90,
                    ha="left" if last else "right", va="bottom", fontsize=LABEL, color=OUTLINE,
                    bbox=note_box())  # fmt: skip
    word = "at least" if wanted.at_least else "at most"
    told = f"{word} {show(wanted.wanted, wanted.dimension)}" + (": dotted, met" if found.met else ": met nowhere")
    ax.text(0.99, 0.99, told, transform=ax.transAxes, ha="right", va="top", fontsize=LABEL, color=ink.text)
    unit, of = unit_text(found.dimension), unit_text(wanted.dimension)
    width, height = inches_of(ax)
    ax.set_xlabel(plain(found.path, max(chars(width, "medium") - 12, 12)) + (f" [{unit}]" if unit else ""))
    ax.set_ylabel(fit(f"{wanted.figure} [{of}]", max(chars(height, "medium"), 16), 2))
    set_title(ax, ink, "Where the goal is met", found.stack.label)
    return ax
