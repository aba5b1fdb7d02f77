"""Geometry and nature: the Earth, the layers, the sun, the seasons. Pure; imports nothing of ours."""
