"""The rules: when a caution applies, and what it says."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass

from thermostack.cautions.caution import MEMORY, PRACTICE, Caution, ordered
from thermostack.cautions.scene import Item, Mod, is_bare, items_of, mod_of
from thermostack.errors import InputError, UnknownNameError, suggest
from thermostack.materials import Material, material
from thermostack.stack.parts import Die
from thermostack.stack.stack import Stack
from thermostack.units import Value, show

__all__ = ["cautions"]

DEW_POINT = 291.15
"""Warn below 18 °C: the dew point of a room at 25 °C and 65 % relative humidity. [K]"""
FREEZING = 273.15
CRYOGENIC = 203.15
"""Below −70 °C coolants are evaporating solids or liquefied gases (solid carbon dioxide: −78 °C). [K]"""
ROOM = 298.15
STAND_OFF = 1e-4
"""Change of height that a mount is not expected to take up unseen. [m]"""
CAPACITOR = 0.6e-3
"""Tallest usual capacitor beside a die. [m]"""
BUMPS = 0.07e-3
"""Middle of the usual bump height, 0.06 to 0.08 mm. [m]"""
FORCE_LONG, FORCE_SHORT, FORCE_NEVER = 45.0, 70.0, 80.0
"""Makers' limits for a lidless flip-chip: long-term, short, never exceed. [N]"""
MODULE_PRESSURE = 103e3
"""A maker's limit for a bare-die module. [Pa]"""

_COPPER = ("copper_c110", "copper_ofhc", "vapor_chamber")
"""Keys of materials with bare copper faces; a vapour chamber has copper walls."""


@dataclass(frozen=True)
class _Scene:
    stack: Stack
    items: Mapping[str, Item]
    mod: Mod | None
    bare: bool
    temperatures: Mapping[str, tuple[float, float]]
    limit: float | None

    def where(self, test: Callable[[Item], bool]) -> tuple[Item, ...]:
        return tuple(i for i in self.items.values() if test(i))

    @property
    def liquid_metal(self) -> tuple[Item, ...]:
        return self.where(lambda i: i.is_liquid_metal)

    @property
    def die_area(self) -> float:
        """Area of all dies together. [m²]"""
        return math.fsum(die.footprint[0].si * die.footprint[1].si for die in self.stack.dies)


Rule = Callable[[_Scene], Iterator[Caution]]


def cautions(
    stack: Stack,
    temperatures: Mapping[str, tuple[float, float]] | None = None,
    *,
    limit: float | None = None,
    baseline: Stack | None = None,
) -> tuple[Caution, ...]:
    """Return the cautions that apply to a stack and to the mod that leads to it, the gravest first.

    Parameters
    ----------
    stack : Stack
    temperatures : mapping of str to (float, float), optional
        Predicted temperatures of the lower and the upper face by part name, and of the junction under
        ``"junction"``. [K] Without them no caution asks for a temperature, but those of the coolant.
    limit : float, optional
        Highest junction temperature that the user wants. [K]
    baseline : Stack, optional
        The stack that the mod starts from. Without it, what the mod does is read from the stack's own edits, which
        know the parts that are gone by name only.

    Returns
    -------
    tuple of Caution
        Danger to a person first, then to the part, then to the result; each rule at most once.

    Raises
    ------
    InputError
        If a temperature or the limit is not finite and above zero, or a temperature is not a pair.
    UnknownNameError
        If a temperature is given for a part that the stack does not have.
    """
    items, mod = items_of(stack), mod_of(stack, baseline)
    checked = _checked(stack, temperatures or {})
    if limit is not None and not (math.isfinite(limit) and limit > 0):
        raise InputError(f"{limit!r} is no temperature", where="limit", expected="kelvin, above zero")
    scene = _Scene(stack, items, mod, is_bare(stack, items, mod), checked, limit)
    return ordered(caution for rule in RULES for caution in rule(scene))


