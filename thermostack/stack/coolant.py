"""What carries the heat away at the top face."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from ..catalogue import CoolerClass, cooler_class, fluid
from ..errors import InputError
from ..units import Value, ValueLike
from . import fields
from .cooling import AirTower, ChannelPlate, CoolingModel, JetPlate, Radiator
from .fields import Pair, PairLike

__all__ = ["Coolant"]

Reference = Literal["inlet", "mean", "ambient"]
FILMS = "conductance='35 kW/m^2/K', resistance='0.03 K/W' or model='water block' or ChannelPlate(…)"


@dataclass(frozen=True, init=False)
class Coolant:
    """What carries the heat away at the top face, and where its temperature is read.

    Parameters
    ----------
    temperature : value
        As read at `reference`; with a `radiator`, that of the air which enters it.
    conductance : value, optional
        Heat flow per wetted area and kelvin. [kW/m²/K]
    resistance : value, optional
        Coolant to top face, over the wetted area, in place of a conductance. [K/W] With `contains_plate`.
    model : ChannelPlate, JetPlate, AirTower or str, optional
        In place of a figure: what follows from sizes and `flow`; or a class such as ``"water block"`` (see
        ``thermostack.coolers()``), whose range comes with it and is shown as *assumed*.
    wetted : pair of values, optional
        Area that the coolant reaches; the whole top face if not given.
    centre : pair of values
        Where the centre of the wetted area lies.
    reference : {"inlet", "mean", "ambient"}
        Where the temperature is read. A figure refers to the temperature at this place; with a radiator, to the inlet
        of the block (common practice, no source). A channel or jet plate's film refers to the mean of inlet and
        outlet, which `flow` ties to the place where the temperature is read.
    flow : value, optional
        Of the coolant through the block (through an air tower, of the air). Needed by a model and with a radiator.
    fluid : str, optional
        What flows: ``"water"`` (air through a tower) if not given; see ``thermostack.fluids()``. Its properties are
        those at the coolant's temperature.
    radiator : Radiator, optional
        Gives the heat to the air, with ``reference="ambient"``: the coolant then warms with the power.
    contains_plate : bool, optional
        Whether a `resistance` contains the cold plate (as one from the plate's contact face to the coolant does). Then
        the plate is no layer of the stack, and an interface may lie on top; else the plate is the topmost layer.
    """

    temperature: Value
    conductance: Value | None
    resistance: Value | None
    model: CoolingModel | CoolerClass | None
    wetted: Pair | None
    centre: Pair
    reference: Reference
    flow: Value | None
    fluid: str | None
    radiator: Radiator | None
    contains_plate: bool | None

    def __init__(
        self,
        temperature: ValueLike,
        *,
        conductance: ValueLike | None = None,
        resistance: ValueLike | None = None,
        model: CoolingModel | CoolerClass | str | None = None,
        wetted: PairLike | None = None,
        centre: PairLike = ("0 mm", "0 mm"),
        reference: Reference = "inlet",
        flow: ValueLike | None = None,
        fluid: str | None = None,
        radiator: Radiator | None = None,
        contains_plate: bool | None = None,
    ) -> None:
        given = [name for name, film in _films(conductance, resistance, model) if film is not None]
        if len(given) != 1:
            told = "neither conductance, resistance nor model" if not given else " and ".join(given)
            raise InputError(f"{told} given", where="coolant", expected=f"one of them, such as {FILMS}")
        if reference not in ("inlet", "mean", "ambient"):
            raise InputError(
                f"{reference!r} is not known", where="coolant.reference", expected="inlet, mean or ambient"
            )
        fields.put(
            self,
            temperature=fields.temperature(temperature, "coolant.temperature"),
            conductance=fields.optional(conductance, "conductance", "coolant.conductance"),
            resistance=fields.optional(resistance, "resistance", "coolant.resistance"),
            model=_model(model),
            wetted=None if wetted is None else fields.footprint(wetted, "coolant.wetted"),
            centre=fields.position(centre, "coolant.centre"),
            reference=reference,
            flow=fields.optional(flow, "flow", "coolant.flow"),
            fluid=None,
            radiator=radiator,
            contains_plate=contains_plate,
        )
        fields.put(self, fluid=self._named(fluid))
        self._check_plate()
        self._check_loop()

    def _named(self, given: str | None) -> str | None:
        """Return the name of the fluid: as given, or the usual one of what it flows through; none where none flows."""
        if given is None:
            usual = getattr(self.model, "fluid", "water")
            return usual if self.flow is not None else None
        try:
            name = fluid(given).name
        except InputError as error:
            raise error.at("coolant.fluid") from error
        if (name == "air") != isinstance(self.model, AirTower) and self.model is not None:
            right = "air" if isinstance(self.model, AirTower) else "a liquid, such as water"
            raise InputError(f"{name} does not flow through this", where="coolant.fluid", expected=right)
        if self.flow is None:
            raise InputError("a fluid without a flow", where="coolant.flow", expected="for example flow='4 L/min'")
        return name

    def _check_plate(self) -> None:
        asked = (
            "contains_plate=False, with the plate as topmost layer, or contains_plate=True, with no plate in the stack"
        )
        if self.resistance is not None and self.contains_plate not in (True, False):
            problem = f"does {self.resistance} contain the cold plate itself?"
            raise InputError(problem, where="coolant.contains_plate", expected=asked)
        if self.resistance is None and self.contains_plate is not None:
            raise InputError(
                "only a resistance can contain the plate", where="coolant.contains_plate", expected="nothing here"
            )

    def _check_loop(self) -> None:
        if self.radiator is not None and not isinstance(self.radiator, Radiator):
            problem, right = f"{self.radiator!r} is no radiator", "Radiator(resistance='0.03 K/W')"
            raise InputError(problem, where="coolant.radiator", expected=right)
        if self.radiator is not None and self.reference != "ambient":
            raise InputError(
                f"with a radiator the temperature is that of the air, not read at the {self.reference}",
                where="coolant.reference",
                expected="reference='ambient'",
            )
        if self.radiator is not None and isinstance(self.model, AirTower):
            raise InputError("an air tower has no loop", where="coolant.radiator", expected="no radiator")
        needs_flow = isinstance(self.model, ChannelPlate | JetPlate | AirTower) or self.radiator is not None
        if needs_flow and self.flow is None:
            example = "60 m^3/h" if isinstance(self.model, AirTower) else "4 L/min"
            raise InputError("no flow is given", where="coolant.flow", expected=f"for example flow='{example}'")
        if isinstance(self.model, AirTower) and self.reference == "mean":
            raise InputError(
                "air is read before the tower", where="coolant.reference", expected="reference='ambient' or 'inlet'"
            )
        if isinstance(self.model, ChannelPlate | JetPlate) and self.reference == "ambient" and self.radiator is None:
            raise InputError(
                "what lies between ambient and coolant is not given",
                where="coolant.radiator",
                expected="radiator=Radiator(resistance='0.03 K/W'), or reference='inlet' or 'mean'",
            )
        if isinstance(self.model, CoolerClass) and self.model.reference == "ambient" and self.radiator is not None:
            raise InputError(f"a {self.model.name} has no loop", where="coolant.radiator", expected="no radiator")

    @property
    def whole(self) -> bool:
        """Whether the figure or class contains the cold plate."""
        return bool(self.contains_plate) or (isinstance(self.model, CoolerClass) and self.model.contains_plate)

    name = "coolant"


def _films(*films: object) -> list[tuple[str, object]]:
    return list(zip(("conductance", "resistance", "model"), films, strict=True))


def _model(given: CoolingModel | CoolerClass | str | None) -> CoolingModel | CoolerClass | None:
    if isinstance(given, str):
        try:
            return cooler_class(given)
        except InputError as error:
            raise error.at("coolant.model") from error
    if given is not None and not isinstance(given, ChannelPlate | JetPlate | AirTower | CoolerClass):
        right = "a class such as 'water block', or ChannelPlate(…), JetPlate(…) or AirTower(…)"
        raise InputError(f"{given!r} is no model of cooling", where="coolant.model", expected=right)
    return given
