"""Pictures of results. Each takes axes (``ax=``) or makes a figure of its own, and returns the axes.

Nothing is computed here: what is drawn was predicted, compared or swept before. matplotlib is imported when the first
picture is drawn. Colours, hatches and sizes stand in `style`; nothing is told by colour alone.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from .bars import breakdown as breakdown
    from .curves import sweep as sweep
    from .depth import profile as profile
    from .maps import flux_map as flux_map
    from .maps import section_map as section_map
    from .maps import temperature_map as temperature_map
    from .recorded import time_series as time_series
    from .section import cross_section as cross_section
    from .variants import comparison as comparison

_HOME = {
    "breakdown": ".bars",
    "comparison": ".variants",
    "cross_section": ".section",
    "flux_map": ".maps",
    "profile": ".depth",
    "section_map": ".maps",
    "sweep": ".curves",
    "temperature_map": ".maps",
    "time_series": ".recorded",
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
