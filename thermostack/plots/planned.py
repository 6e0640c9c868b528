"""A plan: the chance to tell drops from scatter, over the number of mounts."""

from __future__ import annotations

from typing import TYPE_CHECKING

from matplotlib.axes import Axes
from matplotlib.ticker import FixedLocator, NullLocator

from .style import FILL, LABEL, axes_for, legend_above, set_title

if TYPE_CHECKING:
    from ..planning import Plan

__all__ = ["told"]

MARKS = ("o", "s", "^", "D", "v")


def told(plan: Plan, ax: Axes | None = None) -> Axes:
    """Draw the chance to tell each drop from scatter: simulated with bad mounts, and by normal theory (dashed).

    Parameters
    ----------
    plan : Plan
    ax : Axes, optional
        Drawn in; a figure is made if not given.

    Returns
    -------
    Axes
    """
    ax, ink = axes_for(ax, 7.2, 4.2)
    counts = [trial.mounts for trial in plan.trials]
    colours = [FILL["die"], FILL["coolant"], FILL["board"], FILL["hottest"], FILL["interface"]]
    entries = []
    for i, drop in enumerate(plan.drops):
        chances = [100 * trial.chances[i] for trial in plan.trials]
        theory = [100 * trial.normal_chances[i] for trial in plan.trials]
        (line,) = ax.plot(counts, chances, color=colours[i % 5], marker=MARKS[i % 5], linewidth=1.8, clip_on=False)
        ax.plot(counts, theory, color=colours[i % 5], linestyle="--", linewidth=1.2)
        entries.append((line, f"{drop:.3g} K" + (" (predicted)" if abs(drop - abs(plan.predicted)) < 1e-9 else "")))
    (dashed,) = ax.plot([], [], color=ink.text, linestyle="--", linewidth=1.2)
    entries.append((dashed, "normal theory, no mount bad"))
    ax.axhline(80, color=ink.text, linewidth=0.8, linestyle=":")
    ax.annotate("four of five", (max(counts), 80), xytext=(-2, 3), textcoords="offset points", ha="right",
                fontsize=LABEL, color=ink.text)  # fmt: skip
    ax.set_xlim(min(counts), max(counts) if len(counts) > 1 else min(counts) + 1)
    ax.set_xlabel("mounts before, and as many after")
    ax.set_ylabel("chance to tell the drop [%]")
    legend_above(ax, ink, entries, 0.0, 100.0)
    ax.xaxis.set_major_locator(FixedLocator([float(n) for n in counts]))
    ax.xaxis.set_minor_locator(NullLocator())
    ax.yaxis.set_major_locator(FixedLocator([0.0, 20.0, 40.0, 60.0, 80.0, 100.0]))
    set_title(ax, ink, "Told from scatter", plan.after.stack.label)
    return ax
