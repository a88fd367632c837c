"""Try the lowest versions that pyproject.toml allows: install them in a new environment and run the core of the tests.

    .venv/bin/python tests/bench/lowest.py [FOLDER] [pytest arguments]

FOLDER (default: a temporary one) holds the environment and is not taken away, so that a second run is quick. A bound in
pyproject.toml is true where this passes; raise it where it does not.
"""

from __future__ import annotations

import os
import re
import subprocess
import sys
import tempfile
import tomllib
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent.parent
CORE = (
    "tests/test_cli.py", "tests/test_wrong_usage.py", "tests/test_library.py", "tests/test_chart.py",
    "tests/test_bitmap.py", "tests/test_machines.py", "tests/test_format.py", "tests/notation", "tests/card",
    "tests/page", "tests/drawn", "tests/sheet", "tests/piece", "tests/compare", "tests/gauge/test_cli.py",
    "tests/fabric/test_picture.py", "tests/trace/test_trace.py",
)  # fmt: skip
"""What uses each dependency, without what takes minutes or drives a browser."""


def lowest() -> list[str]:
    """Each dependency at the version that its bound names."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    return [re.sub(">=", "==", requirement) for requirement in project["dependencies"]]


def main(arguments: list[str]) -> int:
    """Install and run; the exit status of pytest."""
    folder = Path(arguments[0]) if arguments else Path(tempfile.mkdtemp(prefix="lowest-"))
    python = folder / "bin" / "python"
    if not python.exists():
        subprocess.run([sys.executable, "-m", "venv", str(folder)], check=True)
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    wanted = [*lowest(), *project["optional-dependencies"]["test"]]
    subprocess.run([str(python), "-m", "pip", "install", "-q", "--disable-pip-version-check", *wanted], check=True)
    subprocess.run([str(python), "-m", "pip", "list", "--disable-pip-version-check"], check=True)
    tests = arguments[1:] or [path for path in CORE if (ROOT / path).exists()]
    return subprocess.run(
        [str(python), "-m", "pytest", "-q", "-m", "not browser", *tests],
        cwd=ROOT,
        env={**os.environ, "PYTHONPATH": str(ROOT)},  # for the tests that start the program as a process
        check=False,
    ).returncode


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
