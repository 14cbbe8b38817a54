"""A strip at other sizes: how far it must be opened to keep its gap, straight and on bends."""

from __future__ import annotations

import math

from friezewright.ornament.laying import StripSizes, least_pitch
from friezewright.ornament.request import BorderRequest

__all__ = ["SMALLEST_SCALE", "ScaledStrips"]

SMALLEST_SCALE = 0.8
"""A border is never made smaller than this to fit."""

# Pitches up to this multiple of the strip's own are tried to keep the gap.
_WIDEST = 3.0


class ScaledStrips:
    """The strip at every scale, with its gap kept straight and on bends.

    Measuring a gap costs more than everything else in a plan, so plans are looked through with estimates, and only the
    one that is going to be used is measured. Everything is worked out once.
    """

    def __init__(self, request: BorderRequest) -> None:
        self._gap = request.gap_mm
        self._own = StripSizes.of(request.strip)
        self._straight: dict[float, float | None] = {}
        self._bent: dict[tuple[object, ...], float] = {}

    def at(self, scale: float, *, exact: bool) -> StripSizes | None:
        """Return the strip at a scale, opened to keep the gap; None where that fails, but never at scale 1."""
        sizes = self._own.scaled(scale)
        if scale >= 1.0 or exact:
            pitch = self._measured(scale)
        else:
            # How far it must be opened grows almost evenly from nothing at scale 1.
            first, last = self._measured(1.0), self._measured(SMALLEST_SCALE)
            if first is None or last is None:
                return None
            pitch = first + (last - first) * (1.0 - scale) / (1.0 - SMALLEST_SCALE)
        if pitch is None:
            return sizes if scale == 1.0 else None
        return sizes.opened(pitch, self._gap)

    def _measured(self, scale: float) -> float | None:
        if scale not in self._straight:
            sizes = self._own.scaled(scale)
            self._straight[scale] = least_pitch(
                sizes, gap_mm=self._gap, radii_mm=(), rigid=True, most_mm=_WIDEST * sizes.strip.pitch_mm
            )
        return self._straight[scale]

    def pitch_on(self, sizes: StripSizes, radii_mm: tuple[float, ...], rigid: bool, *, exact: bool) -> float:
        """Return the least pitch on bends; the strip's own where no pitch is enough, and the measured gap will tell."""
        pitch = sizes.strip.pitch_mm
        if not radii_mm:
            return pitch
        if exact:
            return self._bent_pitch(sizes, radii_mm, rigid)
        # In proportion to the height over the radius, the pitch grows almost evenly from the straight one.
        own = self.at(1.0, exact=True)
        assert own is not None
        most = pitch
        for radius in radii_mm:
            share = own.height_mm / radius
            near = math.copysign(max(0.05, 0.05 * round(abs(share) / 0.05)), share)
            found = self._bent_pitch(own, (own.height_mm / near,), rigid) / own.strip.pitch_mm
            most = max(most, pitch * (1.0 + (found - 1.0) * (sizes.height_mm / radius) / near))
        return min(most, _WIDEST * pitch)

    def _bent_pitch(self, sizes: StripSizes, radii_mm: tuple[float, ...], rigid: bool) -> float:
        key = (sizes.height_mm, sizes.strip.pitch_mm, tuple(round(r, 6) for r in radii_mm), rigid)
        if key not in self._bent:
            gap, most = min(self._gap, sizes.strip.gap_mm), _WIDEST * sizes.strip.pitch_mm
            found = least_pitch(sizes, gap_mm=gap, radii_mm=radii_mm, rigid=rigid, most_mm=most)
            self._bent[key] = sizes.strip.pitch_mm if found is None else found
        return self._bent[key]
