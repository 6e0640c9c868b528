"""Cautions that go with a stack or a mod, and how they are shown.

They follow from what the stack contains, what the mod opens or takes out, and the temperatures that were predicted.
They stand beside a result and replace nothing: see `DEFER`.
"""

from thermostack.cautions.caution import DEFER, Caution, Kind, as_html, as_text
from thermostack.cautions.rules import cautions

__all__ = ["DEFER", "Caution", "Kind", "as_html", "as_text", "cautions"]
