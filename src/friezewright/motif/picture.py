"""Reading a bitmap: whatever Pillow opens becomes grey levels in which the ink is dark and the paper light.

Terms. *Grey* is brightness, 0 black to 255 white. *Ink* is what the motif is drawn with, *paper* the rest. The *ink
level* is the brightness that parts them. *Dust* is a speck of ink, or of paper inside the ink, too small to be meant.
"""

from __future__ import annotations

import io
import warnings
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageOps, UnidentifiedImageError

from friezewright.errors import InputError, LimitError, PictureError
from friezewright.findings import Finding, Severity
from friezewright.motif.ink import GreyArray, even_out, is_two_level, levels_of, without_dust

__all__ = ["LARGEST_MEGAPIXELS", "InkSettings", "Picture", "read_picture"]

LARGEST_MEGAPIXELS = 64
_SMALLEST_SIDE_PX = 3
# Formats that Pillow hands to an outside program, or to the system, instead of decoding them itself.
_DRAWINGS = {"EPS": "a PostScript drawing", "WMF": "a metafile drawing"}
# Greys closer together than this are one tone: a lossy file wavers by a few levels even where nothing is drawn.
_LEAST_CONTRAST = 12.0


@dataclass(frozen=True, slots=True, kw_only=True)
class InkSettings:
    """How a picture is read as ink on paper, and how freely its outline is drawn.

    Parameters
    ----------
    ink_level
        Brightness, 0 to 1, below which a spot is ink; found from the picture when left out.
    dust_px
        Specks of ink, and pinholes in it, with an area of fewer pixels than this are dropped.
    even_light
        Whether uneven light is taken out first; decided from the picture when left out.
    light_on_dark
        Whether the motif is light on a dark ground; decided from the picture's rim when left out.
    crop
        Left, top, right and bottom of the part to read, in px of the picture as it is seen.
    smoothness
        How sharp a bend may be and still be drawn round: 0 makes every bend a corner, 1 none.
    joining_px
        How far the line may move, in px, for neighbouring curves to be joined into one.
    follow_grey
        Whether the outline is moved onto the edge that the grey levels show between pixels.
    """

    ink_level: float | None = None
    dust_px: float = 6.0
    even_light: bool | None = None
    light_on_dark: bool | None = None
    crop: tuple[int, int, int, int] | None = None
    smoothness: float = 0.75
    joining_px: float = 0.2
    follow_grey: bool = True

    def __post_init__(self) -> None:
        if self.ink_level is not None and not 0.0 < self.ink_level < 1.0:
            raise InputError(f"the ink level must lie between 0 and 1, got {self.ink_level}; try 0.5")
        if not 0.0 <= self.dust_px < 1e6:
            raise InputError(f"the size of dust must be 0 px or more, got {self.dust_px}; try 6")
        if not 0.0 <= self.smoothness <= 1.0:
            raise InputError(f"the smoothness must lie between 0 and 1, got {self.smoothness}; try 0.75")
        if not 0.0 <= self.joining_px <= 5.0:
            raise InputError(f"the joining distance must lie between 0 and 5 px, got {self.joining_px}; try 0.2")
        if self.crop is not None:
            left, top, right, bottom = self.crop
            if not (0 <= left < right and 0 <= top < bottom):
                raise InputError(f"the crop must be left, top, right, bottom with left < right, got {self.crop}")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Picture:
    """A bitmap read as ink on paper.

    Parameters
    ----------
    name
        What messages call it.
    size_px
        Width and height of the whole picture as it is seen.
    offset_px
        Where the first pixel of ``grey`` and ``ink`` lies in the whole picture, (x, y).
    grey
        Brightness from 0 to 255, ink dark, shape (h, w) of the part that is read.
    ink
        Which pixels are ink once dust is gone, shape (h, w).
    ink_grey, paper_grey, level
        Typical brightness of ink and of paper, and the brightness that parts them.
    two_level
        Whether hardly any pixel lies between ink and paper, so that greys say nothing about the edge.
    findings
        What was decided on the way.
    """

    name: str
    size_px: tuple[int, int]
    offset_px: tuple[int, int]
    grey: GreyArray
    ink: NDArray[np.bool_]
    ink_grey: float
    paper_grey: float
    level: float
    two_level: bool
    findings: tuple[Finding, ...] = ()


