"""Stacks made ready for solving: the only place where part names become indices."""

from .model import Model, Row, Values, contact_areas, model_of

__all__ = ["Model", "Row", "Values", "contact_areas", "model_of"]
