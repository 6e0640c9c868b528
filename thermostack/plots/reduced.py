"""Resistance of joints of several thicknesses, and the line through them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.axes import Axes

from ..units import convert, unit_text
from .style import FILL, LABEL, axes_for, legend_above, set_title

if TYPE_CHECKING:
    from ..measured.steps import ThicknessSteps

__all__ = ["thickness_steps"]


def thickness_steps(found: ThicknessSteps, ax: Axes | None = None) -> Axes:
    """Draw joints over their thickness, the line, and its standard uncertainty down to zero thickness.

    Parameters
    ----------
    found : ThicknessSteps
    ax : Axes, optional
        Drawn in; a figure is made if not given.

    Returns
    -------
    Axes
    """
    ax, ink = axes_for(ax, 6.4, 4.4)
    t = np.linspace(0.0, 1.08 * float(found.thickness.max()), 101)
    row = np.stack([np.ones_like(t), t], axis=1)
    middle = found.intercept + found.slope * t
    u = np.sqrt(np.einsum("ij,jk,ik->i", row, found.covariance, row))
    x = convert(t, "bond line")
    line, low, high = (convert(r, "specific resistance") for r in (middle, middle - u, middle + u))
    band = ax.fill_between(x, low, high, facecolor=FILL["interface"], alpha=0.35, edgecolor=ink.text, linewidth=0.6)
    (drawn,) = ax.plot(x, line, color=ink.text, linewidth=1.6)
    at, r = convert(found.thickness, "bond line"), convert(found.resistance, "specific resistance")
    (joints,) = ax.plot(at, r, "o", color=FILL["die"], markeredgecolor=ink.text, markersize=8, zorder=4)
    ax.axhline(0.0, color=ink.text, linewidth=0.8)
    ax.set_xlim(0.0, float(x[-1]))
    lowest, highest = min(float(low.min()), 0.0), max(float(high.max()), float(r.max()))
    entries: list[tuple[Any, str]]
    entries = [(joints, "joints"), (drawn, "line"), (band, "± standard uncertainty")]
    legend_above(ax, ink, entries, lowest - 0.04 * (highest - lowest), highest)
    told = f"{1 / found.slope:.3g} W/m/K\ncontact {float(line[0]):.3g} mm²·K/W"
    ax.text(0.98, 0.1, told, transform=ax.transAxes, ha="right", va="bottom", fontsize=LABEL, color=ink.text)
    ax.set_xlabel(f"thickness [{unit_text('bond line')}]")
    ax.set_ylabel(f"specific resistance [{unit_text('specific resistance')}]")
    set_title(ax, ink, "Resistance over thickness", "")
    return ax
