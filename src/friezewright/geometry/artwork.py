"""Artwork: shapes, and where copies of them stand.

A whole motif is one shape placed thousands of times; a trimmed, bent or fused piece is a shape placed once. Copies stay
matrices until something has to be written or measured.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Generic, TypeVar

import numpy as np

from friezewright.geometry import affine
from friezewright.geometry.affine import FloatArray
from friezewright.geometry.outline import IntArray, Outline, frozen
from friezewright.geometry.strokes import Strokes

__all__ = ["Artwork", "Placements", "bounds_of", "concatenate_artwork"]

ShapeT = TypeVar("ShapeT", Outline, Strokes)


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Placements:
    """Copies of shapes.

    Parameters
    ----------
    matrix
        Affine maps from the shape's own frame to the panel, shape (n, 2, 3).
    shape
        Which shape each copy shows, shape (n,).
    member
        Which copy of its repeat each one is, shape (n,): 0 for the motif itself, 1 and up for its partners. Lets a
        second burn be given to the partner.
    """

    matrix: FloatArray
    shape: IntArray
    member: IntArray

    def __post_init__(self) -> None:
        object.__setattr__(self, "matrix", frozen(self.matrix))
        object.__setattr__(self, "shape", frozen(self.shape, np.int64))
        object.__setattr__(self, "member", frozen(self.member, np.int64))
        count = len(self.matrix)
        if self.matrix.shape != (count, 2, 3) or len(self.shape) != count or len(self.member) != count:
            raise ValueError("placements need one matrix (2, 3), one shape and one member a copy")
        if not np.isfinite(self.matrix).all():
            raise ValueError("placements must be finite")

    def __len__(self) -> int:
        return len(self.matrix)

    def moved(self, matrix: FloatArray) -> Placements:
        """Return the same copies carried along by one affine map (2, 3)."""
        return Placements(matrix=affine.compose(matrix, self.matrix), shape=self.shape, member=self.member)

    def chosen(self, which: IntArray | np.ndarray) -> Placements:
        """Return some of the copies, by index or mask."""
        return Placements(matrix=self.matrix[which], shape=self.shape[which], member=self.member[which])


@dataclass(frozen=True, slots=True, eq=False)
class Artwork(Generic[ShapeT]):
    """Shapes and the places of their copies."""

    shapes: tuple[ShapeT, ...]
    placements: Placements

    def __post_init__(self) -> None:
        index = self.placements.shape
        if len(index) and (index.min() < 0 or index.max() >= len(self.shapes)):
            raise ValueError(f"placements name shapes 0..{index.max()}, but there are {len(self.shapes)}")

    def __len__(self) -> int:
        return len(self.placements)

    def copies(self) -> Iterator[ShapeT]:
        """Yield every copy as a shape of its own: for tests and small counts."""
        for matrix, shape in zip(self.placements.matrix, self.placements.shape, strict=True):
            yield self.shapes[shape].transformed(matrix)

    def moved(self, matrix: FloatArray) -> Artwork[ShapeT]:
        """Return the artwork carried along by one affine map (2, 3)."""
        return Artwork(self.shapes, self.placements.moved(matrix))

    def chosen(self, which: IntArray | np.ndarray) -> Artwork[ShapeT]:
        """Return some of the copies, by index or mask; shapes that no copy shows any more are dropped."""
        placements = self.placements.chosen(which)
        used, index = np.unique(placements.shape, return_inverse=True)
        renamed = Placements(matrix=placements.matrix, shape=index.reshape(-1), member=placements.member)
        return Artwork(tuple(self.shapes[i] for i in used), renamed)

    @classmethod
    def single(cls, shapes: Iterable[ShapeT], *, member: int = 0) -> Artwork[ShapeT]:
        """Return shapes that are placed once each, where they are."""
        kept = tuple(shapes)
        count = len(kept)
        return cls(
            kept,
            Placements(matrix=affine.identity(count), shape=np.arange(count), member=np.full(count, member)),
        )


def bounds_of(artwork: Artwork[ShapeT]) -> FloatArray:
    """Return the box ``[[x0, y0], [x1, y1]]`` in mm that holds all copies.

    Exact for copies that are moved or turned by quarters; for others the box of each shape's own box, so never
    too small.

    Raises
    ------
    ValueError
        If there are no copies.
    """
    if not len(artwork):
        raise ValueError("artwork without copies has no bounds")
    boxes = np.stack([shape.bounds() for shape in artwork.shapes])
    corners = np.stack([boxes[:, [i, j], [0, 1]] for i in (0, 1) for j in (0, 1)], axis=1)
    placed = corners[artwork.placements.shape]
    maps = artwork.placements.matrix[:, None]
    x = placed[..., 0] * maps[..., 0, 0] + placed[..., 1] * maps[..., 0, 1] + maps[..., 0, 2]
    y = placed[..., 0] * maps[..., 1, 0] + placed[..., 1] * maps[..., 1, 1] + maps[..., 1, 2]
    return np.array([[x.min(), y.min()], [x.max(), y.max()]])


def concatenate_artwork(parts: Iterable[Artwork[ShapeT]]) -> Artwork[ShapeT]:
    """Return all copies of several artworks as one.

    Raises
    ------
    ValueError
        If there are none.
    """
    kept = list(parts)
    if not kept:
        raise ValueError("no artwork to put together")
    offsets = np.cumsum([0] + [len(part.shapes) for part in kept])
    return Artwork(
        tuple(shape for part in kept for shape in part.shapes),
        Placements(
            matrix=np.concatenate([part.placements.matrix for part in kept]),
            shape=np.concatenate([p.placements.shape + o for p, o in zip(kept, offsets[:-1], strict=True)]),
            member=np.concatenate([part.placements.member for part in kept]),
        ),
    )
