"""What the README and its companions say exists: commands, files, links, examples."""

from __future__ import annotations

import doctest
import importlib
import pkgutil
import re
import shlex
import tomllib
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

import friezewright
from friezewright.cli import main

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text("utf-8")
PAGES = ["README.md", "DEVELOPERS.md", "gallery/README.md", "motifs/README.md", "CHANGELOG.md"]


def ran(*arguments: str):
    return CliRunner().invoke(main, list(arguments), prog_name="friezewright")


def shown_commands() -> set[str]:
    """Return the commands that ``friezewright --help`` lists."""
    help_text = ran("--help").stdout
    return set(re.findall(r"^  ([a-z]+) ", help_text.partition("Commands:")[2], flags=re.MULTILINE))


def blocks(text: str, language: str) -> list[str]:
    return re.findall(rf"^```{language}\n(.*?)^```", text, flags=re.MULTILINE | re.DOTALL)


def readme_lines() -> list[str]:
    """Return the lines of the README's examples that run this program, without their comments."""
    lines = [line.partition("#")[0].strip() for block in blocks(README, "sh") for line in block.splitlines()]
    return [line for line in lines if line.startswith("friezewright ")]


def test_every_command_is_described_in_the_readme():
    described = {shlex.split(line)[1] for line in readme_lines()}

    assert described == shown_commands()
    assert len(described) >= 5


@pytest.mark.parametrize("line", readme_lines())
def test_every_line_of_the_readme_is_a_command_with_options_it_has(line):
    words = shlex.split(line)[1:]
    command = main.commands[words[0]]
    while isinstance(command, click.Group):
        words = words[1:]
        command = command.commands[words[0]]

    # Parsing alone: the files it names need not be here.
    command.make_context(words[0], words[1:])


@pytest.mark.parametrize("name", sorted(main.commands))
def test_every_command_explains_itself(name):
    done = ran(name, "--help")

    assert done.exit_code == 0
    assert done.stderr == ""
    assert main.commands[name].help
    for option in main.commands[name].params:
        if isinstance(option, click.Option):
            assert option.help, f"{name} {option.opts}"


def test_every_file_of_the_readmes_table_is_written_by_compose(tmp_path):
    table = re.findall(r"^\| (`[^|]*`) \|", README, flags=re.MULTILINE)
    named = {name for cell in table for name in re.findall(r"`([a-z]+\.[a-z]+)`", cell)}
    job = '[panel]\nsize = [30, 20]\n[motif.bud]\npicture = "bud"\n'
    (tmp_path / "job.toml").write_text(job + '[[ornament]]\nplace = [15, 10]\nmotif = "bud"\nheight = 8\n')

    done = ran("compose", str(tmp_path / "job.toml"))

    assert done.exit_code == 0, done.output
    assert {path.name for path in (tmp_path / "job").iterdir()} == named


def test_options_and_exit_codes_the_readme_names_exist():
    options = set(re.findall(r"`(--[a-z-]+)`", README))
    known = {word for command in main.commands.values() for option in command.params for word in option.opts}

    assert options
    assert options <= known


def test_the_readme_numbers_its_promises():
    promises = README.partition("## What a drawing promises")[2].partition("\n## ")[0]
    numbers = [int(number) for number in re.findall(r"^(\d+)\. ", promises, flags=re.MULTILINE)]

    assert numbers == list(range(1, len(numbers) + 1))
    assert len(numbers) >= 5


def test_make_targets_the_pages_name_exist():
    targets = set(re.findall(r"^([a-z]+):", (ROOT / "Makefile").read_text(), flags=re.MULTILINE))
    for page in ("README.md", "DEVELOPERS.md"):
        named = set(re.findall(r"`make ([a-z]+)`", (ROOT / page).read_text("utf-8")))
        assert named
        assert named <= targets


def anchors(text: str) -> set[str]:
    heads = re.findall(r"^#+ (.*)$", text, flags=re.MULTILINE)
    return {re.sub(r"[^a-z0-9 -]", "", head.lower()).replace(" ", "-") for head in heads}


@pytest.mark.parametrize("page", [page for page in PAGES if (ROOT / page).exists()])
def test_links_within_the_project_resolve(page):
    text = (ROOT / page).read_text("utf-8")

    for target in re.findall(r"\]\(([^)\s]+)\)", text):
        if re.match(r"[a-z]+:", target):
            continue
        file, _, anchor = target.partition("#")
        linked = (ROOT / page).parent / file if file else ROOT / page
        assert linked.exists(), f"{page} links to {target}"
        if anchor:
            assert anchor in anchors(linked.read_text("utf-8")), f"{page} links to {target}"


def test_pages_the_readme_depends_on_are_there():
    for page in ("DEVELOPERS.md", "CHANGELOG.md", "LICENSE", "gallery/README.md", "motifs/README.md"):
        assert (ROOT / page).exists(), page


def test_the_limits_the_readme_states_are_the_programs():
    from friezewright.motif.picture import LARGEST_MEGAPIXELS
    from friezewright.panel.shapes import LARGEST_MM

    limits = README.partition("## Limits")[2].partition("\n## ")[0]
    assert f"Pictures up to {LARGEST_MEGAPIXELS} megapixels" in limits
    assert f"panels up to {LARGEST_MM / 1000:g} m" in limits


def test_the_version_is_said_once():
    assert ran("--version").stdout == f"friezewright, version {friezewright.__version__}\n"
    assert tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]["dynamic"] == ["version"]


MODULES = sorted(
    info.name
    for info in pkgutil.walk_packages(friezewright.__path__, prefix="friezewright.")
    if not info.name.startswith("friezewright.motifs")
)


@pytest.mark.parametrize("name", MODULES)
def test_examples_in_docstrings_hold(name):
    failed, _ = doctest.testmod(importlib.import_module(name), report=False)

    assert failed == 0


def test_there_are_examples_to_hold():
    finder = doctest.DocTestFinder(exclude_empty=True)
    examples = [test for name in MODULES for test in finder.find(importlib.import_module(name)) if test.examples]

    assert len(examples) >= 10
