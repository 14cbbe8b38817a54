"""What was read from an SVG drawing: its page, its paths in order, and what could not be read."""

from __future__ import annotations

from dataclasses import dataclass, replace

from friezewright.errors import DrawingError
from friezewright.findings import Finding
from friezewright.geometry import affine
from friezewright.geometry.strokes import Strokes
from friezewright.reading.measures import ViewBox

__all__ = ["SvgDrawing", "SvgPath"]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class SvgPath:
    """One drawn element.

    Parameters
    ----------
    id
        Its ``id``, or that of the ``use`` that shows it; None if it has none.
    stroke, fill
        Colours as ``#rrggbb`` (or the word or reference written, where it is no plain colour); None for no paint.
    even_odd
        Whether its area is filled by the even-odd rule; by the nonzero rule otherwise.
    layers
        ``id`` of the groups it stands in, outermost first.
    data
        Its ``data-`` attributes and those of its groups, the nearest value of each key, sorted by key.
    strokes
        Its subpaths after all transforms, in user units of the drawing (in mm once it is scaled), y down.
    """

    id: str | None
    stroke: str | None
    fill: str | None
    even_odd: bool
    layers: tuple[str, ...]
    data: tuple[tuple[str, str], ...]
    strokes: Strokes


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class SvgDrawing:
    """A drawing from elsewhere.

    Parameters
    ----------
    name
        What messages call it.
    page
        The part of the plane its page shows, in the units of ``paths``; None if the file does not say.
    unit_mm
        Millimetres a unit along x and along y; None if the drawing states no real size.
    paths
        In the order they are painted; hidden ones are left out.
    findings
        What could not be read, or was read with a doubt.
    """

    name: str
    page: ViewBox | None
    unit_mm: tuple[float, float] | None
    paths: tuple[SvgPath, ...]
    findings: tuple[Finding, ...]

    @property
    def size_mm(self) -> tuple[float, float] | None:
        """Width and height of the page in mm; None if either is unknown."""
        if self.page is None or self.unit_mm is None:
            return None
        return self.page.width * self.unit_mm[0], self.page.height * self.unit_mm[1]

    def in_mm(self) -> SvgDrawing:
        """Return the drawing with one unit a millimetre, its origin where it was.

        Raises
        ------
        DrawingError
            If the drawing states no real size.
        """
        if self.unit_mm is None:
            raise DrawingError(
                f"{self.name} does not say how large it is; give one known length, such as rim_width = "
                '"400 mm" in the job, or set width and height with a unit, such as width="400mm"'
            )
        return self._stretched(*self.unit_mm)

    def scaled(self, mm_per_unit: float) -> SvgDrawing:
        """Return the drawing in mm, one of its units being ``mm_per_unit``, whatever it says of its own size.

        Raises
        ------
        DrawingError
            If the factor is not a finite number above zero.
        """
        if not 0.0 < mm_per_unit < float("inf"):
            raise DrawingError(f"{self.name}: a unit of {mm_per_unit} mm is no size; give a length above zero")
        # Now it has a size.
        findings = tuple(finding for finding in self.findings if finding.code != "no-size")
        return replace(self._stretched(mm_per_unit, mm_per_unit), findings=findings)

    def _stretched(self, along_x: float, along_y: float) -> SvgDrawing:
        if along_x == along_y == 1.0:
            return replace(self, unit_mm=(1.0, 1.0))
        matrix = affine.scaling(along_x, along_y)
        page = self.page
        if page is not None:
            page = ViewBox(page.x * along_x, page.y * along_y, page.width * along_x, page.height * along_y)
        paths = tuple(replace(path, strokes=path.strokes.transformed(matrix)) for path in self.paths)
        return replace(self, page=page, unit_mm=(1.0, 1.0), paths=paths)