def _checked(stack: Stack, given: Mapping[str, tuple[float, float]]) -> dict[str, tuple[float, float]]:
    known = [*(part.name for part in stack.parts()), "junction"]
    for name, pair in given.items():
        if name not in known:
            raise UnknownNameError(f"no part is named {name!r}; {suggest(name, known)}", where="temperatures")
        if len(pair) != 2 or not all(math.isfinite(t) and t > 0 for t in pair):
            raise InputError(f"{pair!r} is no pair of temperatures", where=f"temperatures.{name}",
                             expected="kelvin of the lower and the upper face")  # fmt: skip
    return {name: (float(pair[0]), float(pair[1])) for name, pair in given.items()}


# -- words


def _named(parts: Iterable[Item | Die | str]) -> tuple[str, ...]:
    return tuple(p if isinstance(p, str) else p.name for p in parts)


def _list(parts: Iterable[Item | Die | str]) -> str:
    names = [f"'{name}'" for name in _named(parts)]
    return " and ".join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)


def _verb(parts: Iterable[object], one: str, more: str) -> str:
    return one if len(tuple(parts)) == 1 else more


def _celsius(kelvin: float) -> str:
    return show(kelvin, "temperature")


def _data(of: Material) -> str:
    return f"material data of {of.name}: {of.provenance_detail or of.provenance}"


def _coldest(value: Value) -> float:
    """Return the low end of a temperature: its lower limit, or two standard uncertainties below its mean."""
    return value.si - (value.spread_si if value.kind == "rectangular" else 2 * value.standard_uncertainty)


# -- what the work does


def _opening(s: _Scene) -> Iterator[Caution]:
    if s.mod is None:
        return
    yield Caution(
        "power-off", "person", (),
        "Before anything is opened switch the machine off, unplug it, and wait until it is discharged: hold the power "
        "button for some seconds with the plug out. A supply unit is never opened.",
        PRACTICE, 90,
    )  # fmt: skip
    yield Caution(
        "state-before", "result", (*s.mod.removed, *s.mod.opened),
        "The state before the mod can never be measured again. Record it first: steady logs of every core, of coolant "
        "in and out close to the block and of power (with a second meter if there is one) at two power levels, with "
        "fans, pump, clocks and ambient fixed and noted; some remounts where the joint allows; photographs and the "
        "contact print when it is opened.",
        PRACTICE, 100,
    )  # fmt: skip


def _remounting(s: _Scene) -> Iterator[Caution]:
    joints = [s.items[name] for name in (s.mod.opened if s.mod else ()) if not s.items[name].fixed]
    if not joints:
        return
    bad = [i.row.bad_mounts.typical for i in joints if i.row is not None and i.row.bad_mounts is not None]
    odds = f" About one mount in {round(1 / max(bad))} of such a joint comes out bad (from memory)." if bad else ""
    yield Caution(
        "remount", "result", _named(joints),
        f"The mod makes {_list(joints)} anew, and every making of a joint comes out different: take 3 to 5 remounts "
        f"before and after, and look at the contact print each time.{odds}",
        PRACTICE, 50,
    )  # fmt: skip


def _solder_removal(s: _Scene) -> Iterator[Caution]:
    if s.mod is None or not s.mod.solder:
        return
    melts = f" (it melts at {_celsius(s.mod.melts_at)})" if s.mod.melts_at is not None else ""
    names = _list(s.mod.solder)
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
        f"Heat the whole package evenly and by no more than 2 to 3 K/s, for indium to 165 to 175 °C; the bumps under "
        f"the die begin to melt at {_celsius(bumps)}, and the underfill softens from 110 to 150 °C. Scrape what is "
        "left with plastic, not with steel.",
        f"{PRACTICE}; bumps and underfill {MEMORY}", 76,
    )  # fmt: skip