def read_picture(data: bytes, settings: InkSettings, *, name: str) -> Picture:
    """Return the bytes of a bitmap file read as ink on paper.

    Clear grounds are taken as white paper, CMYK, palettes and 16-bit levels as what they look like, pictures that a
    camera marked as turned are turned, and of animations the first frame is read.

    Raises
    ------
    PictureError
        If the bytes are no bitmap, or nothing is drawn in it.
    LimitError
        If it has more than 64 megapixels; its size is read before its pixels are.
    """
    grey = _decoded(data, name)
    height, width = grey.shape
    findings: list[Finding] = []
    offset = (0, 0)
    if settings.crop is not None:
        left, top, right, bottom = settings.crop
        if left >= width or top >= height:
            raise PictureError(f"{name} is {width} x {height} px and has nothing at the crop {settings.crop}")
        grey, offset = grey[top:bottom, left:right], (left, top)
    if min(grey.shape) < _SMALLEST_SIDE_PX:
        raise PictureError(
            f"{name} is {grey.shape[1]} x {grey.shape[0]} px; a motif needs at least "
            f"{_SMALLEST_SIDE_PX} px each way, and a few hundred to be drawn well"
        )
    if float(grey.max()) - float(grey.min()) < _LEAST_CONTRAST:
        tone = "white" if grey.mean() > 200.0 else "black" if grey.mean() < 55.0 else "one grey"
        raise PictureError(f"nothing is drawn in {name}: it is all {tone}; give a dark motif on light paper")

    grey, reversed_ = _dark_on_light(grey, settings)
    if reversed_:
        findings.append(
            Finding(
                code="light-on-dark", severity=Severity.NOTE, message=f"{name} was read as light ink on a dark ground"
            )
        )
    if settings.even_light is not False and not is_two_level(grey):
        grey, spread = even_out(grey, always=settings.even_light is True)
        if spread is not None:
            findings.append(
                Finding(
                    code="uneven-light",
                    severity=Severity.NOTE,
                    message=f"the light on {name} varied by {spread:.0%} and was evened out",
                )
            )
    levels = levels_of(grey)
    level = levels.middle if settings.ink_level is None else 255.0 * settings.ink_level
    raw = grey < level
    if not raw.any():
        raise PictureError(f"nothing in {name} is darker than the ink level {level / 255.0:.2f}; raise it")
    if raw.all():
        raise PictureError(f"everything in {name} is darker than the ink level {level / 255.0:.2f}; lower it")
    ink, dust = without_dust(raw, settings.dust_px)
    if not ink.any():
        raise PictureError(
            f"nothing is left of {name} once specks under {settings.dust_px:g} px are dropped; make dust smaller"
        )
    if dust.count:
        findings.append(
            Finding(
                code="dust-dropped",
                severity=Severity.NOTE,
                message=f"{dust.count} {'speck' if dust.count == 1 else 'specks'} of under {settings.dust_px:g} px "
                f"dropped from {name}, the largest {dust.largest_px} px",
            )
        )
        grey = np.where(ink == raw, grey, np.where(ink, levels.ink, levels.paper)).astype(np.float32)
    touched = _touched_sides(ink)
    if touched:
        findings.append(
            Finding(
                code="ink-at-edge",
                severity=Severity.NOTE,
                message=f"the ink of {name} reaches the {' and '.join(touched)} edge; the motif ends straight there",
            )
        )
    return Picture(
        name=name,
        size_px=(width, height),
        offset_px=offset,
        grey=grey,
        ink=ink,
        ink_grey=levels.ink,
        paper_grey=levels.paper,
        level=level,
        two_level=is_two_level(grey),
        findings=tuple(findings),
    )


