"""Panels for a notebook: they arrange what the library computes, and compute nothing.

`Bench` holds what is on the screen: the variants of a part, and the inputs that were moved. Panels of one bench follow
each other. ipywidgets is imported when the first of these names is used.

Examples
--------
>>> from thermostack import notebook
>>> bench = notebook.Bench("examples/workstation.toml")  # doctest: +SKIP
>>> notebook.StackPanel(bench)  # doctest: +SKIP
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from .app import app as app
    from .bench import Bench as Bench
    from .die_panel import DiePanel as DiePanel
    from .logs_panel import LogsPanel as LogsPanel
    from .plan_panel import PlanPanel as PlanPanel
    from .stack_panel import StackPanel as StackPanel
    from .sweep_panel import SweepPanel as SweepPanel
    from .verdict_panel import VerdictPanel as VerdictPanel

_HOME = {
    "Bench": ".bench",
    "DiePanel": ".die_panel",
    "LogsPanel": ".logs_panel",
    "PlanPanel": ".plan_panel",
    "StackPanel": ".stack_panel",
    "SweepPanel": ".sweep_panel",
    "VerdictPanel": ".verdict_panel",
    "app": ".app",
}
__all__ = [*_HOME]


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module 'thermostack.notebook' has no attribute {name!r}")
    value = getattr(import_module(_HOME[name], __name__), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return __all__