def _lid(s: _Scene) -> Iterator[Caution]:
    if s.mod is None or not s.mod.at_die:
        return
    if s.mod.solder or s.mod.lid_removed:
        yield Caution(
            "lid-opening", "part", s.mod.removed,
            "Part a lid by shear, in small steps and from its own edges: prying, or a blade pushed in too far, chips "
            "the die and tears parts off the substrate. Cold shear works, with more risk of a cracked die.",
            PRACTICE, 74,
        )  # fmt: skip
    if s.mod.lid_removed:
        yield Caution(
            "socket-load", "part", s.mod.removed,
            "Without the lid the socket's load frame no longer presses the package into its contacts: a frame must "
            "press the rim of the substrate, or contacts open. A lost memory channel is the usual sign.",
            PRACTICE, 70,
        )  # fmt: skip
    yield Caution(
        "warranty", "part", s.mod.opened,
        "Opening the joint of a die ends the maker's warranty as a rule, and liquid metal that erases the markings of "
        "a lid ends it as well: read the terms, and photograph the markings first.",
        f"{PRACTICE}; refused claims after erased markings are reported", 10,
    )  # fmt: skip


def _stand_off(s: _Scene) -> Iterator[Caution]:
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
                f"Without {_list(mod.removed)} the cold plate rests lower by the lid and its joint, usually 1.7 to "
                f"3.8 mm. {advice}",
                source, 68,
            )  # fmt: skip
        return
    low, high = mod.lowered
    if max(abs(low), abs(high)) < STAND_OFF:
        return
    way = "lower" if low + high > 0 else "higher"
    least, most = sorted((abs(low), abs(high)))
    much = (
        f"{most * 1e3:.2f} mm" if most - least < 5e-6 or low * high < 0 else f"{least * 1e3:.2f} to {most * 1e3:.2f} mm"
    )
    without = f" (not counting {_list(mod.uncounted)}, with no known bond line)" if mod.uncounted else ""
    yield Caution(
        "stand-off", "part", (*mod.removed, *mod.opened),
        f"The cold plate rests {much} {way} than before{without}. {advice}", source, 68,
    )  # fmt: skip


# -- bare dies


def _bare_die(s: _Scene) -> Iterator[Caution]:
    if not s.bare:
        return
    dies, area = s.stack.dies, s.die_area
    names = _named(dies)

    def pressure(force: float) -> str:
        return f"{force / area / 1e3:.0f} kPa"

    yield Caution(
        "bare-die-force", "part", names,
        f"A bare die takes little force. Makers' limits that were found are 45 N lasting, 70 N short and 80 N never to "
        f"be exceeded for a lidless flip-chip, 39 to 67 N for a bare-die chipset, 103 kPa for a bare-die module; on "
        f"the {area * 1e6:.0f} mm² of {_list(dies)}, 45 N is {pressure(FORCE_LONG)}, 70 N {pressure(FORCE_SHORT)}, "
        f"80 N {pressure(FORCE_NEVER)}, and 103 kPa is {MODULE_PRESSURE * area:.0f} N.",
        "published limits of makers of such parts, looked up; pressures computed; the limit of your own part counts",
        80,
    )  # fmt: skip
    yield Caution(
        "bare-die-tilt", "part", names,
        f"{_list(dies)} {_verb(dies, 'breaks', 'break')} at an edge when the cold plate comes down tilted, or on a "
        "hard grain: clean both faces, let the plate down level to 0.1 mm, and tighten diagonally in small steps.",
        f"tilt and bending are the threats that makers name; the figures: {PRACTICE}", 78,
    )  # fmt: skip
    yield Caution(
        "silicon-edges", "person", names,
        f"The edges of {_list(dies)} are sharp, and chips fly: wear eye protection and do not run a finger over an "
        "edge.",
        f"material data (brittle, sharp shards); what to do: {PRACTICE}", 50,
    )  # fmt: skip
    thin = [die for die in dies if die.thickness.si + BUMPS <= CAPACITOR]
    if thin:
        tops = ", ".join(f"{(die.thickness.si + BUMPS) * 1e3:.2f} mm" for die in thin)
        yield Caution(
            "bare-die-clearance", "part", _named(thin),
            f"With its bumps {_list(thin)} stands {tops} above the substrate, and capacitors beside a die are "
            "0.3 to 0.6 mm tall: measure them, or the cold plate may rest on them instead of on the die.",
            PRACTICE, 66,
        )  # fmt: skip


