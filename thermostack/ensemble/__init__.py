"""Stacks sampled together: unknowns with their scopes, what variants share, emulators, and what the samples say."""

from .joint import LEAKAGE, JointModel, Output
from .result import At, Ensemble
from .sampling import ensemble_of, joint_model_of
from .unknowns import LearnedSampler, Unknown, after_calibration, unknowns_of, variables_of_stack
from .variant import Variant, variant_of

__all__ = [
    "LEAKAGE",
    "At",
    "Ensemble",
    "JointModel",
    "LearnedSampler",
    "Output",
    "Unknown",
    "Variant",
    "after_calibration",
    "ensemble_of",
    "joint_model_of",
    "unknowns_of",
    "variables_of_stack",
    "variant_of",
]
