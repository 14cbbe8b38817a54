"""Ornament fitted to a panel: borders, corners, bends, fields, single motifs and frame lines."""
