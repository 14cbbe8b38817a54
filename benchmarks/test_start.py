"""Start-up: `friezewright --help` against a bare interpreter, each in a fresh process, best of nine, in one run."""

import subprocess
import sys
import time


def best_of_nine(arguments: list[str]) -> float:
    times = []
    for _ in range(9):
        start = time.perf_counter()
        subprocess.run([sys.executable, *arguments], check=True, stdout=subprocess.DEVNULL)
        times.append(time.perf_counter() - start)
    return min(times)


def test_help_starts_within_six_times_a_bare_interpreter():
    bare = best_of_nine(["-c", "pass"])
    full = best_of_nine(["-c", "from friezewright.cli import main; main(['--help'])"])
    print(f"\nbare interpreter {bare * 1e3:.1f} ms, --help {full * 1e3:.1f} ms, ratio {full / bare:.2f}")

    assert full <= 6.0 * bare
