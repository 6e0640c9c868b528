"""Right-hand sides and evaluation rows: how sources and probes see the contacts, with the shadows that sources cast.

A source and a probe are the same thing, a rectangle on a level, seen from two ends. Flux through a contact consists
of a given part, the *shadow*, and polynomials that correct it. The shadow of a rectangle on the lower face of a block
is the flux that would cross a contact on the upper face if the block above had the same footprint; each mode then
stands alone,

    F̂_mn = Z_lh s_mn / (Z_hh + r + Z_above),

so that however fine a region is, only a smooth correction is left to the polynomials. With the shadow X̂ and residual
R = −(load + A X̂) of every rectangle, the influence of s on p is

    direct + G_p·X̂_s + G_s·X̂_p + X̂_p·A X̂_s − R_p·A⁻¹ R_s,

symmetric in s and p, with an error that is the product of the errors of both.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from thermostack.solvers.graph import ENVIRONMENT, Arrays, Graph
from thermostack.solvers.layered.near import rise_at_points
from thermostack.solvers.layered.patches import LOWER, UPPER, Cut, Flux, Patch
from thermostack.solvers.layered.system import Side, System, level_of

__all__ = ["Columns", "Loads", "columns"]

Float = NDArray[np.float64]
Int = NDArray[np.intp]
MEAN = (np.zeros(1, dtype=np.intp), np.zeros(1, dtype=np.intp))
MODE_SHARE = 5e-4
"""Error of what modes beyond the box contribute, as a share of it, where the face is a half-space there; where it is
not yet, the mismatch adds to it. Calibrated on the published flux-channel series (largest seen there: 0.12 %)."""
POINT_SHARE = 0.1
"""Factor of `Loads.point_mode_error`: the largest seen against finite elements was 0.06."""
Place = tuple[int, str | Cut]


@dataclass(frozen=True, eq=False)
class Columns:
    """Sources and probes in one list, each rectangle once.

    Attributes
    ----------
    places : tuple of (block, level)
        Where each column lies.
    rect : ndarray, shape (G, columns, 4)
        Rectangles in stack coordinates. [m]
    source, probe : ndarray of int
        Column of each source and of each probe.
    """

    places: tuple[Place, ...]
    rect: Float
    source: Int
    probe: Int

    @cached_property
    def groups(self) -> dict[Place, Int]:
        """Columns on each place."""
        found: dict[Place, list[int]] = {}
        for i, place in enumerate(self.places):
            found.setdefault(place, []).append(i)
        return {place: np.array(members) for place, members in found.items()}


def columns(graph: Graph, arrays: Arrays) -> Columns:
    """Collect sources and probes; a probe that averages over just what a source heats shares its column."""
    places: list[Place] = [(s.block, LOWER) for s in graph.sources]
    probes: list[Place] = [(graph.block_of_slab[p.slab], level_of(graph, p.slab, p.side)) for p in graph.probes]
    source, probe = np.arange(len(places)), np.zeros(len(probes), dtype=np.intp)
    extra: list[int] = []
    sources, rects = arrays.source_rect, arrays.probe_rect
    same = (
        (sources[:, None] == rects[:, :, None]).all(axis=(0, 3))
        if sources.size and rects.size
        else np.zeros((len(probes), len(places)), dtype=bool)
    )
    for j, place in enumerate(probes):
        known = [i for i in np.flatnonzero(same[j]) if places[i] == place]
        if known:
            probe[j] = known[0]
        else:
            probe[j] = len(source) + len(extra)
            extra.append(j)
    samples = max(len(sources), len(rects))
    rect = np.concatenate(
        [np.broadcast_to(part, (samples, *part.shape[1:])) for part in (sources, rects[:, extra])], axis=1
    )
    return Columns((*places, *(probes[j] for j in extra)), rect, source, probe)


@dataclass(frozen=True, eq=False)
class Loads:
    """All columns in one symmetry class."""

    system: System
    columns: Columns

    @cached_property
    def patches(self) -> dict[Place, Patch]:
        """Rectangles of the columns on each place."""
        blocks, rect = self.system.blocks, self.columns.rect
        return {place: blocks[place[0]].patch(place[1], rect[:, i], MEAN) for place, i in self.columns.groups.items()}

    @cached_property
    def shadows(self) -> dict[Side, Flux]:
        """Shadow of the columns on the lower face of the block below, on both sides of each contact it falls on."""
        system, found = self.system, {}
        for i in system.open:
            contact = system.graph.contacts[i]
            below, above = contact.below, contact.above
            if below == ENVIRONMENT or not system.layout.shaded[below] or (below, LOWER) not in self.columns.groups:
                continue
            lower = system.blocks[below]
            # as many modes as come through, counted in those of this symmetry class
            counts = [
                int(np.count_nonzero(axis.modes < most))
                for axis, most in zip(lower.axes, system.layout.shadow_modes[below], strict=True)
            ]
            m, n = counts
            x, y = (c[:, :, 0, :k] for c, k in zip(self.patches[below, LOWER].coefficients, counts, strict=True))
            r = system.arrays.contact_r[:, i, None, None]
            over = 0.0 if above == ENVIRONMENT else system.blocks[above].rises(LOWER, lower.gamma[:, :m, :n])[0]
            through, back = (lower.impedance(UPPER, face)[:, :m, :n] for face in (LOWER, UPPER))
            share = through / (back + r + over)
            if lower.has_mean:
                share[:, 0, 0] = 1.0
            rect = system.arrays.contact_rect[:, i]
            area = system.contact_area(i) / lower.area
            heat = x[..., :, None] * y[..., None, :] * (share * area[:, None, None])[:, None]
            sides = [side for side in system.sides if side.contact == i]
            polynomials = next(system.patches[side] for side in sides if side.level == UPPER)
            covers = system.layout.covers[i]
            for side in sides:
                block, own = system.blocks[side.block], system.patches[side]
                found[side] = Flux(block.shadow_patch(own, rect, lower, polynomials, covers, (m, n)), heat)
        return found

    def columns_of(self, side: Side) -> Int:
        """Columns that cast a shadow through the contact of a side."""
        return self.columns.groups[self.system.graph.contacts[side.contact].below, LOWER]

    @cached_property
    def through(self) -> dict[int, Float]:
        """Modes of the block below on the contact, projected back on themselves: (S, n, Mₓ, M_y). [W]"""
        found = {}
        for side, shadow in self.shadows.items():
            if side.level == UPPER:
                found[side.contact] = shadow.modal(shadow.heat.shape[2:])
        return found

    @cached_property
    def rows(self) -> Float:
        """G: how each unknown warms each column, shape (S, unknowns, columns)."""
        system = self.system
        out = np.zeros((system.arrays.samples, system.unknowns, len(self.columns.places)))
        for place, index in self.columns.groups.items():
            out[:, :, index] = system.loads(self.patches[place], place[0])
        return out

    @cached_property
    def residuals(self) -> Float:
        """R = −(G + A X̂), shape (S, unknowns, columns)."""
        out = -self.rows
        system = self.system
        for cast, shadow in self.shadows.items():
            index = self.columns_of(cast)
            for side in system.sides:
                if side.block == cast.block:
                    rise = system.blocks[side.block].response(system.patches[side], shadow)[:, 0]
                    rise = rise[..., system.picked[side.contact]].swapaxes(-1, -2)
                    out[:, system.places[side.contact], index] -= side.sign * cast.sign * rise
            whole = self.through[cast.contact]
            if cast.block in system.temperatures:
                out[:, system.temperatures[cast.block], index] -= cast.sign * whole[:, :, 0, 0]
            if cast.level == UPPER:
                own, (m, n) = system.patches[cast].coefficients, shadow.heat.shape[2:]
                x, y = own[0][..., :m], own[1][..., :n]
                means = (x @ shadow.heat @ y.swapaxes(-1, -2)).reshape(*shadow.heat.shape[:2], -1)
                means = means[..., system.picked[cast.contact]].swapaxes(-1, -2)
                out[:, system.places[cast.contact], index] -= means * self._r_over_area(cast)
        return out

    def _r_over_area(self, side: Side) -> Float:
        ratio = self.system.arrays.contact_r[:, side.contact] / self.system.contact_area(side.contact)
        return np.asarray(ratio[:, None, None])

    @cached_property
    def shadowed(self) -> Float:
        """G_p·X̂_s + G_s·X̂_p + X̂_p·A X̂_s, shape (S, columns, columns). [K/W]"""
        count = len(self.columns.places)
        once, both = np.zeros((2, self.system.arrays.samples, count, count))
        casts = list(self.shadows)
        for n, cast in enumerate(casts):
            index, shadow, block = self.columns_of(cast), self.shadows[cast], self.system.blocks[cast.block]
            for place, members in self.columns.groups.items():
                if place[0] == cast.block:
                    rise = block.response(self.patches[place], shadow)[..., 0]
                    once[:, members[:, None], index] += cast.sign * rise
            for other in casts[n:]:
                if other.block == cast.block:
                    theirs = self.columns_of(other)
                    value = cast.sign * other.sign * block.mutual(shadow, self.shadows[other])
                    both[:, index[:, None], theirs] += value
                    if other is not cast:
                        both[:, theirs[:, None], index] += value.swapaxes(-1, -2)
            if cast.level == UPPER:
                flat = shadow.heat.reshape(*shadow.heat.shape[:2], -1)
                whole = self.through[cast.contact].reshape(*flat.shape)
                both[:, index[:, None], index] += flat @ whole.swapaxes(-1, -2) * self._r_over_area(cast)
        return once + once.swapaxes(-1, -2) + both

    @cached_property
    def _is_point(self) -> NDArray[np.bool_]:
        """Whether each column has no extent on any axis in any sample."""
        rect = self.columns.rect
        point: NDArray[np.bool_] = (rect[..., :2] == rect[..., 2:]).all(axis=(0, 2))
        return point

    @cached_property
    def direct(self) -> tuple[Float, Float]:
        """Rise of each column by sources on the same block with nothing crossing its contacts, and its error.

        Returns
        -------
        rise, error : ndarray, shape (S, columns, sources)
            The error is that of the sum over modes, see `MODE_SHARE`. [K/W]
        """
        sources = self.columns.source
        rise, error = np.zeros((2, self.system.arrays.samples, len(self.columns.places), len(sources)))
        for (block, level), members in self.columns.groups.items():
            heated = self.columns.groups.get((block, LOWER), np.zeros(0, dtype=np.intp))
            heated = heated[heated < len(sources)]
            if not len(heated):
                continue
            modes = self.system.blocks[block]
            source = modes.patch(LOWER, self.columns.rect[:, heated], MEAN)
            rise[:, members[:, None], heated] = modes.between(self.patches[block, level], source)[..., 0, 0]
            if level == LOWER:
                at_points = np.flatnonzero(self._is_point[members])
                if len(at_points):
                    patch = modes.patch(LOWER, self.columns.rect[:, members[at_points]], MEAN)
                    rise[:, members[at_points, None], heated] = rise_at_points(modes, patch, source)
                share = modes.mismatch(LOWER) + MODE_SHARE
                tail = np.abs(modes.tail(self.patches[block, level], source))
                error[:, members[:, None], heated] = share[:, None, None] * tail
        return rise, error

    def contact_mode_error(self) -> Float:
        """Error of a rise by what the boxes miss at each contact, for a watt that crosses it, (S, contacts). [K/W]"""
        system = self.system
        total = np.zeros((system.arrays.samples, len(system.graph.contacts)))
        for side in system.sides:
            block = system.blocks[side.block]
            whole = system.patches[side].first()
            share = block.mismatch(side.level) + MODE_SHARE
            total[:, side.contact] += share * np.abs(block.tail(whole, whole))[:, 0, 0]
        return total

    def point_mode_error(self) -> Float:
        """Error at points, which see the modes that the box leaves out on the way through a block, (S, columns). [K/W]

        A watt through a contact of area A in the first of these modes warms its face by 1/(k γ_b A), and exp(−γ_b t) of
        that arrives at the other end of the block.
        """
        system = self.system
        total = np.zeros((system.arrays.samples, len(self.columns.places)))
        for (block, _), members in self.columns.groups.items():
            modes, points = system.blocks[block], members[self._is_point[members]]
            areas = [system.contact_area(side.contact) for side in system.sides if side.block == block]
            if len(points) and areas:
                depth = np.sum([s.thickness * np.sqrt(s.k_in_plane / s.k_through) for s in modes.slabs], axis=0)
                k = np.min(np.broadcast_arrays(*(np.sqrt(s.k_in_plane * s.k_through) for s in modes.slabs)), axis=0)
                watt = k[:, 0, 0] * modes.limit * np.min(np.broadcast_arrays(*areas), axis=0)
                total[:, points] = POINT_SHARE * (np.exp(-modes.limit * depth[:, 0, 0]) / watt)[:, None]
        return total
