"""Cautions about what joints are filled with: gallium alloys, conductors, pastes."""

from __future__ import annotations

from collections.abc import Iterator

from thermostack.catalogue import Material
from thermostack.cautions.caution import MEMORY, PRACTICE, Caution
from thermostack.cautions.scene import Item, Rule, Scene
from thermostack.cautions.temperatures import below_dew
from thermostack.cautions.words import listed_as, named, verb

__all__ = ["RULES"]


_COPPER = ("copper_c110", "copper_ofhc", "vapor_chamber")
"""Keys of materials with bare copper faces; a vapour chamber has copper walls."""


def _gallium(s: Scene) -> Iterator[Caution]:
    metal = s.liquid_metal
    if not metal:
        return
    names, listed = named(metal), listed_as(metal)
    touched = {name for i in metal for name in i.beside}
    beside = [i for i in s.items.values() if i.name in touched and i.material is not None and not i.is_interface]
    yield Caution(
        "gallium-skin", "person", names,
        f"The gallium alloy of {listed} stains skin and clothes and irritates skin and eyes: wear gloves and eye "
        "protection, and squeeze it out away from your face.",
        f"material data of gallium alloys, {MEMORY}", 60,
    )  # fmt: skip
    aluminium = s.where(lambda i: i.material is not None and i.material.is_aluminium)
    if aluminium:
        near = [i for i in aluminium if i in beside]
        far = [i for i in aluminium if i not in beside]
        how = [f"{listed_as(near)}, which it touches"] if near else []
        how += [f"{listed_as(far)}, which it reaches when it creeps or spills"] if far else []
        yield Caution(
            "gallium-aluminium", "part", (*names, *named(aluminium)),
            f"The gallium alloy of {listed} destroys aluminium, within minutes to days once the oxide is broken: "
            f"{' and '.join(how)}. Do not bring them together; use copper or nickel-plated copper, or another "
            "interface.",
            "penetration of 0.8 to 9 µm/s measured in films, looked up; minutes to days: reported", 99,
        )  # fmt: skip
    copper = [i for i in beside if _is_bare_copper(i)]
    if copper:
        yield Caution(
            "gallium-copper", "result", (*names, *named(copper)),
            f"Bare copper consumes gallium for weeks and {listed} dries out on {listed_as(copper)}: look after some "
            "weeks and apply it once more. If the face is nickel-plated, describe the plating as a layer.",
            f"copper-gallium compounds looked up; rates {MEMORY}, weak", 70,
        )  # fmt: skip
    plated = [i for i in beside if i.material is not None and _is(i.material, "nickel", "gold")]
    if plated:
        yield Caution(
            "gallium-plating", "result", (*names, *named(plated)),
            f"{listed} on the plating {listed_as(plated)}: nickel slows the attack of gallium tenfold or more but does "
            "not end it, and gold dissolves. Measure again after months, and do not scratch or lap the plating.",
            f"nickel as a barrier looked up; rates {MEMORY}, weak", 45,
        )  # fmt: skip
    if below_dew(s):
        yield Caution(
            "gallium-condensing", "part", names,
            f"{listed} may meet condensed water here: gallium alloys are not for condensing or immersed use unless "
            "the joint is sealed.",
            "reported limit of use, looked up", 58,
        )  # fmt: skip


def _is(of: Material, *words: str) -> bool:
    return any(word in f"{of.key} {of.name}".casefold() for word in words)


def _is_bare_copper(item: Item) -> bool:
    of = item.material
    return of is not None and (of.key in _COPPER or (_is(of, "copper") and not _is(of, "plated", "nickel")))


def _slow_attack(s: Scene) -> Iterator[Caution]:
    slow = s.where(lambda i: i.material is not None and i.material.aluminium_attack == "slow")
    for_each = [(i, s.items[name]) for i in slow for name in i.beside]
    pairs = [(i, other) for i, other in for_each if other.material is not None and other.material.is_aluminium]
    if pairs:
        metal, solid = (tuple(dict.fromkeys(p[k].name for p in pairs)) for k in (0, 1))
        yield Caution(
            "slow-attack", "part", (*metal, *solid),
            f"{listed_as(metal)} wets aluminium slowly and is reported to embrittle it: inspect {listed_as(solid)}, "
            "or plate it.",
            f"material data, {MEMORY}", 60,
        )  # fmt: skip


def _conducting(s: Scene) -> Iterator[Caution]:
    carbon = s.where(lambda i: i.is_interface and i.family == "carbon")
    # a reflowed joint stays where it is, and bare metal on metal has nothing that could
    loose = s.where(
        lambda i: i.material is not None and not i.fixed and i.family not in ("metal", "carbon")
        and i.material.electrical == "conductor"
        and (i.is_liquid_metal or (i.at_die and (i.is_interface or i.family == "solder")))
    )  # fmt: skip
    weak = s.where(
        lambda i: i.is_interface and i.at_die and i.material is not None and i.material.electrical == "weak conductor"
    )
    if loose:
        new = s.mod is not None and any(i.name in s.mod.opened for i in loose)
        extra = "; it also attacks solder, and any aluminium that is not in this stack" if s.liquid_metal else ""
        yield Caution(
            "conducting-joint", "part", named(loose),
            f"{listed_as(loose)} {verb(loose, 'conducts', 'conduct')} electricity and {'now ' if new else ''}"
            f"{verb(loose, 'lies', 'lie')} where what is squeezed out, creeps or spills reaches the capacitors and "
            f"contacts beside the die{extra}. Coat them with insulating varnish, lay a foam dam, use little, and look "
            "for beads before power is applied.",
            PRACTICE, 72,
        )  # fmt: skip
    if carbon:
        yield Caution(
            "conducting-pad", "part", named(carbon),
            f"{listed_as(carbon)} {verb(carbon, 'conducts', 'conduct')} electricity: flakes and cut fibres short "
            "contacts. Cut it away from the board, keep it within the face, and coat or cover bare contacts nearby.",
            f"material data, {MEMORY}", 62,
        )  # fmt: skip
    if weak:
        yield Caution(
            "weakly-conducting", "part", named(weak),
            f"{listed_as(weak)} may bridge contacts, if only capacitively: keep it off the components beside the die.",
            f"material data, {MEMORY}", 40,
        )  # fmt: skip


def _pump_out(s: Scene) -> Iterator[Caution]:
    def is_paste(i: Item) -> bool:
        of = "" if i.row is None else i.row.name
        return i.at_die and i.is_interface and "paste" in f"{of} {i.material.name if i.material else ''}".casefold()

    paste = s.where(is_paste) if s.bare else ()
    if paste:
        yield Caution(
            "pump-out", "result", named(paste),
            f"A bare die bows as it heats and cools and pumps paste out: {listed_as(paste)} may gain 20 to 100 % in "
            "resistance within tens to hundreds of power cycles. Measure again after some weeks.",
            MEMORY, 60,
        )  # fmt: skip


def _unknown_filling(s: Scene) -> Iterator[Caution]:
    unknown = s.where(lambda i: i.is_interface and i.material is None)
    if unknown:
        yield Caution(
            "unknown-filling", "result", named(unknown),
            f"What fills {listed_as(unknown)} is not said, so cautions about what it melts at, conducts or attacks "
            "cannot be given. Name a class, such as interface='ceramic paste', with the values of your own.",
            "follows from the description of the stack", 20,
        )  # fmt: skip


RULES: tuple[Rule, ...] = (
    _gallium,
    _slow_attack,
    _conducting,
    _pump_out,
    _unknown_filling,
)
