"""Check of heights and mount: a result with tables, sentences and cautions, and what it tells the joints."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import pint
from numpy.typing import NDArray

from ..cautions.caution import Caution, as_html, as_text, ordered
from ..errors import InputError
from ..laws.heights import mount_pressure, spring_force
from ..stack.inputs import class_row
from ..stack.mods import contact_area, pressure_of
from ..stack.package import Mount, Package
from ..stack.parts import Interface
from ..stack.roles import die_joints, joint_of_cold_plate, lid
from ..stack.stack import Stack
from ..tables import Cell, Column, Table
from ..units import Value, convert, quantity, show
from .heights import Chain, Height, bare_chain, bond_line_of, lidded_chain
from .pressing import Bending, Kept, bending_of, limits_of
from .rim import Rim, rims_of
from .warnings import cautions_of

__all__ = ["MountCheck", "mount_check"]


@dataclass(frozen=True, eq=False)
class MountCheck:
    """What heights and mount make of a stack. Made by `mount_check`.

    Attributes
    ----------
    described : Stack
    package : Package
    mount : Mount or None
    """

    described: Stack
    package: Package
    mount: Mount | None

    # -- heights

    @property
    def has_lid(self) -> bool:
        """Whether a lid lies under the cold plate."""
        return bool(lid(self.described))

    @cached_property
    def rims(self) -> tuple[Rim, ...]:
        """What the lid leaves over each die; empty where pocket or adhesive are not known, or there is no lid."""
        return rims_of(self.described, self.package) if self.has_lid else ()

    @property
    def on_rim(self) -> bool:
        """Whether the lid stands on its rim, with all heights in their middle."""
        return bool(self.rims) and all(rim.stands != "on the die" for rim in self.rims)

    @property
    def on_die(self) -> bool:
        """Whether all force goes through the dies: no lid, or a loose one that does not stand on its rim."""
        return not self.has_lid or (self.package.lid == "loose" and not self.on_rim)

    @cached_property
    def plane(self) -> Chain:
        """Heights up to what the cold plate's joint lies on: the contact plane."""
        if self.has_lid:
            return lidded_chain(self.described, self.package, on_rim=self.on_rim)
        return bare_chain(self.described, self.package)

    @cached_property
    def bare_plane(self) -> Chain:
        """The same on the bare die, without the lid."""
        return bare_chain(self.described, self.package)

    @cached_property
    def face(self) -> Chain:
        """Heights up to the face of the cold plate: the contact plane and the joint on it."""
        return self.plane.plus(self._top_joint)

    @cached_property
    def _top_joint(self) -> tuple[Height, ...]:
        joint = joint_of_cold_plate(self.described)[0]
        found = bond_line_of(self.described, joint)
        return () if found is None else (Height(joint.name, found[0], source=found[1]),)

    @property
    def stand_off(self) -> pint.Quantity:
        """Contact plane above the board (above the underside of the substrate where the socket is not known)."""
        return quantity(self.plane.nominal, "length")

    @cached_property
    def heights(self) -> Table:
        """Return the stand-off: a row a height, then the sums with their tolerances, with lid and without."""
        chains = {"as described": self.plane, "bare die": self.bare_plane} if self.has_lid else {"bare": self.plane}
        names = list(dict.fromkeys(h.name for chain in chains.values() for h in chain.heights))
        columns = [Column("height", "height")]
        columns += [Column(f"{n}_mm".replace(" ", "_"), f"{n} [mm]", ".3f") for n in chains]
        columns += [Column("tolerance_mm", "± [mm]", ".3f"), Column("source", "source")]
        rows: list[tuple[Cell, ...]] = []
        for name in names:
            of = [next((h for h in chain.heights if h.name == name), None) for chain in chains.values()]
            first = next(h for h in of if h is not None)
            shown = [None if h is None else h.sign * h.value.si * 1e3 for h in of]
            rows.append((name, *shown, first.tolerance * 1e3, first.source))
        every = list(chains.values())
        rows.append(("contact plane", *(c.nominal * 1e3 for c in every), None, ""))
        rows.append(("± worst case", *(c.worst * 1e3 for c in every), None, "all off to one side"))
        rows.append(("± root sum of squares", *(c.rss * 1e3 for c in every), None, "independent"))
        for which, name in enumerate(("95 % from", "95 % to")):
            rows.append((name, *(c.interval()[which] * 1e3 for c in every), None, f"{len(every[0].drawn)} draws"))
        return Table(tuple(columns), tuple(rows), title=f"Stand-off, {self.described.label}", notes=self._height_notes)

    @property
    def _height_notes(self) -> tuple[str, ...]:
        notes = ["± is half the width of limits, or three standard uncertainties"]
        if self.package.socket is None:
            notes.append("the socket's height is not known: heights count from the underside of the substrate")
        unknown = dict.fromkeys((*self.plane.unknown, *self.bare_plane.unknown))
        if unknown:
            notes.append("not counted, with no known bond line: " + ", ".join(unknown))
        return tuple(notes)

    # -- reach

    @cached_property
    def _over(self) -> Chain | None:
        """How far the cold plate's face lies above the lowest place at which the mount still presses."""
        m = self.mount
        if m is None or m.made_for is None:
            return None
        return self.face.plus([Height("made for", m.made_for, -1), Height("travel", m.travel)])

    @property
    def gap(self) -> pint.Quantity | None:
        """How far the mount is from touching; below zero what is left of its travel; None where it is not told."""
        return None if self._over is None else quantity(-self._over.nominal, "length")

    @property
    def reaches(self) -> str:
        """Always, usually (but in the worst case), hardly (not by root sum of squares), never; empty if not told."""
        over = self._over
        if over is None:
            return ""
        if over.nominal - over.worst >= 0:
            return "always"
        if over.nominal + over.worst < 0:
            return "never"
        return "usually" if over.nominal - over.rss >= 0 else "hardly"

    # -- force

    @cached_property
    def force(self) -> Value | None:
        """What the mount presses with at this height, with its standard uncertainty. [N]"""
        if self.mount is None:
            return None
        drawn = self._forces
        if drawn is None:
            return self.mount.force
        middle, sd = float(self._force_at(np.array([self.face.nominal]))[0]), float(np.std(drawn))
        sd = sd if sd > 1e-6 * max(middle, 1.0) else 0.0
        return Value(float(f"{middle:.6g}"), "N", "force", "normal" if sd else "exact", float(f"{sd:.4g}"))

    @property
    def _rate(self) -> float:
        m = self.mount
        assert m is not None  # asked for a mount
        if m.rate is not None:
            return m.rate.si
        return m.force.si / m.travel.si if m.travel.si > 0 else 0.0

    def _force_at(self, height: NDArray[np.float64]) -> NDArray[np.float64]:
        m = self.mount
        assert m is not None
        assert m.made_for is not None
        pressed = spring_force(m.force.si, self._rate, height, m.made_for.si)
        return np.where(height < m.made_for.si - m.travel.si, 0.0, pressed)

    @cached_property
    def _forces(self) -> NDArray[np.float64] | None:
        """Samples of the force; None where it does not depend on the height. [N]"""
        m = self.mount
        if m is None or m.made_for is None:
            return None
        scatter = 1 + (m.force.standard_uncertainty / m.force.si) * np.random.default_rng(7).standard_normal(
            len(self.face.drawn)
        )
        return self._force_at(self.face.drawn) * np.maximum(scatter, 0.0)

    @cached_property
    def die_area(self) -> float:
        """Area of all dies. [m²]"""
        return math.fsum(die.footprint[0].si * die.footprint[1].si for die in self.described.dies)

    def _pressed(self) -> Iterator[tuple[Interface, float, float, str]]:
        """Yield each joint that the force passes, the area, the least share of the force, and why."""
        stack = self.described
        top = joint_of_cold_plate(stack)
        for joint in top:
            yield joint, contact_area(stack, top), 1.0, "all force"
        if self.has_lid:
            for joint in die_joints(stack):
                if self.package.lid == "glued":
                    yield joint, self.die_area, 0.0, "glued rim: its share is not known"
                elif self.on_rim:
                    yield joint, self.die_area, 0.0, "the rim carries it"
                else:
                    yield joint, self.die_area, 1.0, "loose lid: all force on the die"

    @cached_property
    def pressures(self) -> Table:
        """Return a row a joint: area, and mean pressure of the force that surely and at most goes through it."""
        rows: list[tuple[Cell, ...]] = []
        force = 0.0 if self.force is None else self.force.si
        for joint, area, share, why in self._pressed() if self.force is not None else ():
            most = 0.0 if why == "the rim carries it" else 1.0
            low, high = (float(mount_pressure(force * s, area)) / 1e3 for s in (share, most))
            rows.append((joint.name, area * 1e6, force, low, high, why))
        columns = (
            Column("joint", "joint"),
            Column("area_mm2", "area [mm²]", ".0f"),
            Column("force_N", "force [N]", ".0f"),
            Column("least_kPa", "pressure, least [kPa]", ".0f"),
            Column("most_kPa", "most [kPa]", ".0f"),
            Column("why", "how it is carried"),
        )
        return Table(columns, tuple(rows), title="Pressure", notes=("means; a tilted plate presses harder at an edge",))

    @cached_property
    def kept(self) -> tuple[Kept, ...]:
        """Published limits beside the force; empty where the mount does not press."""
        if self.force is None or self.force.si == 0:
            return ()
        return limits_of(self.on_die, self.force.si, self.die_area, self.package.stiffened)

    @cached_property
    def limits(self) -> Table:
        """Return a row a published limit, with its provenance, and whether it is kept."""

        def row(k: Kept) -> tuple[Cell, ...]:
            source = f"{k.limit.source} ({k.limit.provenance})"
            return k.limit.what, k.force, k.given, "kept" if k.kept else "not kept", source

        columns = (
            Column("limit", "limit"),
            Column("limit_N", "limit [N]", ".0f"),
            Column("force_N", "force [N]", ".0f"),
            Column("kept", "kept?"),
            Column("source", "source"),
        )
        notes = ("limits of other makers' parts that were found: the limit of your own part counts",)
        return Table(columns, tuple(map(row, self.kept)), title="Published force limits", notes=notes)

    @cached_property
    def bending(self) -> Bending | None:
        """How far the substrate bends with all force on the dies, at most; None without window or force."""
        return (
            None
            if self.force is None or self.force.si == 0
            else bending_of(self.described, self.package, self.force.si)
        )

    # -- what it tells the joints

    @cached_property
    def feeds(self) -> Mapping[str, Value]:
        """Return what the joints can be described with, by path: pressure, and the gap that a rim leaves."""
        found: dict[str, Value] = {}
        if self.force is not None:
            for joint, area, share, _ in self._pressed():
                if share == 1.0 and self.force.si > 0 and _takes_pressure(self.described, joint):
                    found[f"{joint.name}.pressure"] = pressure_of(self.force, area)
        for rim in self.rims:
            joint = next(j for j in die_joints(self.described) if j.name == rim.joint)
            if joint.resistance is not None or rim.stands == "on its rim, joint not filled":
                continue
            if joint.bond_line is None and joint.pressure is None and f"{rim.joint}.pressure" not in found:
                known = bond_line_of(self.described, joint)
                if known is None:
                    continue
                found[f"{rim.joint}.bond_line"] = known[0]
            found[f"{rim.joint}.gap"] = rim.stop
        return found

    @property
    def stack(self) -> Stack:
        """The stack with pressure and gap in its joints.

        Raises
        ------
        InputError
            The lid leaves a gap that its joint does not fill: no number stands for that.
        """
        open_ = [rim for rim in self.rims if rim.stands == "on its rim, joint not filled"]
        if open_:
            raise InputError(open_[0].text, where=f"{open_[0].joint}.gap", expected="a lid whose joint is filled")
        if self.reaches == "never":
            raise InputError("the cooler does not reach", where="mount", expected=f"a mount {self._short()} lower")
        return self.described.change(self.feeds) if self.feeds else self.described

    def _short(self) -> str:
        assert self._over is not None
        return show(-self._over.nominal, "length", 3)

    # -- words

    @cached_property
    def sentences(self) -> tuple[str, ...]:
        """What was found, in words."""
        return tuple(self._sentences())

    def _sentences(self) -> Iterator[str]:
        plane, bare = self.plane, self.bare_plane
        above = "the board" if self.package.socket is not None else "the underside of the substrate"
        yield (
            f"The contact plane lies {_mm(plane.nominal)} above {above}, ± {_mm(plane.worst)} worst case, "
            f"± {_mm(plane.rss)} by root sum of squares."
        )
        if self.has_lid:
            area = self.die_area
            smaller = contact_area(self.described, joint_of_cold_plate(self.described)) / area
            yield (
                f"Without the lid it lies {_mm(plane.nominal - bare.nominal)} lower, at {_mm(bare.nominal)}, and the "
                f"contact is {smaller:.1f} times smaller."
            )
        yield from (rim.text for rim in self.rims)
        if self.has_lid and not self.rims:
            yield (
                "Whether the lid stands on its rim is not told: the depth of its pocket"
                + (" is" if self.package.cavity is None else " is known, the adhesive's bond line is")
                + " not given."
            )
        yield from self._reach_sentences()
        if self.bending is not None:
            sag, across = (show(x, "bond line", 3) for x in (self.bending.sag, self.bending.across))
            yield (
                f"With all force on the dies the substrate sags by at most {sag} in its window, {across} of it across "
                "the dies; one of half the thickness bends eight times as far."
            )

    def _reach_sentences(self) -> Iterator[str]:
        over, m, force = self._over, self.mount, self.force
        if m is None or force is None:
            return
        if over is None:
            yield "Whether the cooler reaches is not told: give the height that the mount is made for."
            return
        tolerance = f"± {_mm(over.worst)} worst case, ± {_mm(over.rss)} root sum of squares"
        if over.nominal < 0:
            yield (
                f"The cooler does not reach: {_mm(-over.nominal)} are missing ({tolerance}). Shorten the posts, or put "
                "a spacer between that conducts as copper does; springs alone do not help."
            )
            return
        spare = f"it has {_mm(over.nominal)} of travel left ({tolerance})"
        yield {
            "always": f"The cooler reaches in any case: {spare}.",
            "usually": f"The cooler reaches, if not all heights are off to one side: {spare}.",
            "hardly": f"The cooler may not reach: {spare}, less than the tolerance by root sum of squares.",
        }[self.reaches]
        assert m.made_for is not None  # over is known
        off = self.face.nominal - m.made_for.si
        rate = "" if m.rate is not None or m.travel.si == 0 else " (rate assumed: relaxed at the end of the travel)"
        yield f"It presses with {force}, {_mm(abs(off))} {'above' if off >= 0 else 'below'} what it is made for{rate}."
        if m.up is not None and off > m.up.si:
            yield f"It goes {_mm(off - m.up.si)} beyond the end of its springs or screws: it presses harder than told."

    @cached_property
    def cautions(self) -> tuple[Caution, ...]:
        """What to be careful about, the gravest first; beside those of the stack and the mod."""
        return ordered(cautions_of(self))

    # -- showing

    def _tables(self) -> list[Table]:
        return [self.heights, *([self.pressures, self.limits] if self.force is not None else [])]

    def to_dict(self) -> dict[str, Any]:
        """Return all tables as plain numbers, with units in the names."""
        return {
            "heights": self.heights.to_dict(),
            "pressures": self.pressures.to_dict(),
            "limits": self.limits.to_dict(),
            "feeds": {path: str(value) for path, value in self.feeds.items()},
            "sentences": list(self.sentences),
            "cautions": [c.text for c in self.cautions],
        }

    def to_pandas(self) -> Any:
        """Return the heights as a pandas DataFrame."""
        return self.heights.to_pandas()

    def __str__(self) -> str:
        tables = "\n\n".join(str(table) for table in self._tables())
        return "\n\n".join([*self.sentences, tables, as_text(self.cautions)])

    def _repr_html_(self) -> str:
        import html

        said = "".join(f"<p>{html.escape(sentence)}</p>" for sentence in self.sentences)
        return said + "".join(table._repr_html_() for table in self._tables()) + as_html(self.cautions)


