"""Solvers: graph and arrays in, influence matrix out."""
