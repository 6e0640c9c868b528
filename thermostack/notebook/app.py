"""All panels in one: what a start page shows, in a notebook or as an app."""

from __future__ import annotations

import os
from typing import Any

import ipywidgets as widgets

from .bench import Bench
from .die_panel import DiePanel
from .logs_panel import LogsPanel
from .naming import naming
from .plan_panel import PlanPanel
from .stack_panel import StackPanel
from .style import sheet
from .sweep_panel import SweepPanel
from .verdict_panel import VerdictPanel

__all__ = ["app"]


def app(
    variants: Any, before: str | os.PathLike[str] | None = None, after: str | os.PathLike[str] | None = None, *,
    truncating: bool = False, measured: Any = None,
) -> Any:  # fmt: skip
    """Return the panels side by side under tabs; those of the stack follow each other.

    Parameters
    ----------
    variants : path, Stack, iterable of Stack or Bench
        See `Bench`.
    before, after : path, optional
        Logs to begin with.
    truncating : bool
        Whether the sensors of the logs cut off what is below a step.
    measured : as `variants`, optional
        What the logs were read on, where it is another part than that of the other panels.
    """
    bench = variants if isinstance(variants, Bench) else Bench(variants)
    logs = LogsPanel(before, after, truncating=truncating)
    panels = {
        "stack": StackPanel(bench),
        "sweep": SweepPanel(bench),
        "die": DiePanel(bench),
        "plan": PlanPanel(bench),
        "logs": logs,
        "verdict": VerdictPanel(bench if measured is None else measured, logs),
    }
    tabs = widgets.Tab([panel.view for panel in panels.values()], titles=tuple(panels))
    tabs.selected_index = 0
    made = widgets.VBox([widgets.HTML(sheet()), naming(), tabs])
    made.add_class("tst")
    return made
