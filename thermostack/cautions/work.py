"""Cautions about the work: opening, solder, lids, heights, bare dies."""

from __future__ import annotations

from collections.abc import Iterator

from thermostack.catalogue import material
from thermostack.catalogue.forces import force_limit
from thermostack.cautions.caution import MEMORY, PRACTICE, Caution
from thermostack.cautions.scene import Rule, Scene
from thermostack.cautions.words import celsius, listed_as, named, verb

__all__ = ["RULES"]


STAND_OFF = 1e-4
"""Change of height that a mount is not expected to take up unseen. [m]"""
CAPACITOR = 0.6e-3
"""Tallest usual capacitor beside a die. [m]"""
BUMPS = 0.07e-3
"""Middle of the usual bump height, 0.06 to 0.08 mm. [m]"""
LASTING, SHORT, NEVER, LEAST, MOST, MODULE = (
    force_limit(what).force_on(1.0)  # a pressure is its force on 1 m²
    for what in (
        "lidless flip-chip, lasting",
        "lidless flip-chip, for a short time",
        "lidless flip-chip, never to be exceeded",
        "bare-die chipset, at least",
        "bare-die chipset, static, at most",
        "bare-die module, at most",
    )
)
"""Makers' limits for bare dies. [N], the last in Pa"""


def _opening(s: Scene) -> Iterator[Caution]:
    if s.mod is None:
        return
    yield Caution(
        "power-off", "person", (),
        "Before anything is opened switch the machine off, unplug it, and wait until it is discharged: hold the power "
        "button for some seconds with the plug out. A supply unit is never opened.",
        PRACTICE, 90,
    )  # fmt: skip
    touched = (*s.mod.removed, *s.mod.opened)
    yield Caution(
        "state-before", "result", touched,
        f"The mod takes out or makes anew {listed_as(touched)}, and the state before can never be measured again. "
        "Record it first: steady logs of every core, of coolant in and out close to the block and of power (with a "
        "second meter if there is one) at two power levels, with fans, pump, clocks and ambient fixed and noted; some "
        "remounts where the joint allows; photographs and the contact print when it is opened.",
        PRACTICE, 99,
    )  # fmt: skip


def _remounting(s: Scene) -> Iterator[Caution]:
    joints = [s.items[name] for name in (s.mod.opened if s.mod else ()) if not s.items[name].fixed]
    if not joints:
        return
    bad = [i.row.bad_mounts.typical for i in joints if i.row is not None and i.row.bad_mounts is not None]
    odds = f" About one mount in {round(1 / max(bad))} of such a joint comes out bad (from memory)." if bad else ""
    yield Caution(
        "remount", "result", named(joints),
        f"The mod makes {listed_as(joints)} anew, and every making of a joint comes out different: take 3 to 5 "
        f"remounts before and after, and look at the contact print each time.{odds}",
        PRACTICE, 50,
    )  # fmt: skip


def _solder_removal(s: Scene) -> Iterator[Caution]:
    if s.mod is None or not s.mod.solder:
        return
    melts = f" (it melts at {celsius(s.mod.melts_at)})" if s.mod.melts_at is not None else ""
    names = listed_as(s.mod.solder)
    bumps = material("tin-silver-copper solder").solidus
    assert bumps is not None  # solder has one; the data's own test checks it
    yield Caution(
        "solder-heat", "person", s.mod.solder,
        f"Melting {names}{melts} burns skin and gives off fumes of metal, flux and glue: work under extraction or in "
        "the open, with heat-proof gloves and eye protection. An oven used for it is never used for food again.",
        PRACTICE, 80,
    )  # fmt: skip
    yield Caution(
        "solder-dust", "person", s.mod.solder,
        f"Dust from scraping or sanding {names} is toxic, indium's above all: do it wet, with gloves and a dust mask, "
        "wipe up, wash hands.",
        f"material data (indium dust and fume toxic); what to do: {PRACTICE}", 65,
    )  # fmt: skip
    yield Caution(
        "solder-bumps", "part", s.mod.solder,
        f"To melt {names}, heat the whole package evenly and by no more than 2 to 3 K/s, for indium to 165 to 175 °C; "
        f"the bumps under the die begin to melt at {celsius(bumps)}, and the underfill softens from 110 to 150 °C. "
        "Scrape what is left with plastic, not with steel.",
        f"{PRACTICE}; bumps and underfill {MEMORY}", 76,
    )  # fmt: skip