def _decoded(data: bytes, name: str) -> GreyArray:
    """Return the brightness of the first frame as it is seen, shape (h, w)."""
    if not data:
        raise PictureError(f"{name} is empty; give a bitmap such as a PNG or a JPEG")
    with warnings.catch_warnings():
        # Remarks about odd metadata are of no use to anybody here; the one about size is an error.
        warnings.simplefilter("ignore")
        warnings.simplefilter("error", Image.DecompressionBombWarning)
        try:
            with Image.open(io.BytesIO(data)) as image:
                if image.format in _DRAWINGS:
                    raise PictureError(f"{name} is {_DRAWINGS[image.format]}, not a bitmap; save it as a PNG")
                width, height = image.size
                if width * height > LARGEST_MEGAPIXELS * 1_000_000:
                    raise LimitError(
                        f"{name} has {width * height / 1e6:.0f} megapixels; the limit is {LARGEST_MEGAPIXELS}, "
                        "and a few are plenty for a motif"
                    )
                image.load()
                return _brightness(ImageOps.exif_transpose(image), name)
        except (Image.DecompressionBombWarning, Image.DecompressionBombError) as error:
            raise LimitError(f"{name} has more than {LARGEST_MEGAPIXELS} megapixels, which is the limit") from error
        except UnidentifiedImageError as error:
            raise PictureError(
                f"{name} is not a bitmap that can be read; give a PNG, JPEG, TIFF, GIF or BMP"
            ) from error
        except (InputError, MemoryError):
            raise
        except Exception as error:
            # Decoders of damaged files raise whatever they stumble over; to the user all of it means one thing.
            raise PictureError(f"{name} is damaged and cannot be read; save it again as a PNG") from error


def _brightness(image: Image.Image, name: str) -> GreyArray:
    """Return the brightness of a decoded image on white paper, 0 to 255."""
    if image.mode.startswith("I") or image.mode == "F":
        deep = np.asarray(image, dtype=np.float32)
        if not np.isfinite(deep).all():
            raise PictureError(f"{name} holds levels that are not numbers; save it again as a PNG")
        top = float(deep.max(initial=0.0))
        full = 1.0 if image.mode == "F" and top <= 1.0 else 255.0 if top <= 255.0 and image.mode != "I;16" else 65535.0
        return np.asarray(np.clip(deep * np.float32(255.0 / full), 0.0, 255.0), dtype=np.float32)
    if image.mode in {"LA", "La", "PA", "RGBA", "RGBa"} or "transparency" in image.info:
        seen = image.convert("RGBA")
        paper = Image.new("RGBA", seen.size, (255, 255, 255, 255))
        grey = np.asarray(Image.alpha_composite(paper, seen).convert("L"), dtype=np.float32)
        if float(grey.max()) - float(grey.min()) < _LEAST_CONTRAST:
            # White ink on a clear ground shows nothing on white paper: what is opaque is the ink.
            return np.asarray(255.0 - np.asarray(seen.getchannel("A"), dtype=np.float32), dtype=np.float32)
        return grey
    if image.mode not in {"L", "1"}:
        image = image.convert("RGB")
    return np.asarray(image.convert("L"), dtype=np.float32)


def _dark_on_light(grey: GreyArray, settings: InkSettings) -> tuple[GreyArray, bool]:
    """Return the greys with the ink dark, and whether they had to be reversed."""
    light_on_dark = settings.light_on_dark
    if light_on_dark is None:
        # Paper surrounds a motif, so the ground is what most of the picture's rim shows.
        rim = np.concatenate([grey[0], grey[-1], grey[:, 0], grey[:, -1]])
        light_on_dark = float(np.mean(rim < levels_of(grey).middle)) > 0.6
    return (np.asarray(255.0 - grey, dtype=np.float32), True) if light_on_dark else (grey, False)


def _touched_sides(ink: NDArray[np.bool_]) -> list[str]:
    sides = {"top": ink[0], "right": ink[:, -1], "bottom": ink[-1], "left": ink[:, 0]}
    return [side for side, row in sides.items() if row.any()]
