"""The whole job, stage after stage: from the text of a job to the files that are handed over."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace

from friezewright.compose.job import Job, read_job
from friezewright.compose.motifs import Motifs
from friezewright.compose.ornaments import Fitting, Workpiece, fit_ornaments
from friezewright.compose.panels import panel_of_job
from friezewright.compose.tickets import caption_of, ticket_of, versions
from friezewright.errors import InputError, MaterialError
from friezewright.findings import Finding, Severity, stops, worst_first
from friezewright.inspection.check import inspect
from friezewright.layers.build import build
from friezewright.layers.drawing import Drawing, Operation
from friezewright.machine import Machine, from_toml, typical
from friezewright.materials import Standing, Verdict, judge
from friezewright.motion.estimate import Estimate, estimate
from friezewright.output.guide import write_guide
from friezewright.output.picture import draw_picture
from friezewright.output.svg import write_drawing, write_layer
from friezewright.output.ticket import Ticket, ticket_html, ticket_json
from friezewright.panel.zone import zone_of
from friezewright.units import format_duration

__all__ = ["ComposeOptions", "Composition", "compose_job"]

DRAWING = "drawing.svg"
_MOST_MARKS = 20


@dataclass(frozen=True, slots=True, kw_only=True)
class ComposeOptions:
    """What is written, and how finely.

    Parameters
    ----------
    layers
        Whether each layer gets a file of its own as well.
    ornament_only
        Whether the cut layer is left out.
    tolerance_mm
        Furthest a trimmed or bent line may lie from the true curve.
    """

    layers: bool = False
    ornament_only: bool = False
    tolerance_mm: float = 0.01

    def __post_init__(self) -> None:
        if not 1e-4 <= self.tolerance_mm <= 1.0:
            raise InputError(f"the tolerance must lie between 0.0001 and 1 mm, got {self.tolerance_mm:g} mm")


@dataclass(frozen=True, slots=True, kw_only=True)
class Composition:
    """What a job came to.

    Parameters
    ----------
    files
        Bytes by file name.
    withheld
        Names of files that a finding stopped, or that were not asked for, so that none is left from an earlier run.
    findings
        All remarks, worst first.
    sentences
        The result in a few plain lines.
    """

    files: dict[str, bytes]
    withheld: tuple[str, ...]
    findings: tuple[Finding, ...]
    sentences: tuple[str, ...]

    @property
    def stopped(self) -> bool:
        """Whether a finding kept the drawing from being written."""
        return stops(self.findings)


def compose_job(
    data: bytes,
    *,
    name: str,
    read: Callable[[str], bytes],
    options: ComposeOptions,
    progress: Callable[[str], None] = lambda _: None,
) -> Composition:
    """Return everything a job comes to.

    Parameters
    ----------
    data, name
        The job file's bytes, and what to call it in errors.
    read
        Returns the bytes of a file that the job names.
    options
        What is written, and how finely.
    progress
        Called with a few words at each stage; may raise :class:`~friezewright.errors.Cancelled`.

    Raises
    ------
    InputError
        If the job or a file it names cannot be used.
    """
    job = read_job(data, name=name)
    read = _Remembered(read)
    verdict = _judged(job)
    progress("reading the panel")
    panel, keep_off, panel_findings = panel_of_job(job, read)
    machine = _machine(job, read, panel.thickness_mm)
    zone = zone_of(panel, keep_off)
    motifs = Motifs(job, read)
    work = Workpiece(job=job, motifs=motifs, panel=panel, keep_off=keep_off, tolerance_mm=options.tolerance_mm)
    fitted = fit_ornaments(work, zone, progress=progress)
    progress("laying the layers")
    digest = _digest(job, read, options)
    drawing, layer_findings = build(
        panel,
        [(item.ornament, item.style) for item in fitted],
        machine,
        title=job.title,
        digest=digest,
        keep_off=keep_off,
        unit=job.unit,
        tolerance_mm=options.tolerance_mm,
    )
    progress("writing the drawing")
    made_with = versions()
    svg = write_drawing(drawing, versions=made_with)
    progress("measuring the drawing")
    measured = inspect(svg, name=DRAWING, thin_mm=machine.spot_mm).findings
    progress("simulating the run")
    timed = estimate(drawing, machine)
    made = [
        *panel_findings,
        *zone.findings,
        *motifs.findings(),
        *(finding for item in fitted for finding in item.ornament.findings),
        *layer_findings,
    ]
    # What a stage has already said in its own words, and the checker found again, is said once.
    said = {(finding.code, finding.ornament) for finding in made}
    again = [finding for finding in measured if (finding.code, finding.ornament) not in said]
    findings = worst_first([*made, *again, *timed.findings, *_over_time(job, timed)])
    ticket = ticket_of(
        job,
        panel=panel,
        keep_off=keep_off,
        ornaments=[item.ornament for item in fitted],
        drawing=drawing,
        estimate=timed,
        machine=machine,
        verdict=verdict,
        findings=findings,
    )
    progress("drawing the picture")
    picture = draw_picture(svg, spot_mm=machine.spot_mm, caption=caption_of(ticket), marks=_marks(findings))
    handed = drawing if not options.ornament_only else _without_cut(drawing)
    files: dict[str, bytes] = {}
    if not stops(findings):
        files[DRAWING] = svg if not options.ornament_only else write_drawing(handed, versions=made_with)
        if options.layers:
            files |= {
                f"{layer.operation}.svg": write_layer(handed, layer.operation, versions=made_with)
                for layer in handed.layers
            }
    files["guide.svg"] = write_guide(panel, zone, [item.ornament for item in fitted], title=job.title)
    files["picture.png"] = picture
    files["ticket.html"] = ticket_html(ticket, picture)
    files["ticket.json"] = ticket_json(ticket)
    known = (DRAWING, "engrave.svg", "score.svg", "cut.svg")
    return Composition(
        files=files,
        withheld=tuple(file for file in known if file not in files),
        findings=findings,
        sentences=_sentences(fitted, ticket),
    )


def _judged(job: Job) -> Verdict:
    verdict = judge(job.material)
    if verdict.standing is Standing.REFUSED:
        source = f" ({verdict.source})" if verdict.source else ""
        raise MaterialError(
            f"{verdict.material} must not be lasered: {verdict.reason}{source}; use another that the machine allows"
        )
    return verdict


def _machine(job: Job, read: Callable[[str], bytes], thickness_mm: float | None) -> Machine:
    if job.machine.profile == "typical":
        return typical(thickness_mm=thickness_mm)
    return from_toml(read(job.machine.profile), name=job.machine.profile)


class _Remembered:
    """Reads each named file once, and keeps a fingerprint of it."""

    def __init__(self, read: Callable[[str], bytes]) -> None:
        self._read = read
        self._known: dict[str, bytes] = {}

    def __call__(self, name: str) -> bytes:
        if name not in self._known:
            self._known[name] = self._read(name)
        return self._known[name]

    def fingerprints(self) -> Iterable[bytes]:
        """Yield names and fingerprints of all files read, by name."""
        for name in sorted(self._known):
            yield name.encode()
            yield hashlib.sha256(self._known[name]).digest()


def _digest(job: Job, read: _Remembered, options: ComposeOptions) -> str:
    """Return a fingerprint of what was asked: the job's values, the files it names and the tolerance."""
    text = hashlib.sha256(job.model_dump_json().encode())
    text.update(repr(options.tolerance_mm).encode())
    for part in read.fingerprints():
        text.update(part)
    return text.hexdigest()


