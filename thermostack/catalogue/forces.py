"""Published limits of the force on a package, with provenance."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from thermostack.catalogue.material import Provenance

__all__ = ["FORCE_LIMITS", "ForceLimit", "force_limit"]


@dataclass(frozen=True)
class ForceLimit:
    """A limit that the maker of some part states; the limit of one's own part counts.

    Attributes
    ----------
    what : str
        Of what, in words.
    on : {"lid", "die"}
        Whether the mount presses on a lid that is fixed to the package, or on dies.
    kind : {"least", "most"}
    force, pressure : float or None
        One of the two. [N], [Pa]
    stiffened : bool
        Whether it holds for a board with a stiffener only.
    lasting : bool
        Whether it holds for years; otherwise for a short time only.
    provenance : str
        As in `Material`.
    source : str
    """

    what: str
    on: Literal["lid", "die"]
    kind: Literal["least", "most"]
    force: float | None = None
    pressure: float | None = None
    stiffened: bool = False
    lasting: bool = True
    provenance: Provenance = "confirmed"
    source: str = "a maker's design guide or data sheet, looked up"

    def force_on(self, area: float) -> float:
        """Return the limit as a force, over an area [m²] where it is a pressure. [N]"""
        if self.force is not None:
            return self.force
        assert self.pressure is not None  # one of the two is given
        return self.pressure * area


FORCE_LIMITS: tuple[ForceLimit, ...] = (
    ForceLimit("lidded part, static, at least", "lid", "least", 44.0),
    ForceLimit("lidded part, preload window, at least", "lid", "least", 98.0),
    ForceLimit("lidded part, static and preload window, at most", "lid", "most", 222.0),
    ForceLimit("lidded part on a stiffened board, at most", "lid", "most", 288.0, stiffened=True),
    ForceLimit("bare-die chipset, at least", "die", "least", 39.0),
    ForceLimit("lidless flip-chip, lasting", "die", "most", 45.0),
    ForceLimit("bare-die chipset, static, at most", "die", "most", 67.0),
    ForceLimit("lidless flip-chip, for a short time", "die", "most", 70.0, lasting=False),
    ForceLimit("lidless flip-chip, never to be exceeded", "die", "most", 80.0),
    ForceLimit("bare-die module, at most", "die", "most", pressure=103e3),
)


def force_limit(what: str) -> ForceLimit:
    """Return the limit of these words.

    Raises
    ------
    KeyError
        There is none.
    """
    return {limit.what: limit for limit in FORCE_LIMITS}[what]