def _takes_pressure(stack: Stack, joint: Interface) -> bool:
    """Tell whether a joint's bond line follows from its pressure."""
    if joint.resistance is not None or joint.bond_line is not None:
        return False
    row = class_row(stack, joint)
    return joint.yield_stress is not None or (row is not None and row.yield_stress is not None)


def _mm(metres: float) -> str:
    return f"{convert(metres, 'length'):.2f} mm"


def mount_check(stack: Stack, package: Package, mount: Mount | None = None) -> MountCheck:
    """Check the heights of a package and the mount of its cooler.

    Parameters
    ----------
    stack : Stack
        As it is to be mounted: after a relid, or on the bare die.
    package : Package
        Heights of substrate, socket, bumps and the lid's pocket.
    mount : Mount, optional
        Force and reach of the cooler.

    Returns
    -------
    MountCheck
        ``print`` it; ``.stack`` carries pressure and gap on into its joints.

    Raises
    ------
    InputError
        `mount` tells what height it is made for and `package` does not tell the socket's.
    """
    for given, kind, where in ((stack, Stack, "stack"), (package, Package, "package")):
        if not isinstance(given, kind):
            raise InputError(f"{given!r} is no {kind.__name__}", where=where, expected=f"a {kind.__name__}")
    if mount is not None and mount.made_for is not None and package.socket is None:
        raise InputError(
            "the height of the socket is not known, from which the mount's counts",
            where="package.socket",
            expected="for example socket='2.4 mm (limits 0.15 mm)'",
        )
    return MountCheck(stack, package, mount)
