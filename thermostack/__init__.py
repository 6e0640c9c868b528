"""Thermal-resistance stack models of processor packages."""
