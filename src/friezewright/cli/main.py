"""The commands. Heavy modules are imported inside the command that needs them, so that ``--help`` is quick."""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import TYPE_CHECKING

import click

from friezewright import __version__
from friezewright.cli import files, progress
from friezewright.cli.guard import GuardedGroup

if TYPE_CHECKING:
    from collections.abc import Iterable

    from friezewright.findings import Finding

__all__ = ["main"]

_FORMAT = click.option(
    "--format",
    "form",
    type=click.Choice(["text", "json"]),
    default="text",
    show_default=True,
    help="Words for people or JSON for machines, on stdout.",
)
_FILE = click.Path(path_type=Path)


@click.group(cls=GuardedGroup, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="friezewright")
def main() -> None:
    """Ornament from a motif, fitted to a laser-cut panel, measured, timed and priced.

    A job is a small text file: the panel with its cutouts, the motif's picture, and which ornament goes where. Start
    one with `friezewright new leaf.png`, then run `friezewright compose leaf.toml`.
    """
    # Coordinates never go through BLAS; its worker threads would only slow the start.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")


@main.command()
@click.argument("picture", type=_FILE)
@click.option("-o", "--out", type=_FILE, help="Job file to write; default: beside the picture, under its name.")
@click.option("--inches", is_flag=True, help="Write sizes in inches.")
@click.option("--overwrite", is_flag=True, help="Replace a job file that is already there.")
@_FORMAT
def new(picture: Path, out: Path | None, inches: bool, overwrite: bool, form: str) -> None:
    """Write a starter job beside PICTURE, every key explained."""
    from friezewright.compose.starter import starter_job
    from friezewright.errors import InputError

    job = out or picture.with_suffix(".toml")
    data = files.read_bytes(picture)
    text = starter_job(
        data, name=str(picture), seen_from_job=os.path.relpath(picture, job.parent), unit="in" if inches else "mm"
    )
    if job.exists() and not overwrite:
        raise InputError(f"{job} is already there; name another with -o, or say --overwrite")
    files.keep_source(job, picture)
    files.write_file(job, text)
    if form == "json":
        click.echo(json.dumps({"file": str(job)}, indent=2))
        return
    click.echo(f"{job}: edit it, then run: friezewright compose {job}")


@main.command()
@click.argument("picture", type=_FILE)
@click.option("-o", "--out", type=_FILE, help="SVG to write; default: beside the picture, under its name.")
@click.option("--in-frame", is_flag=True, help="Keep the picture's own frame, in pixels, to lay over it and compare.")
@click.option("--height", default="20 mm", show_default=True, help="Height the motif is drawn and judged at.")
@click.option(
    "--ink-level",
    type=click.FloatRange(0, 1, min_open=True, max_open=True),
    help="How dark counts as ink, 0 to 1; default: found from the picture.",
)
@click.option("--dust", type=click.FloatRange(min=0), help="Specks of fewer pixels than this are left out.")
@click.option(
    "--even-light/--light-as-is",
    "even_light",
    default=None,
    help="Take out uneven light, as in a phone picture; default: when it is uneven.",
)
@click.option(
    "--light-on-dark/--dark-on-light",
    "light_on_dark",
    default=None,
    help="Which of the two is ink; default: found from the picture.",
)
@click.option(
    "--smoothness",
    type=click.FloatRange(0, 1),
    help="How sharp a bend may be and still be drawn round: 0 makes every bend a corner, 1 none.",
)
@click.option(
    "--crop", type=(int, int, int, int), metavar="LEFT TOP RIGHT BOTTOM", help="Look only at this part, in pixels."
)
@_FORMAT
def trace(
    picture: Path,
    out: Path | None,
    in_frame: bool,
    height: str,
    ink_level: float | None,
    dust: float | None,
    even_light: bool | None,
    light_on_dark: bool | None,
    smoothness: float | None,
    crop: tuple[int, int, int, int] | None,
    form: str,
) -> None:
    """Trace PICTURE's motif as clean curves, with a report."""
    from friezewright.compose.tracing import TraceOptions, trace_picture
    from friezewright.units import parse_length_mm

    options = TraceOptions(
        height_mm=parse_length_mm(height),
        in_frame=in_frame,
        ink_level=ink_level,
        dust_px=dust,
        even_light=even_light,
        light_on_dark=light_on_dark,
        smoothness=smoothness,
        crop=crop,
    )
    with progress.shown(quiet=form == "json"):
        traced = trace_picture(files.read_bytes(picture), name=str(picture), options=options)
    target = out or picture.with_suffix(".svg")
    files.keep_source(target, picture)
    files.write_file(target, traced.svg)
    _remarks(traced.findings)
    if form == "json":
        click.echo(json.dumps({"file": str(target), **traced.report}, indent=2))
        return
    click.echo(f"{target}: {traced.sentence}")


