"""Gathering: what is at hand, what a bed takes, what is short, when to order, soak and build."""
