"""The one door through which XML comes in: no declarations, no entities, no network, and caps on size.

A drawing is a file from somewhere else, so it is read as if it meant harm. Entity declarations are the way to billion-
fold expansion and to reading local files; they can only stand in a document type declaration. The one accepted is the
bare name of SVG 1.0 or 1.1 that older programs write: it declares nothing itself, and what it points to is not fetched.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any
from xml.parsers import expat

from lxml import etree

from friezewright.errors import DrawingError, LimitError

if TYPE_CHECKING:
    from lxml.etree import _Element

__all__ = ["FROM_ELSEWHERE", "MADE_HERE", "Limits", "parse_document", "plain"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """How large a drawing may be.

    Parameters
    ----------
    size_bytes
        Of the file.
    depth
        Of nested elements, each step through a ``use`` counted too.
    elements
        Drawn, each copy made by a ``use`` counted: what bounds a bomb made of ``use``.
    segments
        Of all curves together.
    """

    size_bytes: int
    depth: int
    elements: int
    segments: int


FROM_ELSEWHERE = Limits(size_bytes=32 * 2**20, depth=100, elements=200_000, segments=500_000)
"""For panels and motifs: twenty times a motif of 20,000 segments written with all digits."""

MADE_HERE = Limits(size_bytes=512 * 2**20, depth=100, elements=2_000_000, segments=10_000_000)
"""For layered drawings that this program wrote, of up to a million copies."""


# Public and system identifier: SVG 1.0, section 1.4, and SVG 1.1, section 1.3.
_SVG_TYPES = frozenset(
    {
        ("-//W3C//DTD SVG 1.0//EN", "http://www.w3.org/TR/2001/REC-SVG-20010904/DTD/svg10.dtd"),
        ("-//W3C//DTD SVG 1.1//EN", "http://www.w3.org/Graphics/SVG/1.1/DTD/svg11.dtd"),
    }
)


def plain(text: str, *, longest: int = 40) -> str:
    """Return words out of a file, fit for one line of a message."""
    return " ".join(text.split())[:longest]


class _RootReachedError(Exception):
    """Ends the first look at a file: behind the root's start tag nothing can be declared any more."""


def _refuse_declarations(data: bytes, name: str) -> None:
    """Read up to the root element with a parser that expands nothing, and refuse what could declare an entity."""

    def declared(root: str, system_id: str | None, public_id: str | None, has_internal_subset: bool) -> None:
        if has_internal_subset or root != "svg" or (public_id, system_id) not in _SVG_TYPES:
            raise DrawingError(
                f"{name} begins with a document type (<!DOCTYPE ...>) that could declare more than SVG, which is not "
                "read for safety; save it as plain SVG, or delete that declaration in a text editor"
            )

    def root(*_: object) -> None:
        raise _RootReachedError

    parser = expat.ParserCreate()
    parser.StartDoctypeDeclHandler = declared
    parser.StartElementHandler = root
    try:
        parser.Parse(data, True)
    except _RootReachedError:
        return
    except (expat.ExpatError, LookupError, ValueError) as error:
        raise DrawingError(
            f"{name} is not an SVG drawing: {plain(str(error), longest=120)}; save it as plain SVG"
        ) from error


def parse_document(data: bytes, *, name: str, most_bytes: int) -> _Element:
    """Return the root element of an XML file.

    Parameters
    ----------
    data
        The file's bytes.
    name
        What to call the file in messages.
    most_bytes
        Largest file read.

    Raises
    ------
    DrawingError
        If the file is empty, compressed, not well formed, or declares a document type other than bare SVG.
    LimitError
        If it is larger than ``most_bytes``.
    """
    if len(data) > most_bytes:
        size, most = len(data) / 2**20, most_bytes / 2**20
        raise LimitError(f"{name} has {size:.1f} MB; drawings up to {most:.0f} MB are read; simplify it")
    if not data.strip():
        raise DrawingError(f"{name} is empty; choose an SVG drawing")
    if data[:2] == b"\x1f\x8b":
        raise DrawingError(f"{name} is compressed; save it as plain, uncompressed SVG")
    _refuse_declarations(data, name)
    parser = etree.XMLParser(
        resolve_entities=False,
        no_network=True,
        load_dtd=False,
        dtd_validation=False,
        attribute_defaults=False,
        huge_tree=False,
        recover=False,
        remove_comments=True,
        remove_pis=True,
    )
    try:
        root = etree.fromstring(data, parser)
    except (etree.XMLSyntaxError, ValueError) as error:
        problem = plain(str(error), longest=120)
        raise DrawingError(f"{name} is not well-formed XML: {problem}; save it again as plain SVG") from error
    # A second lock on the same door, by the parser that is used: the two read the prolog with different code.
    dtd: Any = root.getroottree().docinfo.internalDTD
    if dtd is not None and ((dtd.external_id, dtd.system_url) not in _SVG_TYPES or any(dtd.iterentities())):
        raise DrawingError(f"{name} declares a document type, which is not read for safety; save it as plain SVG")
    # With a document type that was not fetched, an unknown entity is no mistake to the parser: it is left out.
    if any(entry.type == etree.ErrorTypes.WAR_UNDECLARED_ENTITY for entry in parser.error_log):
        raise DrawingError(f"{name} refers to an entity (&...;) that it does not declare; save it as plain SVG")
    return root
