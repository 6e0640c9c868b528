"""Cautions about what a mod grinds, presses, glues and pumps: lapping, thin dies, relaid lids, another plate."""

from __future__ import annotations

from collections.abc import Iterator

from thermostack.cautions.caution import MEMORY, PRACTICE, Caution
from thermostack.cautions.scene import Rule, Scene
from thermostack.cautions.words import listed_as, named, verb
from thermostack.stack.parts import Die, Interface, Layer

__all__ = ["RULES"]

BRIDGED = (0.10e-3, 0.15e-3)
"""Gap that a gallium alloy cannot bridge. [m]"""
WEAK_DIE = 0.4e-3
"""Below this a die is thinner than lapped ones usually are. [m]"""


def _lapping(s: Scene) -> Iterator[Caution]:
    ground = [s.items[name] for name in (s.mod.ground if s.mod else ())]
    if not ground:
        return
    names, listed = named(ground), listed_as(ground)
    dies = [i for i in ground if isinstance(i.part, Die)]
    yield Caution(
        "lapping-dust", "person", names,
        f"Dust from lapping {listed} harms the lungs, nickel dust also the skin: lap wet, with gloves, never dry with "
        "a machine, wipe up and wash hands.",
        f"material data (silicon and metal dust, nickel an allergen: {MEMORY}); what to do: {PRACTICE}", 64,
    )  # fmt: skip
    yield Caution(
        "lapping-flatness", "result", names,
        f"Lapping by hand rounds the edges of {listed} as easily as it flattens the middle: use a true plate, measure "
        "thickness in the middle and at the corners and look through under a straight edge before and after, and enter "
        "what was measured.",
        PRACTICE, 62,
    )  # fmt: skip
    yield Caution(
        "lapping-debris", "part", names,
        f"Grit and slurry from {listed} short contacts, scratch the other face and crack a die under pressure: mask "
        "lands, capacitors and openings, rinse, and look at both faces under a lens.",
        PRACTICE, 69,
    )  # fmt: skip
    copper = [i for i in ground if i.material is not None and "copper" in i.material.name.casefold()]
    if copper:
        yield Caution(
            "lapping-plating", "result", named(copper),
            f"{listed_as(copper)} {verb(copper, 'is', 'are')} usually plated with 2 to 8 µm of nickel, and lapping "
            "goes through it: bare copper tarnishes and consumes gallium, and markings that claims ask for are gone.",
            f"plating thickness: {PRACTICE}; copper-gallium compounds looked up", 55,
        )  # fmt: skip
    if dies:
        thin = [i for i in dies if i.thickness is not None and i.thickness < WEAK_DIE]
        below = f" {listed_as(thin)} would be thinner than the 0.4 to 0.6 mm that others leave." if thin else ""
        yield Caution(
            "thin-die", "part", named(dies),
            f"Each scratch from grinding {listed_as(dies)} is where a crack begins, and a thinner die bends more under "
            "force: a die is lost in a moment and cannot be mended. Step down to a fine grit, keep the edges whole, "
            f"and take off no more than the prediction asks for; a thin die also spreads hot regions less.{below}",
            f"{PRACTICE}; usual thickness of lapped dies: {PRACTICE}", 92,
        )  # fmt: skip


def _static(s: Scene) -> Iterator[Caution]:
    if s.mod is not None and s.mod.at_die:
        dies = named(s.stack.dies)
        yield Caution(
            "static", "part", dies,
            f"An opened package with {listed_as(dies)} is as sensitive to static as it ever was: wear an earthed "
            "strap, hold it by the substrate's edges and touch no contacts.",
            PRACTICE, 47,
        )  # fmt: skip