def _lid(s: Scene) -> Iterator[Caution]:
    if s.mod is None or not s.mod.under_lid:
        return
    touched = (*s.mod.removed, *s.mod.opened)
    yield Caution(
        "lid-opening", "part", touched,
        f"To get at {listed_as(touched)}, part the lid by shear, in small steps and from its own edges: prying, or a "
        "blade pushed in too far, chips the die and tears parts off the substrate. Cold shear works, with more risk of "
        "a cracked die.",
        PRACTICE, 74,
    )  # fmt: skip
    if s.mod.lid_removed:
        yield Caution(
            "socket-load", "part", s.mod.removed,
            f"Without {listed_as(s.mod.removed)} the socket's load frame no longer presses the package into its "
            "contacts: a frame must press the rim of the substrate, or contacts open. A lost memory channel is the "
            "usual sign.",
            PRACTICE, 70,
        )  # fmt: skip
    erases = "; liquid metal also erases the markings, and claims fail without them" if s.liquid_metal else ""
    yield Caution(
        "warranty", "part", s.mod.opened,
        f"Opening a lid for {listed_as(s.mod.opened)} ends the maker's warranty as a rule{erases}: read the terms and "
        "photograph the markings first.",
        f"{PRACTICE}; claims refused after erased markings are reported" if erases else PRACTICE, 10,
    )  # fmt: skip


def _stand_off(s: Scene) -> Iterator[Caution]:
    mod = s.mod
    if mod is None:
        return
    advice = (
        "Posts, springs or shims must take that up, on top of usual tolerances of ±0.24 mm together; a plate that is "
        "too low meets the socket frame or the capacitors."
    )
    source = f"computed from the stack; tolerances: root sum of squares of usual ones ({PRACTICE})"
    if mod.lowered is None:
        if mod.lid_removed:
            yield Caution(
                "stand-off", "part", mod.removed,
                f"Without {listed_as(mod.removed)} the cold plate rests lower by the lid and its joint, usually 1.7 to "
                f"3.8 mm. {advice}",
                source, 68,
            )  # fmt: skip
        return
    low, high = mod.lowered
    if max(abs(low), abs(high)) < STAND_OFF:
        return
    way = "lower" if low + high > 0 else "higher"
    least, most = sorted((abs(low), abs(high)))
    much = f"{most * 1e3:.2f} mm"
    if most - least > 5e-6 and low * high > 0:  # dies of several heights
        much = f"{least * 1e3:.2f} to {much}"
    without = f" (not counting {listed_as(mod.uncounted)}, with no known bond line)" if mod.uncounted else ""
    touched = (*mod.removed, *mod.opened)
    yield Caution(
        "stand-off", "part", touched,
        f"With the changes at {listed_as(touched)} the cold plate rests {much} {way} than before{without}. {advice}",
        source, 68,
    )  # fmt: skip


def _bare_die(s: Scene) -> Iterator[Caution]:
    if not s.bare:
        return
    dies, area = s.stack.dies, s.die_area
    names = named(dies)

    def pressure(force: float) -> str:
        return f"{force / area / 1e3:.0f} kPa"

    yield Caution(
        "bare-die-force", "part", names,
        f"A bare die takes little force. Makers' limits that were found are {LASTING:.0f} N lasting, {SHORT:.0f} N "
        f"short and {NEVER:.0f} N never to be exceeded for a lidless flip-chip, {LEAST:.0f} N at least and {MOST:.0f} "
        f"N at most for a bare-die chipset, and {MODULE / 1e3:.0f} kPa for a bare-die module; on the {area * 1e6:.0f} "
        f"mm² of {listed_as(dies)}, {LASTING:.0f} N is {pressure(LASTING)}, {SHORT:.0f} N {pressure(SHORT)}, "
        f"{NEVER:.0f} N {pressure(NEVER)}, and {MODULE / 1e3:.0f} kPa is {MODULE * area:.0f} N.",
        "published limits of makers of such parts, looked up; pressures computed; the limit of your own part counts",
        80,
    )  # fmt: skip
    yield Caution(
        "bare-die-tilt", "part", names,
        f"{listed_as(dies)} {verb(dies, 'breaks', 'break')} at an edge when the cold plate comes down tilted, or on a "
        "hard grain: clean both faces, let the plate down level to 0.1 mm, and tighten diagonally in small steps.",
        f"tilt and bending are the threats that makers name; the figures: {PRACTICE}", 78,
    )  # fmt: skip
    yield Caution(
        "silicon-edges", "person", names,
        f"The edges of {listed_as(dies)} are sharp, and chips fly: wear eye protection and do not run a finger over an "
        "edge.",
        f"material data (brittle, sharp shards); what to do: {PRACTICE}", 50,
    )  # fmt: skip
    thin = [die for die in dies if die.thickness.si + BUMPS <= CAPACITOR]
    if thin:
        tops = ", ".join(f"{(die.thickness.si + BUMPS) * 1e3:.2f} mm" for die in thin)
        yield Caution(
            "bare-die-clearance", "part", named(thin),
            f"With its bumps {listed_as(thin)} stands {tops} above the substrate, and capacitors beside a die are "
            "0.3 to 0.6 mm tall: measure them, or the cold plate may rest on them instead of on the die.",
            PRACTICE, 66,
        )  # fmt: skip


RULES: tuple[Rule, ...] = (
    _opening,
    _remounting,
    _solder_removal,
    _lid,
    _stand_off,
    _bare_die,
)