@main.command()
@click.argument("picture", type=_FILE)
@click.option("-o", "--out", type=_FILE, help="HTML file to write; default: beside the picture, NAME-book.html.")
@click.option("--height", default="20 mm", show_default=True, help="Height of one motif.")
@click.option("--gap", default="0.8 mm", show_default=True, help="Smallest distance between two copies.")
@click.option("--quick", is_flag=True, help="Only the first six strips, in a few seconds.")
@_FORMAT
def book(picture: Path, out: Path | None, height: str, gap: str, quick: bool, form: str) -> None:
    """Write the pattern book of PICTURE: how it fits into its own copies, as a page and a PNG."""
    from friezewright.compose.book import BookOptions, pattern_book
    from friezewright.units import parse_length_mm

    options = BookOptions(height_mm=parse_length_mm(height), gap_mm=parse_length_mm(gap), quick=quick)
    target = out or picture.with_name(f"{picture.stem}-book.html")
    picture_file = target.with_suffix(".png")
    files.keep_source(target, picture)
    files.keep_source(picture_file, picture)
    with progress.shown(quiet=form == "json") as report:
        made = pattern_book(files.read_bytes(picture), name=str(picture), options=options, progress=report)
    files.write_folder(target.parent, {target.name: made.html, picture_file.name: made.png})
    _remarks(made.findings)
    if form == "json":
        click.echo(json.dumps({"page": str(target), "picture": str(picture_file), "words": made.sentences}, indent=2))
        return
    for line in made.sentences:
        click.echo(line)
    click.echo(f"{target}, {picture_file}")


@main.command()
@click.argument("job", type=_FILE)
@click.option("-o", "--out", type=_FILE, help="Folder for the results; default: beside the job, under its name.")
@click.option("--layers", is_flag=True, help="Also write one SVG a layer.")
@click.option(
    "--ornament-only",
    is_flag=True,
    help="Leave the cut layer out, in the panel drawing's own frame, to be laid over it.",
)
@click.option(
    "--tolerance",
    default="0.01 mm",
    show_default=True,
    help="Furthest a trimmed or bent line may lie from the true curve.",
)
@_FORMAT
def compose(job: Path, out: Path | None, layers: bool, ornament_only: bool, tolerance: str, form: str) -> None:
    """Run JOB: the layered drawing, its picture and its ticket."""
    from friezewright.compose.run import ComposeOptions, compose_job
    from friezewright.units import parse_length_mm

    options = ComposeOptions(layers=layers, ornament_only=ornament_only, tolerance_mm=parse_length_mm(tolerance))
    folder = out or job.with_suffix("")

    def read(name: str) -> bytes:
        return files.read_bytes(job.parent / name)

    with progress.shown(quiet=form == "json") as report:
        result = compose_job(files.read_bytes(job), name=str(job), read=read, options=options, progress=report)
    absent = tuple(sorted(result.withheld))
    files.write_folder(folder, result.files, absent=absent)
    _remarks(result.findings)
    if form == "json":
        click.echo(result.files["ticket.json"].decode(), nl=False)
    else:
        for line in result.sentences:
            click.echo(line)
        click.echo(f"{folder}: {', '.join(result.files)}")
    if result.stopped:
        click.echo("Stopped by a finding: no drawing was written; the ticket and the picture say why.", err=True)
        raise click.exceptions.Exit(1)


