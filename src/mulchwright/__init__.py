"""Mulchwright: plan, build, tend and pick edible-mushroom beds in the mulch of a food garden."""

__all__ = ["__version__"]

__version__ = "0.1.0"
