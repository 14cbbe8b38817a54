"""Every numeric slack of the program, by name, each with the reason for its size.

A *tolerance* elsewhere always means one thing: the furthest a drawn line may lie from the true curve, and it is always
asked for. What stands here is different: slack for rounding, the same for every job.
"""

__all__ = ["COINCIDENT_MM", "FLATTEN_MM", "SNAP_MM", "ZONE_FLATTEN_MM", "ZONE_MARGIN_MM"]

COINCIDENT_MM = 1e-6
"""Points nearer than this are one: a thousand times the rounding of a double at 5 m, a thousandth of what is drawn."""

SNAP_MM = 1e-6
"""Grid on which an overlay is retried when the exact one fails, and on which results are settled before rounding."""

FLATTEN_MM = 0.01
"""Default of the command line for measuring and trimming copies: a fifteenth of a laser spot."""

ZONE_FLATTEN_MM = 0.001
"""How far a zone's polygon may lie from its true curve: the last decimal that is written."""

ZONE_MARGIN_MM = 0.002
"""A zone is drawn in by this more than asked, so that flattening and rounding to 0.001 mm never cross the line."""
