"""What a border says about itself: how it fits, and what the maker should know."""

from __future__ import annotations

import math

from friezewright.findings import Finding, Severity
from friezewright.ornament.corner import Corner
from friezewright.ornament.guide import SIDE_NAMES
from friezewright.ornament.plan import TIGHTEST, Plan, Strand
from friezewright.ornament.request import BorderRequest

__all__ = ["findings_on", "words_on"]

# Under this many strip heights a bend shows: a fifth longer outside, a fifth shorter inside (looked at).
_TIGHT = 2.5


def words_on(request: BorderRequest, plan: Plan, measured_gap_mm: float | None) -> tuple[str, ...]:
    """Return sentences such as ``22 repeats along the top and bottom, 13 along the right and left, gap 0.52 mm``."""
    groups: dict[int, list[str]] = {}
    for index, side in enumerate(plan.guide.sides):
        count = sum(strand.fit.count for strand in plan.strands if strand.side == index)
        groups.setdefault(count, []).append(_named(plan, index, side.name))
    parts: list[str] = []
    for count, names in groups.items():
        if not count:
            continue
        place = "all round" if names == ["all round"] else f"along the {_listed(sorted(names, key=_rank))}"
        parts.append(f"{count} {'repeats ' if not parts else ''}{place}")
    if measured_gap_mm is not None:
        parts.append(f"gap {measured_gap_mm:.2f} mm")
    parts.append(f"scale {plan.scale:.3f}")
    stretch = max((strand.fit.stretch for strand in plan.strands), default=1.0)
    if stretch > 1.0:
        parts.append(f"drawn out by up to {100.0 * (stretch - 1.0):.1f} in a hundred")
    sentences = [", ".join(parts)]
    if plan.mitre is not None:
        sentences.append("the corners are cut on the slant and joined, all alike")
    if plan.bead_mm > 0.0:
        sentences.append("each side is reversed at its centre, round a bead")
    elif request.corner is Corner.TURNED and plan.guide.corners:
        sentences.append("opposite sides are half turns of each other")
    return tuple(sentences)


def _named(plan: Plan, index: int, name: str) -> str:
    """Return a side's name, numbered where several sides share it."""
    same = [i for i, side in enumerate(plan.guide.sides) if side.name == name]
    return name if len(same) == 1 else f"{name} {same.index(index) + 1}"


def _rank(name: str) -> tuple[int, str]:
    first = name.split()[0]
    return (SIDE_NAMES.index(first) if first in SIDE_NAMES else len(SIDE_NAMES), name)


def _listed(names: list[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def findings_on(request: BorderRequest, plan: Plan) -> tuple[Finding, ...]:
    """Return what the plan itself gives cause to remark."""
    found: list[Finding] = []

    def remark(code: str, severity: Severity, message: str, where: tuple[float, float] | None = None) -> None:
        found.append(Finding(code=code, severity=severity, message=message, where_mm=where, ornament=request.name))

    if plan.gap_mm < request.gap_mm:
        remark(
            "narrow-gap",
            Severity.WARNING,
            f"the strip keeps a gap of {plan.gap_mm:.2f} mm and spreading it does not reach {request.gap_mm:.2f} mm",
        )
    tightest = plan.tightest_mm() / plan.height_mm
    if tightest < _TIGHT:
        manner = "copies are set whole" if plan.rigid else "the inside of the bend is drawn together"
        reason = f", as under {TIGHTEST} nothing is bent" if plan.rigid and not request.rigid else ""
        remark(
            "tight-bend",
            Severity.NOTE,
            f"the border bends at {tightest:.1f} of its height, {manner}{reason}; from 3.0 it looks at ease",
        )
    for strand in plan.strands:
        _remark_on(strand, plan, remark)
    if request.corner_size_mm is not None and request.corner_size_mm > request.strip.height_mm + 1e-6:
        remark(
            "corner-too-large",
            Severity.NOTE,
            f"a corner piece of {request.corner_size_mm:.1f} mm would leave the band; "
            f"it is drawn {plan.height_mm:.1f} mm high",
        )
    # Both halves of a reversed side say the same.
    return tuple(dict.fromkeys(found))


def _remark_on(strand: Strand, plan: Plan, remark: object) -> None:
    assert callable(remark)
    side = plan.guide.sides[strand.side]
    fit = strand.fit
    middle = side.path.frames([0.5 * side.path.length_mm]).point[0]
    where = (float(middle[0]), float(middle[1]))
    name = _named(plan, strand.side, side.name)
    if fit.count == 0:
        room = strand.span.length_mm - sum(
            end.least_mm for end in (strand.span.start, strand.span.end) if end is not None
        )
        need = plan.sizes.width(strand.span.pitch_mm)
        remark(
            "short-side",
            Severity.WARNING,
            f"no whole repeat fits along the {name}: {max(room, 0.0):.1f} mm is free and one takes {need:.1f} mm, "
            f"so a height of {plan.height_mm * max(room, 0.0) / need:.1f} mm would do",
            where,
        )
    elif fit.spare_mm > 1e-6:
        each = fit.spare_mm / fit.count if side.path.closed else fit.spare_mm
        what = "each gap" if side.path.closed else "its ends"
        wider = strand.span.length_mm / (fit.count + 1) if fit.count else math.inf
        hint = f"; a pitch of {wider:.2f} mm would fill it" if side.path.closed else ""
        remark(
            "loose-fit",
            Severity.NOTE,
            f"{each:.2f} mm more than wished is left at {what} along the {name}{hint}",
            where,
        )