def _pump_out(s: _Scene) -> Iterator[Caution]:
    def is_paste(i: Item) -> bool:
        of = "" if i.row is None else i.row.name
        return i.at_die and i.is_interface and "paste" in f"{of} {i.material.name if i.material else ''}".casefold()

    paste = s.where(is_paste) if s.bare else ()
    if paste:
        yield Caution(
            "pump-out", "result", _named(paste),
            f"A bare die bows as it heats and cools and pumps paste out: {_list(paste)} may gain 20 to 100 % in "
            "resistance within tens to hundreds of power cycles. Measure again after some weeks.",
            MEMORY, 60,
        )  # fmt: skip


# -- liquid metal


def _gallium(s: _Scene) -> Iterator[Caution]:
    metal = s.liquid_metal
    if not metal:
        return
    names, listed = _named(metal), _list(metal)
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
        how = [f"{_list(near)}, which it touches"] if near else []
        how += [f"{_list(far)}, which it reaches when it creeps or spills"] if far else []
        yield Caution(
            "gallium-aluminium", "part", (*names, *_named(aluminium)),
            f"The gallium alloy of {listed} destroys aluminium, within minutes to days once the oxide is broken: "
            f"{' and '.join(how)}. Do not bring them together; use copper or nickel-plated copper, or another "
            "interface.",
            "penetration of 0.8 to 9 µm/s measured in films, looked up; minutes to days: reported", 100,
        )  # fmt: skip
    copper = [i for i in beside if _is_bare_copper(i)]
    if copper:
        yield Caution(
            "gallium-copper", "result", (*names, *_named(copper)),
            f"Bare copper consumes gallium for weeks and {listed} dries out on {_list(copper)}: look after some weeks "
            "and apply it once more. If the face is nickel-plated, describe the plating as a layer.",
            f"copper-gallium compounds looked up; rates {MEMORY}, weak", 70,
        )  # fmt: skip
    plated = [i for i in beside if i.material is not None and _is(i.material, "nickel", "gold")]
    if plated:
        yield Caution(
            "gallium-plating", "result", (*names, *_named(plated)),
            f"Nickel slows the attack of gallium tenfold or more but does not end it, and gold dissolves: the joint of "
            f"{listed} on {_list(plated)} changes over months, and faster where the plating is scratched or lapped "
            "through.",
            f"nickel as a barrier looked up; rates {MEMORY}, weak", 45,
        )  # fmt: skip
    if _below_dew(s):
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


def _slow_attack(s: _Scene) -> Iterator[Caution]:
    slow = s.where(lambda i: i.material is not None and i.material.aluminium_attack == "slow")
    for_each = [(i, s.items[name]) for i in slow for name in i.beside]
    pairs = [(i, other) for i, other in for_each if other.material is not None and other.material.is_aluminium]
    if pairs:
        metal, solid = (tuple(dict.fromkeys(p[k].name for p in pairs)) for k in (0, 1))
        yield Caution(
            "slow-attack", "part", (*metal, *solid),
            f"{_list(metal)} wets aluminium slowly and is reported to embrittle it: inspect {_list(solid)}, or plate "
            "it.",
            f"material data, {MEMORY}", 60,
        )  # fmt: skip


# -- shorts


def _conducting(s: _Scene) -> Iterator[Caution]:
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
            "conducting-joint", "part", _named(loose),
            f"{_list(loose)} {_verb(loose, 'conducts', 'conduct')} electricity and {'now ' if new else ''}"
            f"{_verb(loose, 'lies', 'lie')} where what is squeezed out, creeps or spills reaches the capacitors and "
            f"contacts beside the die{extra}. Coat them with insulating varnish, lay a foam dam, use little, and look "
            "for beads before power is applied.",
            PRACTICE, 72,
        )  # fmt: skip
    if carbon:
        yield Caution(
            "conducting-pad", "part", _named(carbon),
            f"{_list(carbon)} {_verb(carbon, 'conducts', 'conduct')} electricity: flakes and cut fibres short "
            "contacts. Cut it away from the board, keep it within the face, and coat or cover bare contacts nearby.",
            f"material data, {MEMORY}", 62,
        )  # fmt: skip
    if weak:
        yield Caution(
            "weakly-conducting", "part", _named(weak),
            f"{_list(weak)} may bridge contacts, if only capacitively: keep it off the components beside the die.",
            f"material data, {MEMORY}", 40,
        )  # fmt: skip


