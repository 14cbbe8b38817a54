"""The ticket: the sheet that goes with a job, as one self-contained HTML page and as JSON.

What it says is computed elsewhere; here it is put into words. The page needs nothing from outside itself and prints on
one or two sheets.
"""

from __future__ import annotations

import base64
import json
from dataclasses import dataclass
from html import escape
from importlib import resources

from friezewright.findings import Finding, Severity
from friezewright.units import format_duration, format_length

__all__ = ["LayerLine", "OrnamentLine", "Ticket", "ticket_html", "ticket_json"]


@dataclass(frozen=True, slots=True, kw_only=True)
class LayerLine:
    """One layer's row: what is done, how much of it, how long it takes."""

    operation: str
    how: str
    copies: int
    metres: float
    seconds: float
    low_s: float
    high_s: float
    burning_s: float
    travel_s: float
    turning_s: float
    delays_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class OrnamentLine:
    """One ornament's row: how many copies, the gap measured, and what was done to fit it."""

    name: str
    copies: int
    gap_mm: float | None
    measured_gap_mm: float | None
    words: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Ticket:
    """Everything the ticket says."""

    title: str
    unit: str
    size_mm: tuple[float, float]
    thickness_mm: float | None
    material: str
    material_verdict: str
    may_run: bool
    cutouts: tuple[str, ...]
    keep_off_mm: tuple[float, float]
    ornaments: tuple[OrnamentLine, ...]
    layers: tuple[LayerLine, ...]
    seconds: float
    low_s: float
    high_s: float
    range_note: str
    cost_lines: tuple[tuple[str, str], ...]
    machine: tuple[tuple[str, str], ...]
    notes: tuple[str, ...]
    findings: tuple[Finding, ...]
    cautions: tuple[str, ...]
    digest: str
    versions: tuple[tuple[str, str], ...]


def ticket_json(ticket: Ticket) -> bytes:
    """Return the ticket as JSON; lengths in mm, times in seconds, each key saying so."""
    table = {
        "title": ticket.title,
        "size_mm": list(ticket.size_mm),
        "thickness_mm": ticket.thickness_mm,
        "material": {"asked": ticket.material, "verdict": ticket.material_verdict, "may_run": ticket.may_run},
        "cutouts": list(ticket.cutouts),
        "keep_off_mm": {"rim": ticket.keep_off_mm[0], "cutouts": ticket.keep_off_mm[1]},
        "ornaments": [
            {
                "name": line.name,
                "copies": line.copies,
                "gap_asked_mm": line.gap_mm,
                "gap_measured_mm": _rounded(line.measured_gap_mm, 4),
                "words": list(line.words),
            }
            for line in ticket.ornaments
        ],
        "layers": [
            {
                "operation": line.operation,
                "how": line.how,
                "copies": line.copies,
                "metres": _rounded(line.metres, 4),
                "seconds": _rounded(line.seconds, 2),
                "low_s": _rounded(line.low_s, 2),
                "high_s": _rounded(line.high_s, 2),
                "burning_s": _rounded(line.burning_s, 2),
                "travel_s": _rounded(line.travel_s, 2),
                "turning_s": _rounded(line.turning_s, 2),
                "delays_s": _rounded(line.delays_s, 2),
            }
            for line in ticket.layers
        ],
        "time": {
            "seconds": _rounded(ticket.seconds, 2),
            "low_s": _rounded(ticket.low_s, 2),
            "high_s": _rounded(ticket.high_s, 2),
            "note": ticket.range_note,
        },
        "cost": dict(ticket.cost_lines),
        "machine": dict(ticket.machine),
        "notes": list(ticket.notes),
        "findings": [
            {
                "code": finding.code,
                "severity": finding.severity.name.lower(),
                "message": finding.message,
                "where_mm": None if finding.where_mm is None else [round(value, 3) for value in finding.where_mm],
                "ornament": finding.ornament,
            }
            for finding in ticket.findings
        ],
        "cautions": list(ticket.cautions),
        "digest": ticket.digest,
        "versions": dict(ticket.versions),
    }
    return (json.dumps(table, indent=2, ensure_ascii=False) + "\n").encode()


def _rounded(value: float | None, digits: int) -> float | None:
    # Last-digit differences between processors must not reach the file.
    return None if value is None else round(value, digits) + 0.0


