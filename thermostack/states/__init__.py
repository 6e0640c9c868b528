"""States: stacks with their readings, and what the readings should have been for any values of the unknowns."""

from .model import USUAL, Measured, StatesModel, inputs_by_identity, states_model
from .state import State, mount_of, with_its_mount

__all__ = [
    "USUAL",
    "Measured",
    "State",
    "StatesModel",
    "inputs_by_identity",
    "mount_of",
    "states_model",
    "with_its_mount",
]