@main.command()
@click.argument("drawing", type=_FILE)
@click.option("--machine", type=_FILE, help="Machine profile; default: the typical one.")
@click.option("--thickness", help="Of the sheet, such as 6 mm; the typical machine cuts thick sheets slower.")
@_FORMAT
def estimate(drawing: Path, machine: Path | None, thickness: str | None, form: str) -> None:
    """Say how long a layered DRAWING made here takes."""
    from friezewright.compose.timing import time_drawing
    from friezewright.units import parse_length_mm

    thickness_mm = None if thickness is None else parse_length_mm(thickness)
    profile = None if machine is None else (files.read_bytes(machine), str(machine))
    with progress.shown(quiet=form == "json"):
        timed = time_drawing(files.read_bytes(drawing), name=str(drawing), machine=profile, thickness_mm=thickness_mm)
    _remarks(timed.findings)
    if form == "json":
        click.echo(json.dumps(timed.report, indent=2))
        return
    for line in timed.sentences:
        click.echo(line)


@main.command()
@click.argument("drawing", type=_FILE)
@_FORMAT
def inspect(drawing: Path, form: str) -> None:
    """Measure DRAWING again, with code that shares nothing with what wrote it."""
    from friezewright.findings import stops
    from friezewright.inspection.check import inspect as check

    report = check(files.read_bytes(drawing), name=str(drawing))
    if form == "json":
        click.echo(json.dumps(report.as_table(), indent=2))
    else:
        click.echo(report.as_text())
    if stops(report.findings):
        raise click.exceptions.Exit(1)


@main.group(cls=GuardedGroup)
def calibrate() -> None:
    """Learn a machine's real figures from about ten minutes of timed pieces."""


@calibrate.command()
@click.option("-o", "--out", type=_FILE, default=Path("calibration"), show_default=True, help="Folder for the pieces.")
def sheet(out: Path) -> None:
    """Write the test pieces, and the list to fill their times into."""
    from friezewright.compose.calibration import pieces_to_time

    made = pieces_to_time()
    files.write_folder(out, made)
    click.echo(f"{out}: {len(made) - 1} pieces; read times.toml first, it says how to run and time them")


@calibrate.command()
@click.argument("times", type=_FILE)
@click.option("-o", "--out", type=_FILE, default=Path("my-machine.toml"), show_default=True, help="Profile to write.")
@click.option("--machine", type=_FILE, help="Profile to begin from; default: the typical one.")
@click.option("--name", default="my machine", show_default=True, help="What to call the machine.")
@_FORMAT
def fit(times: Path, out: Path, machine: Path | None, name: str, form: str) -> None:
    """Fit a machine profile to the TIMES of the test pieces."""
    from friezewright.compose.calibration import fit_machine

    begin = None if machine is None else (files.read_bytes(machine), str(machine))
    files.keep_source(out, times)
    with progress.shown(quiet=form == "json"):
        fitted = fit_machine(files.read_bytes(times), name=str(times), start=begin, machine_name=name)
    files.write_file(out, fitted.profile)
    _remarks(fitted.findings)
    if form == "json":
        click.echo(json.dumps({"file": str(out), **fitted.report}, indent=2))
        return
    for line in fitted.sentences:
        click.echo(line)
    click.echo(f'{out}: name it in a job with [machine] profile = "{out.name}"')


def _remarks(findings: Iterable[Finding]) -> None:
    for finding in findings:
        click.echo(str(finding), err=True)
