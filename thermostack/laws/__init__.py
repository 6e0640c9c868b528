"""Laws: one published equation a function; SI floats or arrays in and out, broadcasting, float64.

Nothing is imported here: ``from thermostack.laws import flux_channel`` loads only what it needs.
Results of scalar arguments are NumPy floats.
"""
