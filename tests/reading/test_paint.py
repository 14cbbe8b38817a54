"""Colours in one spelling, and what an element is painted with."""

from __future__ import annotations

import pytest

from friezewright.reading.paint import colour, is_dark, properties


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("#F00", "#ff0000"),
        ("#f00c", "#ff0000"),
        ("#FF0000", "#ff0000"),
        ("#ff0000cc", "#ff0000"),
        (" RED ", "#ff0000"),
        ("rgb(255,0,0)", "#ff0000"),
        ("rgb(100% 0% 0%)", "#ff0000"),
        ("rgba(255, 0, 0, 0.5)", "#ff0000"),
        ("rgb(300,0,0)", "#ff0000"),
        ("rgb(50%,50%,50%)", "#808080"),
        ("none", None),
        ("transparent", None),
        ("", None),
        (None, None),
        ("url(#shade)", "url(#shade)"),
        ("rebeccapurple", "rebeccapurple"),
        ("rgb(1.2.3,0,0)", "rgb(1.2.3,0,0)"),
        ("#ff", "#ff"),
    ],
)
def test_colours_have_one_spelling(text, value):
    assert colour(text) == value


@pytest.mark.parametrize(
    ("paint", "dark"),
    [
        ("#000000", True),
        ("#ffffff", False),
        ("#0000ff", True),
        ("#ffff00", False),
        ("url(#a)", True),
        ("#7f7f7f", True),
    ],
)
def test_dark_is_ink_and_light_is_paper(paint, dark):
    assert is_dark(paint) is dark


def test_a_style_attribute_outweighs_plain_ones_and_later_declarations_earlier_ones():
    own = properties({"fill": "red", "stroke": "blue", "style": "fill:green;FILL: lime !important;;bad;stroke:inherit"})

    assert own == {"fill": "lime"}
