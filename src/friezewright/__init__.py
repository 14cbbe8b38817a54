"""Friezewright: ornament from a motif, fitted to a laser-cut panel, measured, timed and priced."""

__all__ = ["__version__"]

# A constant, not looked up from package metadata: the look-up costs as much as starting the program.
__version__ = "0.1.0"