# -- temperatures


def _melting(s: _Scene) -> Iterator[Caution]:
    found: dict[str, list[tuple[Item, str, str]]] = {"melting": [], "service": []}
    for item in s.items.values():
        of = item.material
        if of is None or item.name not in s.temperatures or isinstance(item.part, Die):
            continue
        hottest = max(s.temperatures[item.name])
        told = f"'{item.name}' is predicted to reach {_celsius(hottest)}"
        if of.solidus is not None and not item.meant_to_melt and hottest > of.solidus:
            found["melting"].append((item, f"{told} and melts from {_celsius(of.solidus)}", _data(of)))
        elif of.max_service is not None and hottest > of.max_service:
            found["service"].append((item, f"{told}; its highest lasting temperature is {_celsius(of.max_service)}",
                                     _data(of)))  # fmt: skip
    does = {
        "melting": "It runs out, and what it held comes loose: lower the power, cool it better, or choose another "
        "joint.",
        "service": "It ages fast, dries out, creeps or lets go: lower the power, cool it better, or choose another.",
    }
    for key, weight in (("melting", 95), ("service", 85)):
        if found[key]:
            yield Caution(
                f"above-{key}", "part", _named(item for item, *_ in found[key]),
                f"{'; '.join(text for _, text, _ in found[key])}. {does[key]}",
                "; ".join(dict.fromkeys(source for *_, source in found[key])), weight,
            )  # fmt: skip


def _unmolten(s: _Scene) -> Iterator[Caution]:
    solid = []
    for item in s.where(lambda i: i.meant_to_melt):
        liquidus = item.material.liquidus if item.material is not None else None
        # where no temperature is known, what melts below room temperature is taken to be molten
        coldest = min(s.temperatures.get(item.name, (ROOM, ROOM)))
        if liquidus is not None and coldest < liquidus:
            solid.append((item, liquidus))
    if not solid:
        return
    told = [
        f"'{i.name}' melts up to {_celsius(liquidus)}"
        + (f" and is predicted at {_celsius(min(s.temperatures[i.name]))}" if i.name in s.temperatures else "")
        for i, liquidus in solid
    ]
    materials = dict.fromkeys(i.material for i, _ in solid if i.material is not None)
    yield Caution(
        "hot-cycle", "result", _named(i for i, _ in solid),
        f"{'; '.join(told)}. It needs one hot cycle, molten under load, before it is measured; while it is solid its "
        "resistance is not the one that is tabulated.",
        "; ".join(_data(of) for of in materials), 80,
    )  # fmt: skip


def _junction(s: _Scene) -> Iterator[Caution]:
    hottest = _hottest(s)
    if not hottest:
        return
    told, about, sources = [], {}, []
    top = max(hottest.values())
    if s.limit is not None and top > s.limit:
        told.append(f"your limit of {_celsius(s.limit)}")
        about.update({name: None for name, t in hottest.items() if t > s.limit})
        sources.append("your limit")
    for die in s.stack.dies:
        most = die.material.max_service
        if most is not None and hottest.get(die.name, 0.0) > most:
            text = f"the {_celsius(most)} that {die.material.name} lasts at"
            told += [text] if text not in told else []
            about[die.name] = None
            sources.append(_data(die.material))
    if told:
        yield Caution(
            "junction-limit", "part", tuple(about),
            f"The junction of {_list(about)} is predicted at {_celsius(top)}, above {' and '.join(told)}: it throttles "
            "or shuts down at best. Lower the power or cool it better before the stack is run.",
            "; ".join(dict.fromkeys(sources)), 90,
        )  # fmt: skip


