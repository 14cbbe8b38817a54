"""Drawings and path motifs from elsewhere, read into the values of :mod:`friezewright.geometry`."""
