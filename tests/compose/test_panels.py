"""The panel that a job asks for, read from a drawing."""

import pytest

from friezewright.compose.job import read_job
from friezewright.compose.panels import panel_of_job
from friezewright.errors import DrawingError

DOOR = b"""<svg xmlns="http://www.w3.org/2000/svg" width="100mm" height="80mm" viewBox="0 0 100 80" fill="none">
<rect id="edge" width="100" height="80" stroke="#f00"/>
<rect id="window" x="10" y="10" width="20" height="30" stroke="#00f"/>
<g id="holes" stroke="#080"><circle cx="60" cy="20" r="5"/><circle cx="80" cy="20" r="5"/></g>
<text>Herbs</text>
</svg>"""


def panel(keys: str = ""):
    job = read_job(f"[panel]\ndrawing = 'door.svg'\n{keys}".encode(), name="job.toml")
    return panel_of_job(job, {"door.svg": DOOR}.__getitem__)


@pytest.mark.parametrize(
    ("keys", "centres"),
    [
        ("", [(20, 25), (60, 20), (80, 20)]),
        ("cutouts = 'window'", [(20, 25)]),
        ("cutouts = 'holes'", [(60, 20), (80, 20)]),
        ("cutouts = '#008800'", [(60, 20), (80, 20)]),
        ("rim = 'edge'\ncutouts = 'blue'", [(20, 25)]),
    ],
)
def test_cutouts_of_a_drawing_are_named_by_id_group_or_colour(keys, centres):
    found, _, _ = panel(keys)

    assert found.rim.bounds().tolist() == [[0, 0], [100, 80]]
    assert sorted(tuple(opening.outline.bounds().mean(axis=0).round(6)) for opening in found.cutouts) == centres


def test_a_cutout_that_the_drawing_lacks_is_an_error():
    with pytest.raises(DrawingError, match=r"door\.svg.*porthole"):
        panel("cutouts = 'porthole'")


def test_what_is_remarked_on_a_drawing_is_remarked_once():
    _, _, findings = panel("cutouts = 'window'")

    assert [finding.code for finding in findings] == ["element-not-read", "not-used"]
