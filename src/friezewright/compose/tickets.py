"""What the ticket says, gathered from the stages' results."""

from __future__ import annotations

from collections.abc import Sequence
from importlib import metadata

from friezewright import __version__
from friezewright.compose.job import Job
from friezewright.findings import Finding
from friezewright.layers.drawing import Drawing, Operation
from friezewright.machine import Machine
from friezewright.materials import DO_NOT_RUN, Verdict, cautions_for
from friezewright.motion.estimate import Estimate
from friezewright.ornament.ornament import Ornament
from friezewright.output.picture import Caption
from friezewright.output.ticket import LayerLine, OrnamentLine, Ticket
from friezewright.panel.panel import Panel
from friezewright.panel.zone import KeepOff
from friezewright.units import MM_PER_INCH, format_length, parse_price

__all__ = ["caption_of", "ticket_of", "versions"]

_HOW = {
    Operation.ENGRAVE: "filled line by line",
    Operation.SCORE: "lines followed, shallow",
    Operation.CUT: "cut through, inner loops before the rim",
}
_LIBRARIES = ("numpy", "shapely", "scipy", "Pillow", "lxml", "svgpathtools", "pydantic", "resvg-py")
_TRACERS = ("pypotrace", "potracer")


def versions() -> dict[str, str]:
    """Return the versions that a drawing's bytes are promised for."""
    found = {"friezewright": __version__}
    for name in (*_LIBRARIES, *_TRACERS):
        try:
            found[name] = metadata.version(name)
        except metadata.PackageNotFoundError:
            continue
    return found


def ticket_of(
    job: Job,
    *,
    panel: Panel,
    keep_off: KeepOff,
    ornaments: Sequence[Ornament],
    drawing: Drawing,
    estimate: Estimate,
    machine: Machine,
    verdict: Verdict,
    findings: tuple[Finding, ...],
) -> Ticket:
    """Return the ticket of a composed job."""
    return Ticket(
        title=job.title,
        unit=job.unit,
        size_mm=panel.size_mm,
        thickness_mm=panel.thickness_mm,
        material=job.material or "",
        material_verdict=_verdict_words(verdict),
        may_run=verdict.may_run,
        cutouts=tuple(opening.name for opening in panel.cutouts),
        keep_off_mm=(keep_off.rim_mm, keep_off.cutouts_mm),
        ornaments=tuple(
            OrnamentLine(
                name=item.name,
                copies=len(item.areas),
                gap_mm=item.gap_mm,
                measured_gap_mm=item.measured_gap_mm,
                words=item.words,
            )
            for item in ornaments
        ),
        layers=_layer_lines(drawing, estimate),
        seconds=estimate.total_s,
        low_s=estimate.low_s,
        high_s=estimate.high_s,
        range_note=_range_note(machine),
        cost_lines=_cost_lines(job, estimate),
        machine=_machine_lines(machine),
        notes=(
            "cut lines are drawn where they were asked for and not moved for the kerf",
            f"the job takes {estimate.start_s:.0f} s before its first layer moves, counted in the total",
        ),
        findings=findings,
        cautions=tuple(str(caution) for caution in cautions_for(verdict)),
        digest=drawing.digest,
        versions=tuple(versions().items()),
    )


def _verdict_words(verdict: Verdict) -> str:
    if verdict.may_run:
        return str(verdict)
    if not verdict.material:
        return DO_NOT_RUN
    return f"{verdict.material} is not a material known here: do not run"


def _layer_lines(drawing: Drawing, estimate: Estimate) -> tuple[LayerLine, ...]:
    lines = []
    for layer, time in zip(drawing.layers, estimate.layers, strict=True):
        lines.append(
            LayerLine(
                operation=layer.operation.value,
                how=_HOW[layer.operation],
                copies=layer.copy_count,
                metres=time.burned_mm / 1000.0,
                seconds=time.total_s,
                low_s=time.total_s * (1.0 - estimate.range_below),
                high_s=time.total_s * (1.0 + estimate.range_above),
                burning_s=time.burning_s,
                travel_s=time.travel_s,
                turning_s=time.turning_s,
                delays_s=time.delays_s,
            )
        )
    return tuple(lines)


def _range_note(machine: Machine) -> str:
    if machine.calibrated:
        return "Times are simulated with figures fitted to this machine; the range is that of the fit."
    return "Times are simulated with typical figures, rough until your machine is measured: verify on your machine."


def _cost_lines(job: Job, estimate: Estimate) -> tuple[tuple[str, str], ...]:
    lines: list[tuple[str, str]] = []
    if job.cost.price_per_minute is not None:
        price = parse_price(job.cost.price_per_minute)
        low, high = (price.times(seconds / 60.0) for seconds in (estimate.low_s, estimate.high_s))
        lines.append((f"machine time at {price} a minute", f"{low.amount:.2f} to {high}"))
    if job.cost.sheet is not None:
        lines.append(("sheet", str(parse_price(job.cost.sheet))))
    return tuple(lines)


def _machine_lines(machine: Machine) -> tuple[tuple[str, str], ...]:
    both = "both ways" if machine.burns_both_ways else "one way"
    return (
        ("machine profile", f"{machine.name}, {'calibrated' if machine.calibrated else 'typical, verify'}"),
        ("engrave", f"{machine.engrave_speed_mm_s:g} mm/s, lines {machine.line_spacing_mm:g} mm apart, {both}"),
        ("score", f"{machine.score_speed_mm_s:g} mm/s"),
        ("cut", f"{machine.cut_speed_mm_s:g} mm/s"),
        ("spot and kerf", f"{machine.spot_mm:g} mm and {machine.kerf_mm:g} mm"),
    )


def caption_of(ticket: Ticket) -> Caption:
    """Return the words below the picture."""
    size = " by ".join(format_length(value, ticket.unit) for value in ticket.size_mm)
    minutes = f"{ticket.low_s / 60.0:.0f} to {ticket.high_s / 60.0:.0f} min machine time"
    longest = max(ticket.size_mm)
    if ticket.unit == "in":
        # A bar of about a quarter of the longer side, in whole units.
        inches = max(1, round(longest / 4.0 / MM_PER_INCH))
        bar_mm, bar_words = inches * MM_PER_INCH, f"{inches} in"
    else:
        step = 50.0 if longest > 150.0 else 10.0
        bar_mm = max(step, round(longest / 4.0 / step) * step)
        bar_words = f"{bar_mm:.0f} mm"
    return Caption(
        title=ticket.title,
        under=f"{size}, {ticket.material or 'material not stated'}, {minutes}",
        caution="A pattern and an estimate only. Test on a scrap of the same sheet; never leave the machine alone.",
        warning="" if ticket.may_run else ticket.material_verdict[0].upper() + ticket.material_verdict[1:],
        bar_mm=bar_mm,
        bar_words=bar_words,
    )
