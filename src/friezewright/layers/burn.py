"""How an ornament is burned: filled line by line, its contour followed, or filled with score lines."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from enum import StrEnum

__all__ = ["Burn", "BurnStyle", "Lining"]


class Burn(StrEnum):
    """What is done with an area.

    ``filled``: burned line by line, in the engrave layer. ``contour``: its outline followed, ``lined``: filled with
    parallel lines, both in the score layer and much faster on most machines.
    """

    FILLED = "filled"
    CONTOUR = "contour"
    LINED = "lined"


@dataclass(frozen=True, slots=True, kw_only=True)
class Lining:
    """Parallel score lines inside an area.

    Parameters
    ----------
    spacing_mm
        Distance between neighbouring lines.
    angle_rad
        Direction of the lines, from +x towards +y.
    weave
        Whether a second set crosses the first at right angles.
    """

    spacing_mm: float = 0.5
    angle_rad: float = math.pi / 4
    weave: bool = False

    def __post_init__(self) -> None:
        if not (math.isfinite(self.spacing_mm) and self.spacing_mm > 0.0):
            raise ValueError(f"lines need a spacing of more than 0 mm, got {self.spacing_mm}")
        if not math.isfinite(self.angle_rad):
            raise ValueError(f"angle_rad must be finite, got {self.angle_rad}")


@dataclass(frozen=True, slots=True, kw_only=True)
class BurnStyle:
    """How one ornament is burned.

    Parameters
    ----------
    burn
        For the motif, and for its partners too unless they get their own.
    partner_burn
        For copies whose member number is 1 or more.
    lining
        How areas are lined.
    contour_edges
        Whether a contour also runs along the line at which a motif was trimmed.
    """

    burn: Burn = Burn.FILLED
    partner_burn: Burn | None = None
    lining: Lining = field(default_factory=Lining)
    contour_edges: bool = False

    def burn_of(self, member: int) -> Burn:
        """Return the burn of copies with this member number."""
        return self.burn if member == 0 or self.partner_burn is None else self.partner_burn
