"""Whatever a bitmap file holds becomes ink on paper, or one clear error."""

from __future__ import annotations

import io
import struct
import zlib

import numpy as np
import pytest
from PIL import Image

from friezewright.errors import InputError, LimitError, PictureError
from friezewright.motif.ink import even_out, levels_of, otsu_level, without_dust
from friezewright.motif.picture import InkSettings, read_picture

# An L, so that every turn and mirror image of it differs.
HEIGHT, WIDTH = 60, 90
INK = np.zeros((HEIGHT, WIDTH), dtype=bool)
INK[10:50, 20:30] = True
INK[40:50, 20:70] = True
GREY = np.where(INK, 0, 255).astype(np.uint8)


def saved(image: Image.Image, form: str = "PNG", **options: object) -> bytes:
    file = io.BytesIO()
    image.save(file, form, **options)
    return file.getvalue()


def read(data: bytes, **settings: object):
    return read_picture(data, InkSettings(**settings), name="the picture")


def codes(picture) -> set[str]:
    return {finding.code for finding in picture.findings}


def with_clear_ground(ink_rgb: tuple[int, int, int]) -> Image.Image:
    pixels = np.zeros((HEIGHT, WIDTH, 4), dtype=np.uint8)
    pixels[INK] = (*ink_rgb, 255)
    return Image.fromarray(pixels)


def animation() -> bytes:
    frames = [Image.fromarray(GREY), Image.fromarray(GREY[:, ::-1])]
    return saved(frames[0], "GIF", save_all=True, append_images=frames[1:])


GREY_IMAGE = Image.fromarray(GREY)
FILES = {
    "one bit": saved(GREY_IMAGE.convert("1")),
    "grey": saved(GREY_IMAGE),
    "rgb": saved(GREY_IMAGE.convert("RGB")),
    "palette": saved(GREY_IMAGE.convert("RGB").quantize(4)),
    "clear ground": saved(with_clear_ground((0, 0, 0))),
    "white ink on a clear ground": saved(with_clear_ground((255, 255, 255))),
    "grey with alpha": saved(with_clear_ground((0, 0, 0)).convert("LA")),
    "16 bit": saved(Image.fromarray(GREY.astype(np.uint16) * 257)),
    "floating point": saved(Image.fromarray(GREY.astype(np.float32) / 255.0), "TIFF"),
    "32 bit": saved(Image.fromarray(GREY.astype(np.int32) * 257), "TIFF"),
    "cmyk": saved(GREY_IMAGE.convert("CMYK"), "TIFF"),
    "bmp": saved(GREY_IMAGE, "BMP"),
    "webp": saved(GREY_IMAGE.convert("RGB"), "WEBP", lossless=True),
    "first frame of an animation": animation(),
}


@pytest.mark.parametrize("kind", FILES)
def test_every_kind_of_file_shows_the_same_ink(kind):
    picture = read(FILES[kind])
    assert picture.size_px == (WIDTH, HEIGHT)
    assert np.array_equal(picture.ink, INK)
    assert picture.two_level


@pytest.mark.parametrize("kind", ["JPEG", "cmyk JPEG"])
def test_lossy_files_show_nearly_the_same_ink(kind):
    image = GREY_IMAGE.convert("CMYK") if kind.startswith("cmyk") else GREY_IMAGE
    assert np.count_nonzero(read(saved(image, "JPEG", quality=85)).ink != INK) < 12


@pytest.mark.parametrize("orientation", range(1, 9))
def test_a_picture_that_a_camera_turned_is_turned_back(orientation):
    undo = {
        1: lambda a: a, 2: lambda a: a[:, ::-1], 3: lambda a: a[::-1, ::-1], 4: lambda a: a[::-1],
        5: lambda a: a.T, 6: lambda a: np.rot90(a), 7: lambda a: a[::-1, ::-1].T, 8: lambda a: np.rot90(a, -1),
    }  # fmt: skip
    image = Image.fromarray(np.ascontiguousarray(undo[orientation](GREY)))
    exif = Image.Exif()
    exif[0x0112] = orientation
    picture = read(saved(image, exif=exif))
    assert picture.size_px == (WIDTH, HEIGHT)
    assert np.array_equal(picture.ink, INK)


def header_only(width: int, height: int) -> bytes:
    """Return a PNG that claims a size and holds next to nothing."""

    def chunk(kind: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))

    header = struct.pack(">IIBBBBB", width, height, 1, 0, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + chunk(b"IDAT", zlib.compress(b"")) + chunk(b"IEND", b"")


@pytest.mark.parametrize("side", [8001, 12_000, 60_000])
def test_more_than_64_megapixels_are_refused_from_the_header(side):
    with pytest.raises(LimitError, match="64"):
        read(header_only(side, side))


def plain(value: int, size: tuple[int, int] = (40, 30)) -> bytes:
    return saved(Image.new("L", size, value))


def speck() -> bytes:
    pixels = np.full((40, 40), 255, dtype=np.uint8)
    pixels[20, 20] = 0
    return saved(Image.fromarray(pixels))


BAD = {
    "text": (b"a herb garden in spring, not a picture", "not a bitmap"),
    "empty": (b"", "is empty"),
    "white": (plain(255), "all white"),
    "nearly white": (plain(249), "all white"),
    "black": (plain(0), "all black"),
    "one pixel": (plain(0, (1, 1)), "1 x 1 px"),
    "a row": (plain(0, (90, 2)), "90 x 2 px"),
    "only dust": (speck(), "nothing is left"),
    "cut short": (FILES["grey"][:90], "damaged"),
    "headers alone": (header_only(64, 64), "damaged"),
    "postscript": (b"%!PS-Adobe-3.0 EPSF-3.0\n%%BoundingBox: 0 0 10 10\n%%EndComments\n%%EOF\n", "PostScript"),
}


@pytest.mark.parametrize("kind", BAD)
def test_what_cannot_be_a_motif_is_refused_in_one_line(kind):
    data, words = BAD[kind]
    with pytest.raises(PictureError, match=words) as caught:
        read(data)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("settings", "words"), [({"ink_level": 0.001}, "raise it"), ({"ink_level": 0.999, "even_light": False}, "lower it")]
)
def test_an_ink_level_that_leaves_nothing_says_which_way_to_go(settings, words):
    pixels = np.clip(GREY.astype(int), 40, 200).astype(np.uint8)
    with pytest.raises(PictureError, match=words):
        read(saved(Image.fromarray(pixels)), light_on_dark=False, **settings)


