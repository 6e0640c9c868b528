"""What is modelled: parts, stacks, mods and files. Descriptions only: no numerics."""

from __future__ import annotations

from importlib import import_module
from typing import Any

__all__ = ["mods"]


def __getattr__(name: str) -> Any:
    if name not in __all__:
        raise AttributeError(f"module 'thermostack.stack' has no attribute {name!r}")
    return import_module(f".{name}", __name__)  # when it is first used: the import of the package stays light
