"""Cautions about predicted temperatures, the power map and the coolant."""

from __future__ import annotations

from collections.abc import Iterator

from thermostack.cautions.caution import MEMORY, PRACTICE, Caution
from thermostack.cautions.scene import Item, Rule, Scene
from thermostack.cautions.words import celsius, coldest_of, data_of, listed_as, named
from thermostack.stack.parts import Die

__all__ = ["RULES", "below_dew"]


DEW_POINT = 291.15
"""Warn below 18 °C: the dew point of a room at 25 °C and 65 % relative humidity. [K]"""
FREEZING = 273.15
CRYOGENIC = 203.15
"""Below −70 °C coolants are evaporating solids or liquefied gases (solid carbon dioxide: −78 °C). [K]"""
ROOM = 298.15
"""What an idle stack is taken to be at where no temperature is predicted. [K]"""


def _melting(s: Scene) -> Iterator[Caution]:
    found: dict[str, list[tuple[Item, str, str]]] = {"melting": [], "service": []}
    for item in s.items.values():
        of = item.material
        if of is None or item.name not in s.temperatures or isinstance(item.part, Die):
            continue
        hottest = max(s.temperatures[item.name])
        told = f"'{item.name}' is predicted to reach {celsius(hottest)}"
        if of.solidus is not None and not item.meant_to_melt and hottest > of.solidus:
            found["melting"].append((item, f"{told} and melts from {celsius(of.solidus)}", data_of(of)))
        elif of.max_service is not None and hottest > of.max_service:
            found["service"].append((item, f"{told}; its highest lasting temperature is {celsius(of.max_service)}",
                                     data_of(of)))  # fmt: skip
    does = {
        "melting": "It runs out, and what it held comes loose: lower the power, cool it better, or choose another "
        "joint.",
        "service": "It ages fast, dries out, creeps or lets go: lower the power, cool it better, or choose another.",
    }
    for key, weight in (("melting", 95), ("service", 85)):
        if found[key]:
            yield Caution(
                f"above-{key}", "part", named(item for item, *_ in found[key]),
                f"{'; '.join(text for _, text, _ in found[key])}. {does[key]}",
                "; ".join(dict.fromkeys(source for *_, source in found[key])), weight,
            )  # fmt: skip


def _unmolten(s: Scene) -> Iterator[Caution]:
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
        f"'{i.name}' melts up to {celsius(liquidus)}"
        + (f" and is predicted at {celsius(min(s.temperatures[i.name]))}" if i.name in s.temperatures else "")
        for i, liquidus in solid
    ]
    materials = dict.fromkeys(i.material for i, _ in solid if i.material is not None)
    yield Caution(
        "hot-cycle", "result", named(i for i, _ in solid),
        f"{'; '.join(told)}. It needs one hot cycle, molten under load, before it is measured; while it is solid its "
        "resistance is not the one that is tabulated.",
        "; ".join(data_of(of) for of in materials), 80,
    )  # fmt: skip


def _junction(s: Scene) -> Iterator[Caution]:
    hottest = _hottest(s)
    if not hottest:
        return
    told: list[str] = []
    about: dict[str, None] = {}
    sources: list[str] = []
    top = max(hottest.values())
    if s.limit is not None and top > s.limit:
        told.append(f"your limit of {celsius(s.limit)}")
        about.update({name: None for name, t in hottest.items() if t > s.limit})
        sources.append("your limit")
    for die in s.stack.dies:
        most = die.material.max_service
        if most is not None and hottest.get(die.name, 0.0) > most:
            text = f"the {celsius(most)} that {die.material.name} lasts at"
            told += [text] if text not in told else []
            about[die.name] = None
            sources.append(data_of(die.material))
    if told:
        yield Caution(
            "junction-limit", "part", tuple(about),
            f"The junction of {listed_as(about)} is predicted at {celsius(top)}, above {' and '.join(told)}: it "
            "throttles or shuts down at best. Lower the power or cool it better before the stack is run.",
            "; ".join(dict.fromkeys(sources)), 90,
        )  # fmt: skip


def _hottest(s: Scene) -> dict[str, float]:
    """Return the junction temperature of each die, as far as it is known. [K]"""
    own = {die.name: max(s.temperatures[die.name]) for die in s.stack.dies if die.name in s.temperatures}
    if "junction" not in s.temperatures:
        return own
    junction = max(s.temperatures["junction"])
    if len(own) < len(s.stack.dies):
        return {die.name: junction for die in s.stack.dies}  # which die is hottest is not known
    first = max(own, key=lambda name: own[name])
    return {**own, first: max(own[first], junction)}


def _uniform_power(s: Scene) -> Iterator[Caution]:
    dies = [die for die in s.stack.dies if not die.power.regions and die.power.total.si > 0]
    if dies:
        yield Caution(
            "uniform-power", "result", named(dies),
            f"The power of {listed_as(dies)} is spread evenly here, and real hot regions read 5 to 15 K above the "
            "mean of a die. Describe regions, or compare with the mean of all sensors and not with the hottest.",
            PRACTICE, 75,
        )  # fmt: skip


def below_dew(s: Scene) -> bool:
    """Say whether the coolant may be below the dew point of a usual room."""
    coolant = s.stack.coolant
    # the air of the room cannot be below its own dew point
    return coolant.reference != "ambient" and coldest_of(coolant.temperature) < DEW_POINT


def _coolant(s: Scene) -> Iterator[Caution]:
    coldest = coldest_of(s.stack.coolant.temperature)
    exact = s.stack.coolant.temperature.kind == "exact"
    at = f"The coolant {'is at' if exact else 'may be as cold as'} {celsius(coldest)}"
    if below_dew(s):
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
            f"{at}: what cools so deep evaporates and displaces the air of the room, which suffocates unnoticed, "
            "bursts closed vessels and burns skin and eyes at a touch. Ventilate, carry an oxygen alarm, never close "
            "it in, wear face shield and loose insulating gloves.",
            f"material data of liquid nitrogen; what to do: {PRACTICE}", 85,
        )  # fmt: skip
    elif coldest < FREEZING:
        yield Caution(
            "cold-burns", "person", ("coolant",),
            f"{at}: cold metal and coolant freeze to skin and burn it. Wear insulating gloves and eye protection.",
            PRACTICE, 75,
        )  # fmt: skip
    air = s.stack.coolant.reference == "ambient" and s.stack.coolant.radiator is None
    if s.mod is not None and not air:
        yield Caution(
            "coolant-leak", "part", ("coolant",),
            "If the coolant is a liquid, moving the block strains hoses and fittings: run the loop with the machine "
            "unpowered and paper laid below until nothing has dripped.",
            PRACTICE, 44,
        )  # fmt: skip


RULES: tuple[Rule, ...] = (
    _melting,
    _unmolten,
    _junction,
    _uniform_power,
    _coolant,
)