def _hottest(s: _Scene) -> dict[str, float]:
    """Return the junction temperature of each die, as far as it is known. [K]"""
    own = {die.name: max(s.temperatures[die.name]) for die in s.stack.dies if die.name in s.temperatures}
    if "junction" not in s.temperatures:
        return own
    junction = max(s.temperatures["junction"])
    if len(own) < len(s.stack.dies):
        return {die.name: junction for die in s.stack.dies}  # which die is hottest is not known
    first = max(own, key=lambda name: own[name])
    return {**own, first: max(own[first], junction)}


def _uniform_power(s: _Scene) -> Iterator[Caution]:
    dies = [die for die in s.stack.dies if not die.power.regions and die.power.total.si > 0]
    if dies:
        yield Caution(
            "uniform-power", "result", _named(dies),
            f"The power of {_list(dies)} is spread evenly here, and real hot regions read 5 to 15 K above the mean of "
            "a die. Describe regions, or compare with the mean of all sensors and not with the hottest.",
            PRACTICE, 75,
        )  # fmt: skip


# -- coolant


def _below_dew(s: _Scene) -> bool:
    coolant = s.stack.coolant
    # the air of the room cannot be below its own dew point
    return coolant.reference != "ambient" and _coldest(coolant.temperature) < DEW_POINT


def _coolant(s: _Scene) -> Iterator[Caution]:
    coldest = _coldest(s.stack.coolant.temperature)
    at = f"The coolant is at {_celsius(s.stack.coolant.temperature.si)}"
    if _below_dew(s):
        yield Caution(
            "dew-point", "part", ("coolant",),
            f"{at}: where that is below the dew point of the room, water condenses on the plate, the hoses and the "
            "board. Read temperature and humidity of the room and look up its dew point (18 °C at 25 °C and 65 %), "
            "keep the coolant above it, or insulate and seal all that is cold.",
            f"dew point computed by the Magnus formula (coefficients {MEMORY}); what to do: {PRACTICE}", 56,
        )  # fmt: skip
    if coldest < CRYOGENIC:
        yield Caution(
            "cryogenic", "person", ("coolant",),
            f"{at}: what cools so deep evaporates and displaces the air of the room, which suffocates unnoticed, bursts "
            "closed vessels and burns skin and eyes at a touch. Ventilate, carry an oxygen alarm, never close it in, "
            "wear face shield and loose insulating gloves.",
            f"material data of liquid nitrogen; what to do: {PRACTICE}", 85,
        )  # fmt: skip
    elif coldest < FREEZING:
        yield Caution(
            "cold-burns", "person", ("coolant",),
            f"{at}: cold metal and coolant freeze to skin and burn it. Wear insulating gloves and eye protection.",
            PRACTICE, 75,
        )  # fmt: skip
    if s.mod is not None and s.stack.coolant.reference != "ambient":
        yield Caution(
            "coolant-leak", "part", ("coolant",),
            "If the coolant is a liquid, moving the block strains hoses and fittings: run the loop with the machine "
            "unpowered and paper laid below until nothing has dripped.",
            PRACTICE, 44,
        )  # fmt: skip


def _unknown_filling(s: _Scene) -> Iterator[Caution]:
    unknown = s.where(lambda i: i.is_interface and i.material is None)
    if unknown:
        yield Caution(
            "unknown-filling", "result", _named(unknown),
            f"What fills {_list(unknown)} is not said, so cautions about what it melts at, conducts or attacks cannot "
            "be given. Name a class, such as interface='gallium alloy', with the values of your own.",
            "computed from the stack", 20,
        )  # fmt: skip


RULES: tuple[Rule, ...] = (
    _opening,
    _remounting,
    _solder_removal,
    _lid,
    _stand_off,
    _bare_die,
    _pump_out,
    _gallium,
    _slow_attack,
    _conducting,
    _melting,
    _unmolten,
    _junction,
    _uniform_power,
    _coolant,
    _unknown_filling,
)
