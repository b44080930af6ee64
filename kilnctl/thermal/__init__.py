"""Physics with sources: materials, air, surfaces, walls, box, bridges, enclosure radiation, thermocouples, elements.

Temperatures are in °C unless a name ends in `_k`; every function states its range and refuses outside it.
"""
