"""The file around the paths, the rendered picture of it, and two parsers' reading of it."""

from __future__ import annotations

import hashlib
import io
import json
import re

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from lxml import etree
from PIL import Image
from svgpathtools import parse_path

from friezewright import __version__
from friezewright.geometry import affine, cubic
from friezewright.geometry.artwork import Artwork, Placements
from friezewright.geometry.outline import circle, concatenate, rounded_rectangle
from friezewright.geometry.strokes import Strokes, contour
from friezewright.layers.drawing import AskedKeepOff, Drawing, Layer, Operation, Part, Pen
from friezewright.output.svg import escaped, write_drawing, write_layer

SVG = "{http://www.w3.org/2000/svg}"
PENS = dict(zip(Operation, (Pen("#000000", 0.1), Pen("#cc79a7", 0.25), Pen("#e69f00", 0.1)), strict=True))
RING = concatenate([circle((0.0, 0.0), 3.0), circle((0.4, 0.2), 1.7).reversed(), circle((0.4, 0.2), 0.9)])


def rings(count: int) -> Artwork:
    steps = np.arange(count)
    maps = affine.compose(
        affine.translation(np.stack([5.0 + steps % 7 * 7.3, 5.0 + steps // 7 * 6.9], axis=1)),
        affine.rotation(steps * 0.61),
    )
    maps[1::2] = affine.compose(maps[1::2], affine.mirror_y())
    return Artwork((RING,), Placements(matrix=maps, shape=np.zeros(count, int), member=steps % 2))


def drawing(**changes) -> Drawing:
    hatch = Strokes(cubic.line([(1.0, 1.0)], [(9.0, 2.0)]), [True], [0, 1], [False])
    layers = (
        Layer(
            operation=Operation.ENGRAVE,
            parts=(Part(ornament="edge", artwork=rings(21), gap_mm=0.8),),
            pen=PENS["engrave"],
        ),
        Layer(
            operation=Operation.SCORE,
            parts=(Part(ornament="hatch", artwork=Artwork.single([hatch])),),
            pen=PENS["score"],
        ),
        Layer(
            operation=Operation.CUT,
            parts=(
                Part(ornament="window", artwork=Artwork.single([contour(circle((40.0, 22.0), 4.0))])),
                Part(ornament="rim", artwork=Artwork.single([contour(rounded_rectangle((0, 0), (56.0, 30.0), 3.0))])),
            ),
            pen=PENS["cut"],
        ),
    )
    given = {"title": "Tea & <thyme>", "frame": (0.0, 0.0, 56.0, 30.0), "layers": layers, "digest": "abc"}
    given["keep_off"] = AskedKeepOff(rim_mm=2.0, openings_mm=(("window", 1.5),))
    return Drawing(**(given | changes))


def tree(data: bytes):
    return etree.fromstring(data)


def test_one_unit_is_one_millimetre():
    root = tree(write_drawing(drawing(frame=(-2.0, 1.5, 60.25, 31.75))))
    assert root.tag == f"{SVG}svg"
    assert (root.get("width"), root.get("height"), root.get("viewBox")) == ("60.25mm", "31.75mm", "-2 1.5 60.25 31.75")
    assert set(root.attrib) == {"width", "height", "viewBox"}


def test_layers_parts_and_paths_stand_in_order():
    root = tree(write_drawing(drawing()))
    assert [child.tag.removeprefix(SVG) for child in root] == ["title", "metadata", "g", "g", "g"]
    groups = root.findall(f"{SVG}g")
    assert [group.get("data-operation") for group in groups] == ["engrave", "score", "cut"]
    assert [group.get("id") for group in groups] == ["engrave", "score", "cut"]
    assert [group.findtext(f"{SVG}title") for group in groups] == ["Engrave", "Score", "Cut"]
    parts = [[dict(part.attrib) for part in group.findall(f"{SVG}g")] for group in groups]
    assert parts == [
        [{"data-ornament": "edge", "data-gap": "0.8"}],
        [{"data-ornament": "hatch"}],
        [{"data-cut": "window"}, {"data-cut": "rim"}],
    ]
    assert [len(group.findall(f"{SVG}g/{SVG}path")) for group in groups] == [21, 1, 2]
    assert all(set(path.attrib) == {"d"} for path in root.iter(f"{SVG}path"))


def test_pens_stand_once_a_layer():
    engrave, score, _ = tree(write_drawing(drawing())).findall(f"{SVG}g")
    assert (engrave.get("fill"), engrave.get("fill-rule"), engrave.get("stroke")) == ("#000000", "nonzero", "none")
    assert (score.get("fill"), score.get("stroke"), score.get("stroke-width")) == ("none", "#cc79a7", "0.25")


def test_metadata_says_what_was_asked():
    root = tree(write_drawing(drawing(unit="in"), versions={"numpy": "2", "lxml": "6"}))
    assert root.findtext(f"{SVG}title") == "Tea & <thyme>"
    assert json.loads(root.findtext(f"{SVG}metadata")) == {
        "friezewright": __version__,
        "versions": {"lxml": "6", "numpy": "2"},
        "digest": "abc",
        "unit": "in",
        "gap_mm": {"edge": 0.8},
        "keep_off_mm": {"rim": 2.0, "openings": {"window": 1.5}},
    }


def test_only_promised_words_are_written():
    text = write_drawing(drawing()).decode()
    assert not re.search(r"transform|style=|class=|href|url\(|<use|<defs|<text|xmlns:", text)
    numbers = re.findall(r'(?<= d=")[^"]*', text)
    assert len(numbers) == 24
    for data in numbers:
        assert re.fullmatch(r"(M(-?\d+(\.\d{1,3})?[ MLCZ]?)+)+", data)


def test_a_layer_alone_is_the_same_layer():
    whole = write_drawing(drawing()).decode()
    for operation in Operation:
        alone = write_layer(drawing(), operation).decode()
        groups = re.findall(r"<g id=.*?\n</g>\n</g>\n", alone, re.DOTALL)
        assert len(groups) == 1
        assert groups[0] in whole
    with pytest.raises(ValueError, match="no cut layer"):
        write_layer(drawing(layers=drawing().layers[:2]), Operation.CUT)


def test_the_same_drawing_gives_the_same_bytes():
    assert hashlib.sha256(write_drawing(drawing())).digest() == hashlib.sha256(write_drawing(drawing())).digest()


@given(st.text())
def test_any_title_can_be_read_back(title):
    root = tree(write_drawing(drawing(title=title, layers=())))
    read = root.findtext(f"{SVG}title") or ""
    kept = re.sub("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]", "", title)
    # XML readers turn every line end into one newline (XML 1.0, 2.11).
    assert read == kept.replace("\r\n", "\n").replace("\r", "\n")


def test_quotes_in_names_stay_inside_the_attribute():
    assert escaped('a"b<c>&') == "a&quot;b&lt;c&gt;&amp;"


def test_another_parser_reads_the_same_curves():
    data = tree(write_drawing(drawing())).find(f"{SVG}g/{SVG}g/{SVG}path").get("d")
    first = next(rings(1).copies())
    read = parse_path(data)
    assert len(read) == len(first.segments)
    for segment, expected in zip(read, first.segments, strict=True):
        ends = np.array([[segment.start.real, segment.start.imag], [segment.end.real, segment.end.imag]])
        assert np.abs(ends - expected[[0, 3]]).max() <= 0.5005e-3


def burned_mm2(svg: str, pixels_a_mm: int) -> tuple[float, np.ndarray]:
    import resvg_py

    root = etree.fromstring(svg.encode())
    width, height = (float(root.get(side)[:-2]) for side in ("width", "height"))
    view = (round(width * pixels_a_mm), round(height * pixels_a_mm))
    sized = svg.replace(f'width="{root.get("width")}"', f'width="{view[0]}"', 1)
    sized = sized.replace(f'height="{root.get("height")}"', f'height="{view[1]}"', 1)
    picture = Image.open(io.BytesIO(bytes(resvg_py.svg_to_bytes(svg_string=sized, dpi=96)))).convert("RGBA")
    cover = np.asarray(picture, dtype=float)[..., 3] / 255.0
    return float(cover.sum()) / pixels_a_mm**2, cover


def test_a_renderer_burns_the_exact_area_under_both_fill_rules():
    svg = write_layer(drawing(), Operation.ENGRAVE).decode()
    nonzero, picture = burned_mm2(svg, 40)
    evenodd, other = burned_mm2(svg.replace('fill-rule="nonzero"', 'fill-rule="evenodd"'), 40)
    exact = 21 * RING.area_mm2()
    # Cover of a pixel on the boundary comes in steps of 1/255, and the renderer samples it; a hundredth of a pixel
    # along the whole boundary allows for both. Written points are off by 0.0005 mm at most.
    slack = 21 * RING.length_mm() * (0.01 / 40 + 0.0005)
    assert abs(nonzero - exact) < slack
    assert np.abs(picture - other).max() <= 1 / 255
    assert abs(nonzero - evenodd) < 1e-9 + slack / 100


def test_a_frame_needs_an_extent_and_layers_their_order():
    with pytest.raises(ValueError, match="width and a height"):
        drawing(frame=(0.0, 0.0, 0.0, 5.0))
    with pytest.raises(ValueError, match="each once"):
        drawing(layers=drawing().layers[::-1])
    with pytest.raises(ValueError, match="takes Outline"):
        Layer(operation=Operation.ENGRAVE, parts=drawing().layers[1].parts, pen=PENS["engrave"])
    with pytest.raises(ValueError, match="written like"):
        Pen("orange", 0.1)
