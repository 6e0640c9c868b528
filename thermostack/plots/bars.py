"""The breakdown as bars: where the temperature drops, and how much of it by spreading."""

from __future__ import annotations

from typing import TYPE_CHECKING

from matplotlib.axes import Axes
from matplotlib.patches import Patch

from .parts import role_of
from .style import (
    LABEL,
    OUTLINE,
    Look,
    axes_for,
    decimals,
    fit,
    inches_of,
    legend_above,
    lines_a_unit,
    look,
    plain,
    room_for,
    set_title,
)

if TYPE_CHECKING:
    from ..prediction import Prediction

__all__ = ["breakdown", "rows_of"]

THICKNESS = 0.62
"""Of a bar, relative to the distance of bars."""
BACKWARDS = 0.28
"""Thickness of a portion that takes back, drawn over the one that it reduces."""
SPREADING = Look("#ffffff", "////")


def rows_of(prediction: Prediction) -> list[tuple[str, float, float]]:
    """Return part, one-dimensional drop and spreading drop of each row of the breakdown, from the die up. [K]"""
    watts, table = float(prediction.point.total[0]), prediction.breakdown.to_dict()
    columns = (table[key][:-1] for key in ("part", "one_dimensional_K_per_W", "spreading_K_per_W"))  # last: the sum
    return [(str(n), float(o or 0) * watts, float(s or 0) * watts) for n, o, s in zip(*columns, strict=True)]


def breakdown(prediction: Prediction, ax: Axes | None = None) -> Axes:
    """Draw the temperature drop over each part as a bar, die at the bottom and coolant on top.

    The one-dimensional portion has the colour of the part, what spreading adds is hatched. Spreading that is
    negative (the heat leaves a part through more than its footprint) is drawn back over the bar, thinner.

    Parameters
    ----------
    prediction : Prediction
    ax : Axes, optional
        Drawn in; a figure is made if not given.

    Returns
    -------
    Axes
    """
    rows = rows_of(prediction)
    watts = float(prediction.point.total[0])
    ax, ink = axes_for(ax, 7.2, 1.7 + 0.42 * len(rows))
    ends = []
    for y, (name, straight, spreading) in enumerate(rows):
        part = look(role_of(prediction.stack.part(name)))
        ax.barh(y, straight, THICKNESS, color=part.fill, edgecolor=OUTLINE, linewidth=0.8)
        ax.barh(y, spreading, THICKNESS if spreading >= 0 else BACKWARDS, left=straight, color=SPREADING.fill,
                edgecolor=OUTLINE, hatch=SPREADING.hatch, linewidth=0.8)  # fmt: skip
        drop = straight + spreading
        ends.append((max(straight, drop, 0.0), f"{decimals(drop, 2)} K  ({decimals(drop / watts, 4)} K/W)"))
    low = min(0.0, *(min(straight, straight + spreading) for _, straight, spreading in rows))
    ax.set_xlim(low, room_for(ends, low, inches_of(ax)[0]))
    for y, (end, text) in enumerate(ends):
        ax.annotate(text, (end, y), xytext=(4, 0), textcoords="offset points", va="center", fontsize=LABEL,
                    color=ink.text)  # fmt: skip
    plain_key = Patch(facecolor=look("solid").fill, edgecolor=OUTLINE, linewidth=0.8)
    hatched_key = Patch(facecolor=SPREADING.fill, edgecolor=OUTLINE, hatch=SPREADING.hatch, linewidth=0.8)
    total = sum(straight + spreading for _, straight, spreading in rows)
    entries = [
        (plain_key, "one-dimensional"),
        (hatched_key, "spreading"),
    ]
    legend_above(ax, ink, entries, -0.6, len(rows) - 0.4)
    lines = min(2, lines_a_unit(ax))
    ax.set_yticks(range(len(rows)), [fit(name, 18, lines) for name, _, _ in rows])
    ax.set_xlabel(
        f"temperature drop [K]\n{plain(prediction.hottest_die, 24)}, mean to coolant: {total:.1f} K at {watts:.4g} W"
    )
    ax.set_ylabel("die → coolant")
    set_title(ax, ink, "Where the temperature drops", prediction.stack.label)
    return ax
