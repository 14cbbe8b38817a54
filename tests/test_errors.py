"""The tree of errors: its shape, its exit codes, and the way a panel's error reads."""

from __future__ import annotations

import re

import pytest

from friezewright import errors
from friezewright.errors import Cancelled, FriezewrightError, GeometryError, InputError, PanelError

CLASSES = [getattr(errors, name) for name in errors.__all__]


def test_everything_public_is_in_the_tree():
    assert all(issubclass(cls, FriezewrightError) for cls in CLASSES)
    defined = {
        name for name, value in vars(errors).items() if isinstance(value, type) and value.__module__ == errors.__name__
    }
    assert defined == set(errors.__all__)


def test_the_picture_of_the_tree_is_the_tree():
    drawn = re.findall(
        r"(\w+)  +.*$", errors.__doc__.split("::")[1].split("A message")[0].replace("`", "|"), re.MULTILINE
    )

    assert sorted(name for name in drawn if name in errors.__all__) == sorted(errors.__all__)


@pytest.mark.parametrize("cls", CLASSES)
def test_exit_codes_say_whose_mistake_it_was(cls):
    if issubclass(cls, InputError):
        assert cls.exit_code == 2
    elif cls is Cancelled:
        assert cls.exit_code == 130
    else:
        assert cls.exit_code == 3


def test_an_error_of_geometry_is_never_the_users():
    assert not issubclass(GeometryError, InputError)


def test_a_panel_error_says_what_where_and_what_would_do():
    error = PanelError("cutout 3", "crosses itself", "redraw that corner", (41.2, 7.75))

    assert str(error) == "cutout 3 crosses itself near (41.20, 7.75) mm; redraw that corner"
    assert (error.part, error.problem, error.remedy, error.at_mm) == (
        "cutout 3",
        "crosses itself",
        "redraw that corner",
        (41.2, 7.75),
    )
    assert str(PanelError("rim", "has no area", "widen it")) == "rim has no area; widen it"