def ticket_html(ticket: Ticket, picture_png: bytes) -> bytes:
    """Return the ticket as one HTML page with the picture inside."""
    size = " by ".join(format_length(value, ticket.unit) for value in ticket.size_mm)
    thick = "" if ticket.thickness_mm is None else f", {format_length(ticket.thickness_mm, ticket.unit)} thick"
    material = escape(ticket.material or "material not stated")
    parts = [
        f"<h1>{escape(ticket.title)}</h1>",
        f'<p class="under">{size}{thick}, {material}</p>',
        *_banner(ticket),
        f'<img alt="The panel as it will be burned: {escape(_summary(ticket))}" '
        f'src="data:image/png;base64,{base64.b64encode(picture_png).decode()}">',
        _figures(ticket),
        "<h2>Run in this order</h2>",
        _layers(ticket),
        f'<p class="small">{escape(ticket.range_note)}</p>',
        "<h2>What was fitted</h2>",
        _ornaments(ticket),
        "<h2>Remarks</h2>",
        _findings(ticket),
        "<h2>Before you run it</h2>",
        _list(ticket.cautions),
        "<h2>Panel and machine</h2>",
        _list((*_panel_words(ticket), *ticket.notes, *(f"{key}: {value}" for key, value in ticket.machine))),
        f'<p class="small">Job {escape(ticket.digest[:16])}; '
        + escape(", ".join(f"{name} {version}" for name, version in ticket.versions))
        + "</p>",
    ]
    body = "\n".join(parts)
    style = resources.files("friezewright.output").joinpath("ticket.css").read_text("utf-8")
    head = (
        '<meta charset="utf-8">\n<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{escape(ticket.title)}: ticket</title>\n<style>\n{style}</style>"
    )
    return f'<!doctype html>\n<html lang="en">\n<head>\n{head}\n</head>\n<body>\n{body}\n</body>\n</html>\n'.encode()


def _summary(ticket: Ticket) -> str:
    return "; ".join(f"{line.name}, {_copies(line.copies)}" for line in ticket.ornaments) or "no ornament"


def _banner(ticket: Ticket) -> list[str]:
    lines = []
    if not ticket.may_run:
        lines.append(ticket.material_verdict)
    lines += [finding.message for finding in ticket.findings if finding.severity is Severity.STOP]
    return [f'<p class="stop">{escape(line[0].upper() + line[1:])}</p>' for line in dict.fromkeys(lines)]


def _figures(ticket: Ticket) -> str:
    figures = [(f"{_minutes(ticket.low_s)} to {_minutes(ticket.high_s)} min", "machine time, a range")]
    figures += [(value, label) for label, value in ticket.cost_lines]
    figures.append((f"{sum(line.metres for line in ticket.layers):.1f} m", "burned, scored and cut"))
    figures.append((str(sum(line.copies for line in ticket.ornaments)), "copies of the motif"))
    cells = "".join(f"<div><b>{escape(value)}</b><span>{escape(label)}</span></div>" for value, label in figures)
    return f'<div class="figures">{cells}</div>'


def _copies(count: int) -> str:
    return "1 copy" if count == 1 else f"{count} copies"


def _minutes(seconds: float) -> str:
    minutes = seconds / 60.0
    return f"{minutes:.0f}" if minutes >= 10 else f"{minutes:.1f}"


def _layers(ticket: Ticket) -> str:
    head = (
        '<tr><th>layer</th><th>how</th><th class="n">paths</th><th class="n">metres</th><th class="n">time</th>'
        '<th class="n">burning</th><th class="n">travel and turning</th></tr>'
    )
    rows = [
        f'<tr><td>{number}. {escape(line.operation)}</td><td>{escape(line.how)}</td><td class="n">{line.copies}</td>'
        f'<td class="n">{line.metres:.2f}</td>'
        f'<td class="n">{_minutes(line.low_s)} to {_minutes(line.high_s)} min</td>'
        f'<td class="n">{format_duration(line.burning_s)}</td>'
        f'<td class="n">{format_duration(line.travel_s + line.turning_s + line.delays_s)}</td></tr>'
        for number, line in enumerate(ticket.layers, start=1)
    ]
    return f"<table>{head}{''.join(rows)}</table>"


def _ornaments(ticket: Ticket) -> str:
    if not ticket.ornaments:
        return "<p>No ornament.</p>"
    rows = []
    for line in ticket.ornaments:
        gap = "" if line.measured_gap_mm is None else f"gap {line.measured_gap_mm:.3f} mm, measured"
        words = "<br>".join(escape(word) for word in line.words)
        rows.append(
            f'<tr><td>{escape(line.name)}</td><td class="n">{_copies(line.copies)}</td>'
            f"<td>{words}</td><td>{gap}</td></tr>"
        )
    return f"<table>{''.join(rows)}</table>"


def _findings(ticket: Ticket) -> str:
    if not ticket.findings:
        return "<p>Nothing to remark: gaps, distances and loops are as asked.</p>"
    lines = []
    for number, finding in enumerate(ticket.findings, start=1):
        place = ""
        if finding.where_mm is not None:
            place = f" (mark {number}, at {finding.where_mm[0]:.1f}, {finding.where_mm[1]:.1f} mm)"
        owner = f"{finding.ornament}: " if finding.ornament else ""
        lines.append(f"{finding.severity.name.capitalize()}. {owner}{finding.message}{place}.")
    return _list(tuple(lines))


def _panel_words(ticket: Ticket) -> tuple[str, ...]:
    rim, cutouts = (format_length(value, ticket.unit) for value in ticket.keep_off_mm)
    names = ", ".join(ticket.cutouts) or "none"
    return (f"cutouts: {names}", f"burning stays {rim} clear of the rim and {cutouts} clear of the cutouts")


def _list(lines: tuple[str, ...]) -> str:
    return "<ul>" + "".join(f"<li>{escape(line)}</li>" for line in lines) + "</ul>"