def _relaid_lid(s: Scene) -> Iterator[Caution]:
    """Tell of the gap under a lid that was taken off and laid on again."""
    if s.mod is None or not s.mod.under_lid or s.mod.lid_removed:
        return
    joints = [s.items[n] for n in s.mod.opened if s.items[n].at_die and not s.items[n].fixed]
    if not joints:
        return
    names = named(joints)
    filled = ""
    line = max((i.thickness for i in joints if i.thickness is not None), default=None)
    if s.mod.filled is not None and line is not None and s.mod.filled > line:
        down = f"{(s.mod.filled - line) * 1e3:.2f} mm"
        filled = (
            f" The joint before was {s.mod.filled * 1e3:.2f} mm thick, this one is described as {line * 1e3:.2f} mm: "
            f"the rim must come down by {down}, by adhesive that is removed or by lapping."
        )
    metal = any(i.is_liquid_metal for i in joints)
    bridge = f"a gallium alloy cannot bridge {BRIDGED[0] * 1e3:.1f} to {BRIDGED[1] * 1e3:.2f} mm" if metal else (
        "a thick joint is a hot one")  # fmt: skip
    yield Caution(
        "lid-on-rim", "part", names,
        f"If the lid stands on its rim, {listed_as(names)} must bridge what is left, and {bridge}. Measure the depth "
        "of the lid's pocket, the height of die and bumps, and what is left of the adhesive, and check them with "
        f"mount_check before the lid is closed.{filled}",
        "vendor note on liquid metal, looked up; the rest follows from the geometry", 82,
    )  # fmt: skip
    yield Caution(
        "loose-lid", "part", names,
        f"A lid that is laid on {listed_as(names)} without adhesive shifts, tilts and passes all force of the mount "
        "to the die: glue it at some spots of the rim with the mount closed, or fix it by the socket's frame, and keep "
        "the force within what a bare die takes.",
        PRACTICE, 67,
    )  # fmt: skip


def _forced(s: Scene) -> Iterator[Caution]:
    """Tell of a joint whose pressure was set by a mod or is described."""
    pressed = [i for i in s.items.values() if isinstance(i.part, Interface) and i.part.pressure is not None]
    if s.mod is None or not pressed:
        return
    told = ", ".join(
        f"{i.part.pressure.si / 1e3:.0f} kPa on {i.name!r}"
        for i in pressed
        if isinstance(i.part, Interface) and i.part.pressure is not None
    )
    yield Caution(
        "mount-force", "part", named(pressed),
        f"The mount is described to press with {told}: tighten diagonally in small steps, let no corner run ahead, and "
        "check the force against the limits of the part, its socket and the board with mount_check; too much bends the "
        "board and breaks dies, too little opens socket contacts.",
        PRACTICE, 64,
    )  # fmt: skip


def _flowing(s: Scene) -> Iterator[Caution]:
    flow = getattr(s.stack.coolant, "flow", None)
    changed = any(edit.verb == "change" and edit.target == "coolant.flow" for edit in s.stack.edits)
    if flow is not None and changed:
        yield Caution(
            "other-flow", "result", ("coolant",),
            "The flow of the 'coolant' is another: read it from a flow meter, since a pump gives less against more "
            "resistance, keep the velocity in copper below about 1.5 to 2 m/s, and let the loop settle anew before "
            "readings are taken.",
            f"velocity limit: {MEMORY}; the rest: {PRACTICE}", 35,
        )  # fmt: skip


def _mixed_metals(s: Scene) -> Iterator[Caution]:
    top = s.stack.layers[-1] if s.stack.layers else None
    if s.mod is None or not isinstance(top, Layer) or s.stack.coolant.reference == "ambient":
        return
    if top.material.is_aluminium:
        yield Caution(
            "mixed-metals", "part", (top.name,),
            f"{top.name!r} is of aluminium: in one loop with copper or brass it corrodes within weeks to months, "
            "inhibitor or not. If the coolant is a liquid, use a plate of the metal of the rest of the loop.",
            PRACTICE, 52,
        )  # fmt: skip


RULES: tuple[Rule, ...] = (
    _lapping,
    _static,
    _relaid_lid,
    _forced,
    _flowing,
    _mixed_metals,
)
