"""Timing a drawing made here."""

import pytest

from friezewright.compose.timing import time_drawing
from friezewright.errors import LimitError
from friezewright.reading.svg import read_svg

HEAD = b'<svg xmlns="http://www.w3.org/2000/svg" width="100mm" height="80mm" viewBox="0 0 100 80">'
LAYER = b'<g data-operation="cut" fill="none" stroke="#ff0000"><path d="M0 0L100 0L100 80L0 80Z"/></g></svg>\n'
# Four remarks of 9 MB: more bytes than a drawing from elsewhere may have, and read in a moment.
LARGE = HEAD + (b"<!--" + b" " * 9_000_000 + b"-->") * 4 + LAYER


def test_a_drawing_made_here_is_timed_beyond_the_limits_of_one_from_elsewhere():
    with pytest.raises(LimitError, match="MB"):
        read_svg(LARGE, name="drawing.svg")

    large = time_drawing(LARGE, name="drawing.svg", machine=None)
    small = time_drawing(HEAD + LAYER, name="drawing.svg", machine=None)

    assert large == small
    assert small.report["layers"][0]["metres"] == 0.36
