"""What ipywidgets leaves out: names for screen readers on sliders, and buttons that copy a text."""

from __future__ import annotations

from importlib import resources
from typing import Any

import anywidget

__all__ = ["naming"]


class _Naming(anywidget.AnyWidget):
    _esm = resources.files(__package__).joinpath("naming.js").read_text(encoding="utf-8")


def naming() -> Any:
    """Return a widget that shows nothing and names the controls of the panel it is put in."""
    return _Naming()