@pytest.mark.parametrize(
    "settings",
    [
        {"ink_level": 0.0}, {"ink_level": 1.5}, {"dust_px": -1.0}, {"dust_px": float("nan")}, {"smoothness": 1.2},
        {"joining_px": -0.1}, {"crop": (5, 5, 5, 9)}, {"crop": (-1, 0, 5, 9)},
    ],
)  # fmt: skip
def test_impossible_settings_are_refused(settings):
    with pytest.raises(InputError):
        InkSettings(**settings)


def test_light_ink_on_a_dark_ground_is_found_and_said():
    picture = read(saved(Image.fromarray(255 - GREY)))
    assert np.array_equal(picture.ink, INK)
    assert "light-on-dark" in codes(picture)
    assert "light-on-dark" not in codes(read(FILES["grey"]))


def test_the_ground_can_be_told_instead():
    picture = read(FILES["grey"], light_on_dark=True)
    assert np.array_equal(picture.ink, ~INK)
    assert "ink-at-edge" in codes(picture)


def test_dust_and_pinholes_go_and_are_counted():
    pixels = GREY.copy()
    pixels[3, 3:6] = 0
    pixels[5, 80] = 0
    pixels[45, 25:27] = 255
    picture = read(saved(Image.fromarray(pixels)), dust_px=6.0)
    assert np.array_equal(picture.ink, INK)
    (finding,) = (finding for finding in picture.findings if finding.code == "dust-dropped")
    assert finding.message.startswith("3 specks")
    assert "largest 3 px" in finding.message
    kept = read(saved(Image.fromarray(pixels)), dust_px=0.0)
    assert "dust-dropped" not in codes(kept)
    assert kept.ink[3, 4]
    assert not kept.ink[45, 25]


def test_a_slanting_hairline_is_one_piece_and_no_dust():
    ink = np.eye(30, dtype=bool)
    cleaned, dust = without_dust(ink, 6.0)
    assert dust.count == 0
    assert np.array_equal(cleaned, ink)


def test_a_crop_keeps_the_frame_of_the_whole_picture():
    picture = read(FILES["grey"], crop=(15, 5, 60, 55))
    assert picture.size_px == (WIDTH, HEIGHT)
    assert picture.offset_px == (15, 5)
    assert np.array_equal(picture.ink, INK[5:55, 15:60])
    with pytest.raises(PictureError, match="nothing at the crop"):
        read(FILES["grey"], crop=(100, 0, 120, 10))


def test_ink_that_reaches_the_edge_is_said():
    picture = read(saved(Image.fromarray(GREY[:, 20:])))
    (finding,) = (finding for finding in picture.findings if finding.code == "ink-at-edge")
    assert "left edge" in finding.message


def test_otsu_parts_two_flat_tones_half_way():
    grey = np.where(INK, 40.0, 200.0).astype(np.float32)
    assert otsu_level(grey) == pytest.approx(120.5, abs=0.51)
    levels = levels_of(grey)
    assert (levels.ink, levels.paper, levels.middle) == (40.0, 200.0, 120.0)


def test_otsu_agrees_with_an_independent_implementation():
    from skimage.filters import threshold_otsu

    grey = np.random.default_rng(3).normal(70, 15, (80, 80))
    grey[30:50] += 110
    grey = np.clip(grey, 0, 255).astype(np.uint8)
    parted = grey < otsu_level(grey.astype(np.float32))
    assert np.array_equal(parted, grey <= threshold_otsu(grey))


def shaded(span: float) -> np.ndarray:
    y, x = np.mgrid[0:HEIGHT, 0:WIDTH]
    light = 1.0 - span * (x / WIDTH) - 0.1 * span * (y / HEIGHT)
    return np.asarray(np.where(INK, 30.0, 235.0) * light)


def test_a_shadow_that_hides_the_ink_from_one_level_is_taken_out():
    grey = shaded(0.8)
    # No single level parts them: the darkest paper is darker than the level that half-lit ink needs.
    assert grey[~INK].min() < 60.0
    picture = read(saved(Image.fromarray(grey.astype(np.uint8))))
    assert "uneven-light" in codes(picture)
    assert np.array_equal(picture.ink, INK)


def test_even_light_is_left_alone():
    grey = np.where(INK, 30.0, 235.0).astype(np.float32)
    same, spread = even_out(grey, always=False)
    assert same is grey
    assert spread is None
    assert "uneven-light" not in codes(read(saved(Image.fromarray(shaded(0.01).astype(np.uint8)))))


@pytest.mark.parametrize("even_light", [True, False])
def test_evening_out_can_be_asked_for_or_refused(even_light):
    soft = Image.fromarray(shaded(0.8).astype(np.uint8))
    assert ("uneven-light" in codes(read(saved(soft), even_light=even_light))) == even_light
