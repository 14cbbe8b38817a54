"""Curves, outlines, strokes and placements as arrays; the planar engine lives in :mod:`friezewright.geometry.planar`.

Conventions, everywhere in the program: millimetres, y points down, a positive angle turns from +x towards +y
(clockwise on
screen), a shell has positive signed area and a hole negative. Arrays are float64 and read-only. Import from the
modules.
"""
