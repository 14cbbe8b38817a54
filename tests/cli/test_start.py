"""Starting the program is quick, since it loads nothing heavy."""

import subprocess
import sys

HEAVY = ["numpy", "scipy", "shapely", "PIL", "lxml", "rich", "starlette", "pydantic", "svgpathtools", "potrace"]


def test_help_loads_nothing_heavy():
    script = (
        "import sys\n"
        "from click.testing import CliRunner\n"
        "from friezewright.cli import main\n"
        "result = CliRunner().invoke(main, ['--help'])\n"
        "assert result.exit_code == 0, result.output\n"
        f"print([name for name in {HEAVY!r} if name in sys.modules])\n"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)

    assert done.stdout.strip() == "[]"


def test_every_room_can_be_imported_without_anything_heavy():
    rooms = "geometry geometry.planar reading motif pattern panel ornament layers motion output compose inspection cli"
    script = (
        "import sys, importlib\n"
        f"for room in {rooms.split()!r}: importlib.import_module('friezewright.' + room)\n"
        f"print([name for name in {HEAVY!r} if name in sys.modules])\n"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)

    assert done.stdout.strip() == "[]"
