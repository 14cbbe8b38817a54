"""The tracing library called directly, with eight pixels a byte.

The binding fills its bitmap pixel by pixel, which takes longer than tracing; here rows are packed at once. The layout
of the structures is that of ``potracelib.h`` of libpotrace 1.8 to 1.16 (interface number 0), published with it.
"""

from __future__ import annotations

import ctypes
import functools
import sys
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

__all__ = ["curves", "is_available"]

_NAMES = {"linux": ("libpotrace.so.0",), "darwin": ("libpotrace.0.dylib", "libpotrace.dylib")}


class _Point(ctypes.Structure):
    _fields_ = (("x", ctypes.c_double), ("y", ctypes.c_double))


class _Bitmap(ctypes.Structure):
    _fields_ = (("w", ctypes.c_int), ("h", ctypes.c_int), ("dy", ctypes.c_int), ("map", ctypes.c_void_p))


class _Curve(ctypes.Structure):
    _fields_ = (("n", ctypes.c_int), ("tag", ctypes.POINTER(ctypes.c_int)), ("c", ctypes.POINTER(_Point * 3)))


class _Path(ctypes.Structure):
    pass


_Path._fields_ = (
    ("area", ctypes.c_int),
    ("sign", ctypes.c_int),
    ("curve", _Curve),
    ("next", ctypes.POINTER(_Path)),
    ("childlist", ctypes.POINTER(_Path)),
    ("sibling", ctypes.POINTER(_Path)),
    ("priv", ctypes.c_void_p),
)


class _State(ctypes.Structure):
    _fields_ = (("status", ctypes.c_int), ("plist", ctypes.POINTER(_Path)), ("priv", ctypes.c_void_p))


class _Progress(ctypes.Structure):
    _fields_ = (
        ("callback", ctypes.c_void_p),
        ("data", ctypes.c_void_p),
        ("min", ctypes.c_double),
        ("max", ctypes.c_double),
        ("epsilon", ctypes.c_double),
    )


class _Parameters(ctypes.Structure):
    _fields_ = (
        ("turdsize", ctypes.c_int),
        ("turnpolicy", ctypes.c_int),
        ("alphamax", ctypes.c_double),
        ("opticurve", ctypes.c_int),
        ("opttolerance", ctypes.c_double),
        ("progress", _Progress),
    )


@functools.cache
def _library() -> ctypes.CDLL | None:
    for name in _NAMES.get(sys.platform, ()):
        try:
            library = ctypes.CDLL(name)
        except OSError:
            continue
        library.potrace_version.restype = ctypes.c_char_p
        # Another interface number would mean another layout.
        if not library.potrace_version().startswith(b"potracelib 1."):
            continue
        library.potrace_param_default.restype = ctypes.POINTER(_Parameters)
        library.potrace_param_free.argtypes = [ctypes.POINTER(_Parameters)]
        library.potrace_trace.restype = ctypes.POINTER(_State)
        library.potrace_trace.argtypes = [ctypes.POINTER(_Parameters), ctypes.POINTER(_Bitmap)]
        library.potrace_state_free.argtypes = [ctypes.POINTER(_State)]
        return library
    return None


def is_available() -> bool:
    """Return whether the library can be loaded on this machine."""
    return _library() is not None


def curves(
    ink: NDArray[np.bool_], *, alphamax: float, opttolerance: float
) -> Iterator[tuple[NDArray[np.bool_], NDArray[np.float64]]]:
    """Yield each closed curve as the library stores it.

    Parameters
    ----------
    ink
        Pixels, shape (h, w); row 0 is handed over as the library's row 0, so y keeps pointing down.
    alphamax, opttolerance
        The library's own parameters.

    Yields
    ------
    corner
        Whether each piece is two lines meeting in a corner, shape (n,).
    points
        Shape (n, 3, 2): for a cubic its second, third and last control point, for a corner an unused point, the
        corner and the end. The curve starts where it ends.

    Raises
    ------
    RuntimeError
        If the library is not there, or gives up.
    """
    library = _library()
    if library is None:
        raise RuntimeError("the tracing library cannot be loaded")
    height, width = ink.shape
    # A word of the bitmap is an unsigned long: its first pixel is its highest bit, whatever the machine's byte order.
    word_bytes = ctypes.sizeof(ctypes.c_ulong)
    row_words = -(-width // (8 * word_bytes))
    packed = np.zeros((height, row_words * word_bytes), dtype=np.uint8)
    packed[:, : -(-width // 8)] = np.packbits(ink, axis=1)
    words = np.ascontiguousarray(packed.view(f">u{word_bytes}").astype(f"=u{word_bytes}"))
    bitmap = _Bitmap(width, height, row_words, words.ctypes.data)
    parameters = library.potrace_param_default()
    parameters.contents.turdsize = 0
    parameters.contents.alphamax = alphamax
    parameters.contents.opttolerance = opttolerance
    state = library.potrace_trace(parameters, ctypes.byref(bitmap))
    library.potrace_param_free(parameters)
    if not state:
        raise RuntimeError("the tracing library ran out of memory")
    found = []
    try:
        if state.contents.status != 0:
            raise RuntimeError("the tracing library gave up")
        path = state.contents.plist
        while path:
            curve = path.contents.curve
            tags = np.frombuffer(ctypes.string_at(curve.tag, curve.n * ctypes.sizeof(ctypes.c_int)), dtype=np.intc)
            points = np.frombuffer(ctypes.string_at(curve.c, curve.n * 48), dtype=np.float64).reshape(-1, 3, 2)
            # Tag 2 is POTRACE_CORNER.
            found.append((tags == 2, points))
            path = path.contents.next
    finally:
        library.potrace_state_free(state)
    yield from found
