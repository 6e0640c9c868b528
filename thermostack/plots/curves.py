"""A sweep as curves over one input, or as contours over two."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patheffects import withStroke
from matplotlib.text import Text
from matplotlib.ticker import FuncFormatter, LogLocator, MaxNLocator, NullFormatter

from ..units import convert
from .style import EM, FILL, LABEL, OUTLINE, Ink, axes_for, chars, inches_of, note_box, plain, points, set_title

if TYPE_CHECKING:
    from ..sweeping import Axis, Sweep

__all__ = ["sweep"]

FLAT = 0.05
"""Contours are not drawn where the junction moves less than this. [K]"""


def sweep(sweep: Sweep, ax: Axes | None = None) -> Axes:
    """Draw junction and die mean over a swept input, or contours of the junction over two.

    What the stack describes is marked where it lies within the sweep.

    Parameters
    ----------
    sweep : Sweep
        Of one or two inputs.
    ax : Axes, optional
        Drawn in; a figure is made if not given.

    Returns
    -------
    Axes
    """
    ax, ink = axes_for(ax, 6.4, 4.4)
    first = sweep.axes[0]
    _scaled(ax, first, "x")
    ax.set_xlabel(_label(ax, first))
    if len(sweep.axes) == 1:
        _curves(ax, ink, sweep)
        set_title(ax, ink, "Sweep", sweep.stack.label)
    else:
        _scaled(ax, sweep.axes[1], "y")
        ax.set_ylabel(_label(ax, sweep.axes[1], side=1))
        _contours(ax, ink, sweep)
        set_title(ax, ink, "Junction temperature [°C]", sweep.stack.label)
    return ax


def _label(ax: Axes, axis: Axis, side: int = 0) -> str:
    room = chars(inches_of(ax)[side], "medium") - 12
    return plain(axis.path, max(room, 12)) + (f" [{axis.unit}]" if axis.unit else "")


def _scaled(ax: Axes, axis: Axis, letter: str) -> None:
    """Set scale and limits of one direction; a logarithmic one is ticked with plain numbers."""
    (ax.set_xlim if letter == "x" else ax.set_ylim)(float(axis.shown.min()), float(axis.shown.max()))
    if axis.scale != "logarithmic":
        return
    (ax.set_xscale if letter == "x" else ax.set_yscale)("log")
    ticks = ax.xaxis if letter == "x" else ax.yaxis
    ticks.set_major_locator(LogLocator(subs=(1.0, 2.0, 5.0)))
    ticks.set_major_formatter(FuncFormatter(lambda number, _: f"{number:g}"))
    ticks.set_minor_formatter(NullFormatter())


def _described(axis: Axis) -> float | None:
    """Return what the stack describes, as shown; None where it describes nothing or something outside the sweep."""
    if axis.described is None or not axis.values.min() <= axis.described <= axis.values.max():
        return None
    return float(convert(axis.described, axis.dimension))


def _between(axis: Axis, at: float, height: np.ndarray) -> float:
    """Return the height of the drawn curve at `at`."""
    order = np.argsort(axis.shown)
    straight = np.log if axis.scale == "logarithmic" else np.asarray
    return float(np.interp(straight(at), straight(axis.shown[order]), height[order]))


def _curves(ax: Axes, ink: Ink, sweep: Sweep) -> None:
    axis = sweep.axes[0]
    drawn = (
        ("junction (hottest point)", sweep.junction, FILL["die"], "-", "o"),
        ("die mean", sweep.mean, ink.text, "--", "s"),
    )
    at = _described(axis)
    if sweep.run is not None:
        low, _, high = sweep.band()
        told = f"{100 * sweep.coverage:g} % of the junction"
        ax.fill_between(axis.shown, low, high, color=FILL["die"], alpha=0.22, linewidth=0, label=told)
        for end in (low, high):
            ax.plot(axis.shown, end, ":", color=FILL["die"], linewidth=1.2)
    for name, height, color, dashes, marker in drawn:
        ax.plot(axis.shown, height, dashes, color=color, linewidth=2.2, label=name)
        if at is not None:
            ax.plot([at], [_between(axis, at, height)], marker, color=color, markeredgecolor=ink.text, markersize=8,
                    zorder=4)  # fmt: skip
    _name_curves(ax, ink, sweep)
    ax.set_ylabel("temperature [°C]")
    if at is not None:
        ax.axvline(at, color=ink.text, linewidth=0.9, linestyle=":", zorder=1)
    text = _described_text(axis, at)
    if text:
        right = at is not None and ax.transScale.transform((at, 1.0))[0] > np.mean(
            ax.transScale.transform([(x, 1.0) for x in ax.get_xlim()])[:, 0]
        )
        place = (ax.get_xlim()[1] if at is None else at, 0.03)
        ax.annotate(text, place, xycoords=ax.get_xaxis_transform(), xytext=(-5 if right or at is None else 5, 0),
                    textcoords="offset points", ha="right" if right or at is None else "left", va="bottom",
                    fontsize=LABEL, color=ink.text)  # fmt: skip


def _described_text(axis: Axis, at: float | None) -> str:
    if axis.described is None:
        return ""
    value = f"as described: {convert(axis.described, axis.dimension):.4g} {axis.unit}".rstrip()
    return value if at is not None else f"{value}, outside the sweep"


def _name_curves(ax: Axes, ink: Ink, sweep: Sweep) -> None:
    """Write the names on the curves: over the upper where it is highest, under the lower where it is lowest."""
    low = float(min(sweep.mean.min(), sweep.junction.min()))
    high = float(max(sweep.mean.max(), sweep.junction.max()))
    if sweep.run is not None:
        ends = sweep.band()
        low, high = min(low, float(ends[0].min())), max(high, float(ends[2].max()))
    span = max(high - low, 0.5)
    ax.set_ylim(low - 0.28 * span, high + 0.16 * span)
    order = np.argsort(sweep.axes[0].shown)
    junction, mean = sweep.junction[order], sweep.mean[order]
    shown = sweep.axes[0].shown[order]
    above = bool(junction.mean() >= mean.mean())
    for name, height, up in (("junction (hottest point)", junction, above), ("die mean", mean, not above)):
        last = bool(height[-1] >= height[0]) == up
        end = -1 if last else 0
        ax.annotate(name, (float(shown[end]), float(height[end])), xytext=(-6 if last else 6, 7 if up else -7),
                    textcoords="offset points", ha="right" if last else "left", va="bottom" if up else "top",
                    fontsize=LABEL, color=ink.text)  # fmt: skip


def _contours(ax: Axes, ink: Ink, sweep: Sweep) -> None:
    x, y = sweep.axes
    height = sweep.junction.T
    low, high = float(height.min()), float(height.max())
    labels: list[Text] = []
    if high - low < FLAT:
        ax.text(0.5, 0.5, f"junction at {low:.2f} °C all over", transform=ax.transAxes, ha="center", va="center",
                color=ink.text)  # fmt: skip
    else:
        levels = MaxNLocator(9).tick_values(low, high)
        ax.contourf(x.shown, y.shown, height, levels=levels, cmap="cividis", alpha=0.9)
        lines = ax.contour(x.shown, y.shown, height, levels=levels, colors="#ffffff", linewidths=1.0)
        labels = list(ax.clabel(lines, fmt=lambda level: f"{level:.6g} °C", fontsize=LABEL, inline=True))
        for text in labels:
            text.set_color("#ffffff")
            text.set_path_effects([withStroke(linewidth=2.5, foreground=OUTLINE)])
    at = [place for place in map(_described, sweep.axes) if place is not None]
    if len(at) == 2:
        ax.plot(at[:1], at[1:], "o", color="#ffffff", markeredgecolor=OUTLINE, markersize=9, zorder=5)
        _name_point(ax, at, [text.get_position() for text in labels])


def _name_point(ax: Axes, at: list[float], taken: list[tuple[float, float]]) -> None:
    """Write at a point that it is what the stack describes, on the side farthest from the places taken."""
    text, scale = "as described", ax.figure.dpi / 72
    x, y = ax.transData.transform(at)
    reach = np.array([9 + points() * EM * len(text) / 2, 9 + points() / 2]) * scale
    others = ax.transData.transform(taken) if taken else np.empty((0, 2))
    frame = ax.get_window_extent()

    def clear(side: tuple[int, int]) -> float:
        centre = np.array([x, y]) + reach * side
        if not frame.contains(*(centre + reach * side)):
            return -1.0
        return float(np.min(np.hypot(*((others - centre) / reach).T), initial=np.inf))

    right, up = max(((0, 1), (0, -1), (1, 0), (-1, 0)), key=clear)
    ax.annotate(text, (at[0], at[1]), xytext=(9 * right, 9 * up), textcoords="offset points", fontsize=LABEL,
                ha={-1: "right", 0: "center", 1: "left"}[right], va={-1: "top", 0: "center", 1: "bottom"}[up],
                color=OUTLINE, bbox=note_box())  # fmt: skip
