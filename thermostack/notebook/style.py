"""The one style of panels and pictures: light and dark by the page's own variables, sizes, and what colours stand for.

Colours are of the palette of Okabe and Ito (2008), as in `plots.style`: nothing is told by colour alone. Text and lines
are the page's own; labels never stand on a fill.
"""

from __future__ import annotations

from functools import cache
from importlib import resources

__all__ = ["FILLS", "sheet"]

FILLS = {
    "die": "var(--tst-die)",
    "interface": "var(--tst-joint)",
    "solid": "var(--tst-solid)",
    "coolant": "var(--tst-coolant)",
    "board": "var(--tst-board)",
}
"""By what a part is."""


def sheet() -> str:
    """Return the style as an element for an HTML widget."""
    return f"<style>{_css()}</style>"


@cache
def _css() -> str:
    return resources.files(__package__).joinpath("panel.css").read_text(encoding="utf-8")