def _over_time(job: Job, timed: Estimate) -> tuple[Finding, ...]:
    within = job.cost.run_within
    if within is None or timed.high_s <= within:
        return ()
    return (
        Finding(
            code="over-time",
            severity=Severity.WARNING,
            message=(
                f"the run may take up to {format_duration(timed.high_s)}, over the {format_duration(within)} asked for"
            ),
        ),
    )


def _marks(findings: Iterable[Finding]) -> list[tuple[int, tuple[float, float]]]:
    marks = [
        (number, finding.where_mm)
        for number, finding in enumerate(findings, start=1)
        if finding.where_mm is not None and finding.severity >= Severity.WARNING
    ]
    return marks[:_MOST_MARKS]


def _without_cut(drawing: Drawing) -> Drawing:
    return replace(drawing, layers=tuple(layer for layer in drawing.layers if layer.operation is not Operation.CUT))


def _sentences(fitted: Iterable[Fitting], ticket: Ticket) -> tuple[str, ...]:
    lines = [f"{item.ornament.name}: {word}" for item in fitted for word in item.ornament.words]
    lines.append(
        f"machine time {format_duration(ticket.low_s)} to {format_duration(ticket.high_s)}, simulated; "
        + (", ".join(f"{label} {value}" for label, value in ticket.cost_lines) or "no price given")
    )
    if not ticket.may_run:
        lines.append(ticket.material_verdict)
    return tuple(lines)
