"""Processor-package stacks that differ in kind, as graph and arrays: pure data for references and comparisons.

Every size, conductivity and resistance is invented for these studies, of the order met in practice. Lengths are given
in mm in the tables below and stored in m. Each function of `STACKS` returns `(graph, arrays, notes)`; the notes name
the slabs, contacts, sources and probes, and state a power for each source, the coolant temperature, and a law if there
is one.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from thermostack.solvers.graph import ENVIRONMENT, Arrays, Contact, Graph, Probe, Source

MM = 1e-3
COOLANT_K = 299.15
COPPER = 390.0
SILICON = 120.0
VOID_R = 9.6e-3
"""A gap of 0.25 mm of air, k about 0.026 W/(m K). [m² K/W]"""


@dataclass(frozen=True)
class Slab:
    """A slab: name, thickness [mm], conductivity through and in plane [W/(m K)], resistance to the slab above."""

    name: str
    thickness: float
    k: float
    k_in_plane: float | None = None
    r_above: float = 0.0


@dataclass(frozen=True)
class Block:
    """A run of slabs of one footprint (width in x, width in y) about a centre [mm]."""

    size: tuple[float, float]
    slabs: tuple[Slab, ...]
    centre: tuple[float, float] = (0.0, 0.0)

    @property
    def rect(self) -> tuple[float, float, float, float]:
        (a, b), (x, y) = self.size, self.centre
        return (x - a / 2, y - b / 2, x + a / 2, y + b / 2)


Rect = tuple[float, float, float, float]


def at(block: Block, corner: tuple[float, float], size: tuple[float, float]) -> Rect:
    """Return a rectangle whose corner counts from the lower left of a block. [mm]"""
    x, y = block.rect[0] + corner[0], block.rect[1] + corner[1]
    return (x, y, x + size[0], y + size[1])


def build(
    blocks: list[Block],
    contacts: list[tuple[str, int, int, Rect, float]],
    sources: list[tuple[str, int, Rect, float]],
    probes: list[tuple[str, str, int, Rect]],
    **notes: Any,
) -> tuple[Graph, Arrays, dict[str, Any]]:
    """Return graph, arrays (one sample) and notes.

    A contact is (name, below, above, rectangle, resistance), a source (name, block, rectangle, power [W]), a probe
    (name, slab name, side, rectangle).
    """
    slabs = [slab for block in blocks for slab in block.slabs]
    names = [slab.name for slab in slabs]
    graph = Graph(
        slabs_of_block=tuple(len(block.slabs) for block in blocks),
        contacts=tuple(Contact(below, above) for _, below, above, _, _ in contacts),
        sources=tuple(Source(block) for _, block, _, _ in sources),
        probes=tuple(Probe(names.index(slab), side) for _, slab, side, _ in probes),
    )
    arrays = Arrays(
        size=np.array([[b.size for b in blocks]]) * MM,
        centre=np.array([[b.centre for b in blocks]]) * MM,
        thickness=np.array([[s.thickness for s in slabs]]) * MM,
        k_through=np.array([[s.k for s in slabs]], float),
        k_in_plane=np.array([[s.k if s.k_in_plane is None else s.k_in_plane for s in slabs]], float),
        r_above=np.array([[s.r_above for s in slabs]], float),
        contact_rect=np.array([[rect for *_, rect, _ in contacts]]) * MM,
        contact_r=np.array([[r for *_, r in contacts]], float),
        source_rect=np.array([[rect for _, _, rect, _ in sources]]) * MM,
        probe_rect=np.array([[rect for *_, rect in probes]]) * MM,
    )
    notes = {
        "slabs": names,
        "contacts": [c[0] for c in contacts],
        "sources": [s[0] for s in sources],
        "probes": [p[0] for p in probes],
        "power_W": [s[3] for s in sources],
        "coolant_K": COOLANT_K,
        **notes,
    }
    return graph, arrays, notes


def with_points(
    graph: Graph, arrays: Arrays, slab: int, points: list[tuple[float, float]], side: int = 0
) -> tuple[Graph, Arrays]:
    """Return the stack with point probes added on a face of a slab; coordinates in m."""
    more = np.array([[(x, y, x, y) for x, y in points]])
    probes = (*graph.probes, *(Probe(slab, side) for _ in points))
    return replace(graph, probes=probes), replace(arrays, probe_rect=np.concatenate([arrays.probe_rect, more], axis=1))


def die_probes(block: Block, slab: str, prefix: str = "die") -> list[tuple[str, str, int, Rect]]:
    """Return the usual probes of a die: mean, centre, two corners, middle of an edge, mean of its upper face."""
    x0, y0, x1, y1 = block.rect
    x, y = block.centre
    return [
        (f"{prefix} mean", slab, 0, block.rect),
        (f"{prefix} centre", slab, 0, (x, y, x, y)),
        (f"{prefix} lower left corner", slab, 0, (x0, y0, x0, y0)),
        (f"{prefix} upper right corner", slab, 0, (x1, y1, x1, y1)),
        (f"{prefix} middle of right edge", slab, 0, (x1, y, x1, y)),
        (f"{prefix} upper face mean", slab, 1, block.rect),
    ]


def face_probes(block: Block, slab: str, below: Rect) -> list[tuple[str, str, int, Rect]]:
    """Return the usual probes of a lid or plate: means of lower face over `below`, of upper face, a point on top."""
    x, y = block.centre
    return [
        (f"{slab} lower face over contact", slab, 0, below),
        (f"{slab} upper face mean", slab, 1, block.rect),
        (f"{slab} upper face centre", slab, 1, (x, y, x, y)),
    ]


def lid_and_plate(
    die: Block,
    *,
    joint: list[tuple[str, Rect, float]],
    sources: list[tuple[str, Rect, float]] | None = None,
    power: float = 200.0,
    lid: Block | None = None,
    plate: Block | None = None,
    paste_r: float = 1.2e-5,
    h: float = 35e3,
    wetted: Rect | None = None,
    board_r: float | None = None,
    **notes: Any,
) -> tuple[Graph, Arrays, dict[str, Any]]:
    """Return a die (one slab named *die*) under a lid under a cold plate; the lid covers the die, the plate the lid."""
    lid = lid or Block((36.0, 36.0), (Slab("lid", 2.4, COPPER),))
    plate = plate or Block((50.0, 50.0), (Slab("cold plate", 3.0, COPPER),))
    contacts = [(name, 0, 1, rect, r) for name, rect, r in joint]
    contacts += [("paste", 1, 2, lid.rect, paste_r), ("coolant", 2, ENVIRONMENT, wetted or plate.rect, 1 / h)]
    if board_r is not None:
        contacts.append(("board", ENVIRONMENT, 0, die.rect, board_r))
    regions = [(name, 0, rect, watt) for name, rect, watt in sources or []]
    whole = [("die", 0, die.rect, power)]
    probes = [
        *die_probes(die, "die"),
        *[(f"{name} mean", "die", 0, rect) for name, _, rect, _ in regions],
        *face_probes(lid, lid.slabs[0].name, die.rect),
        *face_probes(plate, plate.slabs[0].name, lid.rect),
    ]
    return build([die, lid, plate], contacts, whole + regions, probes, **notes)


def solder_lid():
    die = Block((12.4, 17.6), (Slab("die", 0.72, SILICON),))
    return lid_and_plate(
        die, joint=[("solder", die.rect, 5e-6)], power=230.0, title="solder under a lid, centred, uniform power"
    )


def bare_die():
    die = Block((10.8, 16.2), (Slab("die", 0.78, SILICON),))
    plate = Block((50.0, 50.0), (Slab("cold plate", 3.0, COPPER),))
    return build(
        [die, plate],
        [("liquid metal", 0, 1, die.rect, 1.6e-6), ("coolant", 1, ENVIRONMENT, plate.rect, 1 / 35e3)],
        [("die", 0, die.rect, 180.0)],
        [*die_probes(die, "die"), *face_probes(plate, "cold plate", die.rect)],
        title="bare die under a cold plate, liquid metal",
    )


def region_map():
    die = Block((12.0, 17.0), (Slab("die", 0.72, SILICON),), (3.1, -2.3))
    core = [
        (f"core {2 * i + j}", at(die, (0.9 + 6.2 * j, 1.1 + 3.4 * i), (3.9, 2.6)), 14.0 + 3 * i - 2 * j)
        for i in range(3)
        for j in range(2)
    ]
    regions = [
        *core,
        ("vector unit", at(die, (1.6, 1.5), (1.5, 1.2)), 9.0),  # lies wholly in core 0
        ("shared cache", at(die, (3.2, 0.0), (5.4, 17.0)), 12.0),  # overlaps every core
        ("memory edge", at(die, (0.0, 14.6), (12.0, 2.4)), 11.0),  # reaches three edges of the die, overlaps the cache
    ]
    lid = Block((38.0, 37.0), (Slab("lid", 2.2, 385.0),))
    return lid_and_plate(
        die, joint=[("solder", die.rect, 6e-6)], sources=regions, power=25.0, lid=lid,
        title="off-centre die with nine power regions, some overlapping",
    )  # fmt: skip


def three_dies():
    dies = [
        Block((9.0, 10.5), (Slab("compute die", 0.72, SILICON),), (-9.5, 6.2)),
        Block((10.2, 8.0), (Slab("graphics die", 0.66, 118.0),), (-7.4, -8.3)),
        Block((14.0, 16.0), (Slab("memory die", 0.80, 125.0),), (9.8, 0.7)),
    ]
    joint = [5e-6, 1.1e-5, 8e-6]
    lid = Block((46.0, 42.0), (Slab("lid", 2.6, COPPER),))
    plate = Block((60.0, 56.0), (Slab("cold plate", 3.5, COPPER),), (1.5, -1.0))
    hot = at(dies[0], (1.2, 5.6), (3.0, 3.6))
    names = ["compute die", "graphics die", "memory die"]
    contacts = [(f"joint of {n}", i, 3, d.rect, r) for i, (n, d, r) in enumerate(zip(names, dies, joint, strict=True))]
    contacts += [("paste", 3, 4, lid.rect, 1e-5), ("coolant", 4, ENVIRONMENT, plate.rect, 1 / 28e3)]
    sources = [(n, i, d.rect, p) for i, (n, d, p) in enumerate(zip(names, dies, [75.0, 60.0, 45.0], strict=True))]
    sources.append(("hot region", 0, hot, 30.0))
    probes = [p for n, d in zip(names, dies, strict=True) for p in die_probes(d, n, n)]
    probes.append(("hot region mean", "compute die", 0, hot))
    probes += [(f"lid lower face over {n}", "lid", 0, d.rect) for n, d in zip(names, dies, strict=True)]
    probes += [*face_probes(lid, "lid", lid.rect)[1:], *face_probes(plate, "cold plate", lid.rect)]
    return build([*dies, lid, plate], contacts, sources, probes, title="three dies of different size under one lid")


def narrowing():
    die = Block((14.0, 12.0), (Slab("die", 0.72, SILICON),))
    lid = Block((40.0, 40.0), (Slab("lid", 2.0, COPPER),))
    plate = Block((30.0, 26.0), (Slab("cold plate", 2.5, COPPER),), (1.0, -0.5))
    head = Block((22.0, 20.0), (Slab("finned head", 2.0, 360.0),), (0.5, 0.8))
    return build(
        [die, lid, plate, head],
        [
            ("solder", 0, 1, die.rect, 5e-6),
            ("paste", 1, 2, plate.rect, 1.2e-5),
            ("braze", 2, 3, head.rect, 3e-6),
            ("coolant", 3, ENVIRONMENT, head.rect, 1 / 60e3),
        ],
        [("die", 0, die.rect, 150.0)],
        [
            *die_probes(die, "die"),
            *face_probes(lid, "lid", die.rect),
            ("lid upper face over contact", "lid", 1, plate.rect),
            *face_probes(plate, "cold plate", plate.rect)[1:],
            ("cold plate upper face over contact", "cold plate", 1, head.rect),
            *face_probes(head, "finned head", head.rect),
        ],
        title="cold plate smaller than the lid, head smaller than the cold plate",
    )


def part_wetted():
    die = Block((12.4, 17.6), (Slab("die", 0.72, SILICON),), (-1.5, 2.0))
    return lid_and_plate(
        die, joint=[("solder", die.rect, 5e-6)], power=200.0, h=50e3, wetted=(-14.0, -17.0, 18.0, 11.0),
        title="cold plate wetted over a smaller, off-centre rectangle",
    )  # fmt: skip


def anisotropic():
    die = Block((12.4, 17.6), (Slab("die", 0.72, SILICON),), (2.0, 0.0))
    lid = Block(
        (38.0, 40.0),
        (
            Slab("lid", 0.6, COPPER),
            Slab("vapour core", 1.6, 90.0, 6000.0),
            Slab("lid skin", 0.6, COPPER, r_above=4e-6),
            Slab("graphite sheet", 0.1, 8.0, 1200.0),
        ),
    )
    hot = at(die, (8.0, 11.0), (3.0, 4.5))
    graph, arrays, notes = lid_and_plate(
        die, joint=[("solder", die.rect, 5e-6)], sources=[("hot region", hot, 60.0)], power=140.0, lid=lid,
        title="layered lid that conducts better in plane than through it",
    )  # fmt: skip
    extra = [(2, 1), (3, 0), (4, 1)]
    more = np.array([[die.rect] * 3]) * MM
    names = ["vapour core upper face over die", "lid skin lower face over die", "graphite upper face over die"]
    notes["probes"] = [*notes["probes"], *names]
    graph = replace(graph, probes=(*graph.probes, *(Probe(s, side) for s, side in extra)))
    return graph, replace(arrays, probe_rect=np.concatenate([arrays.probe_rect, more], axis=1)), notes


def local_conductivity():
    die = Block((12.4, 17.6), (Slab("die", 0.72, 115.0),))
    hot = at(die, (2.2, 9.4), (3.2, 4.6))
    return lid_and_plate(
        die, joint=[("solder", die.rect, 5e-6)], sources=[("hot region", hot, 70.0)], power=150.0,
        title="silicon whose conductivity follows the local temperature",
        law={"slab": "die", "k_ref": 148.0, "T_ref_K": 300.0, "exponent": -1.366,
             "equation": "k = k_ref (T / T_ref)^exponent, both ways; the arrays hold a fixed k to start from"},
    )  # fmt: skip


def corner_void():
    die = Block((12.4, 17.6), (Slab("die", 0.72, SILICON),))
    x0, y0, x1, y1 = die.rect
    xv, yv = x1 - 3.1, y1 - 4.2
    joint = [
        ("void", (xv, yv, x1, y1), VOID_R),
        ("solder left", (x0, y0, xv, y1), 5e-6),
        ("solder right", (xv, y0, x1, yv), 5e-6),
    ]
    above = (xv, yv, x1, y1)
    return lid_and_plate(
        die, joint=joint, sources=[("region at void", above, 15.0)], power=200.0, title="void in a corner of the joint"
    )


def central_void():
    die = Block((12.4, 17.6), (Slab("die", 0.72, SILICON),), (0.8, -1.2))
    x0, y0, x1, y1 = die.rect
    a, b, c, d = void = at(die, (4.0, 6.5), (3.5, 3.0))
    joint = [
        ("void", void, VOID_R),
        ("solder left", (x0, y0, a, y1), 5e-6),
        ("solder right", (c, y0, x1, y1), 5e-6),
        ("solder below", (a, y0, c, b), 5e-6),
        ("solder above", (a, d, c, y1), 5e-6),
    ]
    return lid_and_plate(
        die, joint=joint, sources=[("region at void", void, 12.0)], power=200.0, title="void in the middle of the joint"
    )


def board_path():
    die = Block((12.4, 17.6), (Slab("die", 0.72, SILICON),))
    area = 12.4 * 17.6 * MM**2
    return lid_and_plate(
        die, joint=[("solder", die.rect, 5e-6)], sources=[("left half", at(die, (0.0, 0.0), (6.2, 17.6)), 60.0)],
        power=120.0, h=8e3, board_r=20.0 * area, title="part of the heat leaves by the board, 20 K/W under the die",
    )  # fmt: skip


def perfect_step():
    die = Block((11.0, 15.0), (Slab("die", 0.75, SILICON),))
    plate = Block((44.0, 44.0), (Slab("cold plate", 4.0, COPPER),))
    return build(
        [die, plate],
        [("perfect contact", 0, 1, die.rect, 0.0), ("coolant", 1, ENVIRONMENT, plate.rect, 1 / 30e3)],
        [("die", 0, die.rect, 150.0)],
        [*die_probes(die, "die"), *face_probes(plate, "cold plate", die.rect)],
        title="stepped pair in perfect contact (strongest edge singularity)",
    )


def delaminated_strip():
    die = Block((12.4, 17.6), (Slab("die", 0.72, SILICON),), (-2.0, 1.0))
    x0, y0, x1, y1 = die.rect
    xs = x1 - 1.1
    strip = (xs, y0, x1, y1)
    joint = [("delaminated", strip, 9.6e-4), ("solder", (x0, y0, xs, y1), 5e-6)]
    return lid_and_plate(
        die, joint=joint, sources=[("strip", strip, 10.0)], power=200.0, title="joint delaminated along one edge"
    )


STACKS = {
    f.__name__: f
    for f in (
        solder_lid, bare_die, region_map, three_dies, narrowing, part_wetted, anisotropic, local_conductivity,
        corner_void, central_void, board_path, perfect_step, delaminated_strip,
    )
}  # fmt: skip
