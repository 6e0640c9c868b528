"""Plan a test before the mod: mounts, logs, soak, what to hold fixed, what to record."""

from .checklist import Checklist
from .making import plan
from .result import Plan

__all__ = ["Checklist", "Plan", "plan"]
