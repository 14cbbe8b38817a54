"""Every module says what it offers, and offers what it says."""

import importlib
import pkgutil

import pytest

import friezewright

MODULES = sorted(
    info.name
    for info in pkgutil.walk_packages(friezewright.__path__, prefix="friezewright.")
    if not info.ispkg and not info.name.startswith("friezewright.motifs")
)


@pytest.mark.parametrize("name", MODULES)
def test_a_module_offers_what_it_says(name):
    module = importlib.import_module(name)

    assert module.__doc__, "a module says in its docstring what it is for"
    assert module.__all__, "a module declares its face"
    assert len(set(module.__all__)) == len(module.__all__)
    for word in module.__all__:
        assert hasattr(module, word), word
