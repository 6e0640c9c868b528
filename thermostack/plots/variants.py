"""Variants side by side: the drops of each, stacked from the coolant up to the junction."""

from __future__ import annotations

from itertools import accumulate
from typing import TYPE_CHECKING

from matplotlib.axes import Axes
from matplotlib.patches import Patch

from ..units import convert
from .bars import BACKWARDS, THICKNESS, rows_of
from .parts import role_of
from .style import (
    LABEL,
    OUTLINE,
    Look,
    Role,
    axes_for,
    decimals,
    fit,
    inches_of,
    legend_above,
    lines_a_unit,
    look,
    note_box,
    points,
    room_for,
    set_title,
    text_inches,
)

if TYPE_CHECKING:
    from ..comparison import Comparison
    from ..prediction import Prediction

__all__ = ["comparison"]

HOTTEST = "hottest point over die mean"


def comparison(comparison: Comparison, ax: Axes | None = None) -> Axes:
    """Draw a bar a variant, of the drops from the coolant up to the junction, the baseline on top.

    What the hottest point lies over the mean of the die is a segment of its own, so that the bar ends at the
    junction. A drop that is negative is drawn back over the one before it, thinner.

    Parameters
    ----------
    comparison : Comparison
    ax : Axes, optional
        Drawn in; a figure is made if not given.

    Returns
    -------
    Axes
    """
    predictions = comparison.predictions
    segments = [_segments(p) for p in predictions]
    looks = _looks(segments)
    ax, ink = axes_for(ax, 8.4, 1.4 + 0.62 * len(predictions) + 0.16 * len(looks))
    width = inches_of(ax)[0]
    bases = [float(convert(float(p.point.coolant[0]), "temperature")) for p in predictions]
    ends = [
        (base + max(accumulate((drop for _, drop in drops), initial=0.0)), _told(p, comparison.baseline))
        for p, drops, base in zip(predictions, segments, bases, strict=True)
    ]
    low = min(bases)
    low -= 0.02 * (max(end for end, _ in ends) - low)
    high = room_for(ends, low, width)
    ax.set_xlim(low, high)
    for row, (drops, base, end) in enumerate(zip(segments, bases, ends, strict=True)):
        left = base
        for key, drop in drops:
            _segment(ax, -row, left, drop, looks[key], (high - low) / width)
            left += drop
        ax.annotate(end[1], (end[0], -row), xytext=(5, 0), textcoords="offset points", va="center", fontsize=LABEL,
                    color=ink.text)  # fmt: skip
        ax.plot([base, base], [-row - 0.42, -row + 0.42], color=ink.text, linewidth=2.0, solid_capstyle="butt")
    lower, upper = 0.5 - len(predictions), 0.6
    base_text = f"coolant {bases[0]:.1f} °C" if len(set(bases)) == 1 else "each from its own coolant (thick line)"
    ax.annotate(base_text, (low, lower - 0.32), xytext=(4, 0), textcoords="offset points", va="bottom", fontsize=LABEL,
                color=ink.text)  # fmt: skip
    ax.set_xlabel("temperature [°C]; numbers in the bars are drops [K]")
    entries = [
        (Patch(facecolor=one.fill, hatch=one.hatch, edgecolor=OUTLINE, linewidth=0.8), name)
        for (_, name), one in looks.items()
    ]
    legend_above(ax, ink, entries, lower - 0.35, upper)
    lines = min(3, lines_a_unit(ax))
    names = [fit(p.stack.label, 20, lines) for p in predictions]
    ax.set_yticks([-row for row in range(len(names))], names)
    set_title(ax, ink, "From coolant to junction", comparison.baseline.stack.name)
    return ax


Key = tuple[Role, str]


def _segments(p: Prediction) -> list[tuple[Key, float]]:
    """Return role, name and drop of each segment, from the coolant to the junction. [K]"""
    found: list[tuple[Key, float]] = [
        ((role_of(p.stack.part(name)), name), straight + spreading) for name, straight, spreading in rows_of(p)
    ]
    over_mean = float(p.junction.magnitude) - float(p.mean.magnitude)
    return [*reversed(found), (("hottest", HOTTEST), over_mean)]


def _looks(segments: list[list[tuple[Key, float]]]) -> dict[Key, Look]:
    """Return the look of every part of all variants, in the order of the stack from coolant to junction."""
    order: list[Key] = []
    for drops in segments:
        place = 0
        for key, _ in drops:
            if key in order:
                place = order.index(key) + 1
            else:
                order.insert(place, key)
                place += 1
    count: dict[Role, int] = {}
    looks = {}
    for key in order:
        looks[key] = look(key[0], count.get(key[0], 0))
        count[key[0]] = count.get(key[0], 0) + 1
    return looks


def _segment(ax: Axes, y: float, left: float, drop: float, one: Look, per_inch: float) -> None:
    """Draw one segment, with its drop written in it where there is room."""
    height = THICKNESS if drop >= 0 else BACKWARDS
    ax.barh(y, drop, height, left=left, color=one.fill, hatch=one.hatch, edgecolor=OUTLINE, linewidth=0.8)
    text = decimals(drop, 1)
    if abs(drop) / per_inch > text_inches(text) + 0.6 * points() / 72:
        beside = 0.0 if drop >= 0 else THICKNESS / 2  # the number of what is taken back stands clear of the others
        ax.text(
            left + drop / 2, y - beside, text, ha="center", va="center", fontsize=LABEL, color=OUTLINE, bbox=note_box()
        )


def _told(p: Prediction, baseline: Prediction) -> str:
    """Return the junction temperature and, of a mod, what it changes."""
    junction = f"junction {p.junction.magnitude:.1f} °C"
    if p is baseline:
        return f"{junction}\n(baseline)"
    change = float(baseline.junction.magnitude - p.junction.magnitude)
    return f"{junction}\n({abs(change):.1f} K {'lower' if change >= 0 else 'higher'})"
