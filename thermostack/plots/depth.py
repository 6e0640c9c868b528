"""Temperature from the die to the coolant, layer by layer."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patheffects import withStroke

from ..stack.parts import Coolant
from .parts import coolant_text, drawn_height, made_of, role_of
from .style import FILL, LABEL, OUTLINE, axes_for, decimals, fit, inches_of, look, note_box, points, room_for, set_title

if TYPE_CHECKING:
    from ..prediction import Prediction
    from ..stack.parts import Part

__all__ = ["profile"]


def profile(prediction: Prediction, ax: Axes | None = None) -> Axes:
    """Draw the mean temperature over the height of the stack, active face at the bottom, coolant on top.

    The line joins the temperatures below and above each part, as in the breakdown; within a part it is straight.
    Heights are not to scale: a bond line could not be seen beside a plate.

    Parameters
    ----------
    prediction : Prediction
    ax : Axes, optional
        Drawn in; a figure is made if not given.

    Returns
    -------
    Axes
    """
    stack, values = prediction.stack, prediction.point.values
    table = prediction.breakdown.to_dict()
    parts = [stack.part(str(name)) for name in table["part"][:-1]]  # the last row is the sum
    temperatures = [
        (float(below or 0), float(above or 0))
        for below, above in zip(table["below_degC"][:-1], table["above_degC"][:-1], strict=True)
    ]
    ax, ink = axes_for(ax, 7.2, 1.4 + 0.52 * len(parts))
    # room for the two lines of each label, and more for what is thicker
    heights = np.array([0.8 + drawn_height(stack, part, values) for part in parts])
    edges = np.concatenate([[0.0], np.cumsum(heights)])
    junction = float(prediction.junction.magnitude)
    over_mean = junction - float(prediction.mean.magnitude)
    hottest = max(junction, *(max(pair) for pair in temperatures))
    coldest = min(min(pair) for pair in temperatures)
    texts = [f"{decimals(below - above, 1)} K" for below, above in temperatures]
    low = coldest - 0.06 * (hottest - coldest)
    high = room_for([(hottest, "00.0 K over die mean   "), (max(temperatures[0]), texts[0])], low, inches_of(ax)[0])
    for part, bottom, height in zip(parts, edges, heights, strict=False):
        one = look(role_of(part))
        ax.axhspan(bottom, bottom + height, facecolor=one.fill, alpha=0.28, linewidth=0, zorder=0)
        ax.axhline(bottom, color=ink.text, linewidth=0.7, zorder=1)
    line = [t for pair in temperatures for t in pair]
    at = np.repeat(edges, 2)[1:-1]
    halo = [withStroke(linewidth=4.5, foreground=ink.ground)]
    ax.plot(line, at, "-", color=ink.text, linewidth=2.4, path_effects=halo, zorder=3)
    ax.plot(line, at, "o", color=ink.ground, markeredgecolor=ink.text, markersize=4.5, zorder=4, clip_on=False)
    ax.plot(
        [junction], [0.0], "D", color=FILL["hottest"], markeredgecolor=OUTLINE, markersize=9, zorder=5, clip_on=False
    )
    for (below, above), text, bottom, height in zip(temperatures, texts, edges, heights, strict=False):
        ax.annotate(text, (max((below + above) / 2, low), bottom + height / 2), xytext=(8, 0),
                    textcoords="offset points", va="center", fontsize=LABEL, color=OUTLINE, bbox=note_box(),
                    zorder=6)  # fmt: skip
    told = f"junction {junction:.1f} °C\n{abs(over_mean):.1f} K {'over' if over_mean >= 0 else 'under'} die mean"
    ax.annotate(told, (junction, 0.0), xytext=(9, 4), textcoords="offset points",
                va="bottom", fontsize=LABEL, color=OUTLINE, bbox=note_box(), zorder=6)  # fmt: skip
    ax.set_xlim(low, high)
    ax.set_ylim(0.0, float(edges[-1]))
    names = [f"{fit(part.name, 26, 1)}\n{fit(_detail(part, prediction), 40, 1)}" for part in parts]
    ax.set_yticks(edges[:-1] + heights / 2, names, fontsize=min(points(), _line_height(ax, len(parts))))
    ax.set_xlabel("mean temperature [°C]")
    ax.set_ylabel("die → coolant, heights not to scale")
    set_title(ax, ink, "Temperature through the stack", stack.label)
    return ax


def _line_height(ax: Axes, parts: int) -> float:
    """Return the size of text of which two lines fit beside each part. [pt]"""
    return max(4.0, inches_of(ax)[1] * 72 / (parts * 2 * 1.25))


def _detail(part: Part, prediction: Prediction) -> str:
    """Return what stands below the name of a part."""
    values = prediction.point.values
    if isinstance(part, Coolant):
        return coolant_text(part, values)
    return made_of(part, values)
