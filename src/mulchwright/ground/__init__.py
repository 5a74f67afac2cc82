"""The ground: where the sun stands, what throws shadow, how much light a spot gets, what a bed runs into.

Nouns and arrays in, arrays and dataclasses out: no clock, no files.
"""
