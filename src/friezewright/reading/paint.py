"""What an element is painted with: presentation attributes and the simple declarations of a ``style`` attribute."""

from __future__ import annotations

import re
from collections.abc import Mapping

__all__ = ["colour", "declarations", "is_dark", "properties"]

# The sixteen colours of HTML 4 and a few more of CSS Color level 4 that drawings for laser cutting are found to use.
_NAMED = {
    "aqua": "#00ffff",
    "black": "#000000",
    "blue": "#0000ff",
    "cyan": "#00ffff",
    "darkgray": "#a9a9a9",
    "darkgrey": "#a9a9a9",
    "fuchsia": "#ff00ff",
    "gray": "#808080",
    "green": "#008000",
    "grey": "#808080",
    "lightgray": "#d3d3d3",
    "lightgrey": "#d3d3d3",
    "lime": "#00ff00",
    "magenta": "#ff00ff",
    "maroon": "#800000",
    "navy": "#000080",
    "olive": "#808000",
    "orange": "#ffa500",
    "pink": "#ffc0cb",
    "purple": "#800080",
    "red": "#ff0000",
    "silver": "#c0c0c0",
    "teal": "#008080",
    "white": "#ffffff",
    "yellow": "#ffff00",
}
_RGB = re.compile(r"rgba?\(\s*([0-9.]+)(%?)[\s,]+([0-9.]+)(%?)[\s,]+([0-9.]+)(%?)\s*(?:[,/][^)]*)?\)")
_HEX = re.compile(r"#(?:[0-9a-f]{3,4}|[0-9a-f]{6}|[0-9a-f]{8})")

# Taken from a `style` attribute where it has them, else from attributes of the same name.
_PROPERTIES = ("fill", "stroke", "fill-rule", "visibility", "display", "color", "clip-path", "mask", "filter")


def colour(text: str | None) -> str | None:
    """Return a colour in one spelling, ``#rrggbb``, so that two can be compared; None for no paint at all.

    Words this program does not know, and references to gradients, are handed back in lower case: they compare equal to
    themselves. Opacity is dropped.

    Examples
    --------
    >>> colour("rgb(255, 0, 0)"), colour("#F00"), colour(" Red ")
    ('#ff0000', '#ff0000', '#ff0000')
    """
    word = (text or "").strip().lower()
    if word in ("", "none", "transparent"):
        return None
    if word in _NAMED:
        return _NAMED[word]
    if _HEX.fullmatch(word):
        if len(word) < 7:
            return "#" + "".join(2 * digit for digit in word[1:4])
        return word[:7]
    match = _RGB.fullmatch(word)
    if match is not None:
        try:
            levels = [float(match[i]) * 255.0 / (100.0 if match[i + 1] else 255.0) for i in (1, 3, 5)]
        except ValueError:
            return word
        return "#" + "".join(f"{min(255, int(level + 0.5)):02x}" for level in levels)
    return word


def is_dark(paint: str) -> bool:
    """Return whether a normalised colour is nearer to ink than to paper; what cannot be judged counts as ink.

    Luma of ITU-R BT.601, half of white the border.
    """
    if not _HEX.fullmatch(paint):
        return True
    red, green, blue = (int(paint[i : i + 2], 16) for i in (1, 3, 5))
    return 0.299 * red + 0.587 * green + 0.114 * blue < 127.5


def declarations(style: str | None) -> dict[str, str]:
    """Return the declarations of a ``style`` attribute; later ones win."""
    found = {}
    for part in (style or "").split(";"):
        key, colon, value = part.partition(":")
        if colon:
            found[key.strip().lower()] = value.replace("!important", "").strip()
    return found


def properties(attributes: Mapping[str, str]) -> dict[str, str]:
    """Return the painting properties an element sets itself; a ``style`` attribute outweighs plain attributes."""
    styled = declarations(attributes.get("style"))
    return {
        key: value.strip()
        for key in _PROPERTIES
        if (value := styled.get(key, attributes.get(key, ""))).strip() not in ("", "inherit")
    }
