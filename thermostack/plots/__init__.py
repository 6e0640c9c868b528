"""Pictures of results. Each takes axes (``ax=``) or makes a figure of its own, and returns the axes.

Nothing is computed here: what is drawn was predicted, compared or swept before. matplotlib is imported when the first
picture is drawn. Colours, hatches and sizes stand in `style`; nothing is told by colour alone.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from .bars import breakdown as breakdown
    from .checked import causes as causes
    from .checked import verdict as verdict
    from .curves import sweep as sweep
    from .depth import profile as profile
    from .goal import goal as goal
    from .maps import flux_map as flux_map
    from .maps import section_map as section_map
    from .maps import temperature_map as temperature_map
    from .planned import told as told
    from .recorded import time_series as time_series
    from .reduced import thickness_steps as thickness_steps
    from .section import cross_section as cross_section
    from .uncertain import budget as budget
    from .uncertain import drops as drops
    from .variants import comparison as comparison

_HOME = {
    "breakdown": ".bars",
    "budget": ".uncertain",
    "causes": ".checked",
    "comparison": ".variants",
    "cross_section": ".section",
    "drops": ".uncertain",
    "flux_map": ".maps",
    "goal": ".goal",
    "profile": ".depth",
    "section_map": ".maps",
    "sweep": ".curves",
    "temperature_map": ".maps",
    "thickness_steps": ".reduced",
    "time_series": ".recorded",
    "told": ".planned",
    "verdict": ".checked",
}
__all__ = [*_HOME]


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module 'thermostack.plots' has no attribute {name!r}")
    value = getattr(import_module(_HOME[name], __name__), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return __all__
