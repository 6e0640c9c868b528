"""A log against time: temperatures, the steady window with its means, and what was noticed."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.patches import Patch
from numpy.typing import NDArray

from ..units import convert
from .style import FILL, LABEL, OUTLINE, axes_for, legend_above, plain, set_title

if TYPE_CHECKING:
    from ..measured.flags import Flag
    from ..measured.log import Log
    from ..measured.reading import Reading

__all__ = ["time_series"]

MOST = 1500
"""Stretches that a line is drawn in; of each the lowest and the highest value are kept, so that no spike is lost."""
STYLES = ("-", "--", "-.", ":")
MARKED = 6
"""Flags that are marked in the picture; the reading's notes tell them all."""


def time_series(log: Log, reading: Reading, ax: Axes | None = None) -> Axes:
    """Draw the temperatures of a log over time, with the window of a reading, its means and its flags.

    Parameters
    ----------
    log : Log
    reading : Reading
        Of this log.
    ax : Axes, optional
        Drawn in; a figure is made if not given.

    Returns
    -------
    Axes
    """
    ax, ink = axes_for(ax, 8.0, 4.6)
    coolants = log.of_role("coolant") or log.of_role("ambient")
    entries: list[tuple[object, str]] = []
    lows, highs = [], []
    for i, name in enumerate((*reading.sensors, *coolants)):
        time, kelvin = outline(log.time, log.values[name])
        degrees = convert(kelvin, "temperature")
        cold = name in coolants
        style = STYLES[(i if not cold else i - len(reading.sensors)) % len(STYLES)]
        (line,) = ax.plot(
            time / 60, degrees, style, color=FILL["coolant" if cold else "die"], linewidth=0.9, alpha=0.9, zorder=2
        )
        entries.append((line, name))
        if np.isfinite(degrees).any():
            # single wild rows are flagged; they must not flatten the rest
            low, high = np.nanquantile(degrees, [0.002, 0.998])
            lows.append(float(low))
            highs.append(float(high))
    first, last = reading.window or (float(log.time[0]), float(log.time[-1]))
    ax.axvspan(first / 60, last / 60, facecolor="#9a9a9a", alpha=0.25, edgecolor=OUTLINE, linewidth=0.8, zorder=0)
    entries.append((Patch(facecolor="#9a9a9a", alpha=0.25, edgecolor=OUTLINE), "window"))
    means = [mean for name, mean in zip(reading.names, reading.means, strict=True) if name != "power"]
    for mean in means:
        ax.plot([first / 60, last / 60], [convert(mean, "temperature")] * 2, color=ink.text, linewidth=1.4, zorder=3)
    entries.append((Line2D([], [], color=ink.text, linewidth=1.4), "mean"))
    span = float(log.time[-1] - log.time[0])
    for number, flag in enumerate(marked(reading.flags), 1):
        ax.axvspan(flag.start / 60, max(flag.end, flag.start + 0.002 * span) / 60, facecolor="none",
                   edgecolor=FILL["hottest"], hatch="\\\\\\\\", linewidth=0.0, alpha=0.8, zorder=1)  # fmt: skip
        where = f"{flag.column} " if flag.column and not flag.kind.startswith(flag.column) else ""
        entries.append(
            (Patch(facecolor="none", edgecolor=FILL["hottest"], hatch="\\\\\\\\"), f"{number}: {where}{flag.kind}")
        )
        ax.annotate(
            f"{number}", (flag.start / 60, 0.01), xycoords=("data", "axes fraction"), fontsize=LABEL, color=ink.text
        )
    ax.set_xlim(float(log.time[0]) / 60, float(log.time[-1]) / 60)
    ax.set_xlabel("time [min]")
    ax.set_ylabel("temperature [°C]")
    low, high = min(lows, default=0.0), max(highs, default=1.0)
    margin = 0.06 * max(high - low, 1.0)
    legend_above(ax, ink, entries, low - margin, high + margin)
    _, u = reading["power"]
    set_title(ax, ink, f"Log, {reading.power:.4g} W (sd {u:.2g} W)", plain(reading.source))
    return ax


def marked(flags: tuple[Flag, ...]) -> list[Flag]:
    """Return the flags that are drawn: warnings first, in the order of time."""
    ranked = sorted(flags, key=lambda flag: (flag.severity != "warning", flag.start))
    return ranked[:MARKED]


def outline(
    time: NDArray[np.float64], values: NDArray[np.float64], most: int = MOST
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return a series thinned to the lowest and highest value of each of `most` stretches."""
    if len(time) <= 2 * most:
        return time, values
    size = len(time) // most
    rows = np.arange(most * size).reshape(most, size)
    low = np.where(np.isfinite(values[rows]), values[rows], np.inf).argmin(axis=1)
    high = np.where(np.isfinite(values[rows]), values[rows], -np.inf).argmax(axis=1)
    kept = np.unique(np.concatenate([rows[np.arange(most), low], rows[np.arange(most), high]]))
    return time[kept], values[kept]
