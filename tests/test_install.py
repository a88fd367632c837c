"""What is installed works from any folder: the wheel built from the source archive holds the grammar and all data."""

from __future__ import annotations

import os
import subprocess
import sys
import tarfile
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """The source archive, and the wheel that was built from it."""
    out = tmp_path_factory.mktemp("dist")
    subprocess.run(
        [sys.executable, "-m", "build", "--no-isolation", "--outdir", str(out), str(ROOT)],
        check=True,
        capture_output=True,
    )
    return next(out.glob("*.tar.gz")), next(out.glob("*.whl"))


def run_from(folder: Path, *arguments: str, cwd: Path) -> subprocess.CompletedProcess[str]:
    environment = {**os.environ, "PYTHONPATH": str(folder), "HOME": str(cwd), "XDG_CACHE_HOME": str(cwd / "cache")}
    return subprocess.run(
        [sys.executable, "-m", "stitchc", *arguments],
        cwd=cwd,
        env=environment,
        capture_output=True,
        text=True,
        check=False,
    )


def test_the_wheel_holds_the_grammar_and_every_data_file(built: tuple[Path, Path]) -> None:
    names = set(zipfile.ZipFile(built[1]).namelist())
    assert "stitchc/grammar/stitch.lark" in names
    for path in (ROOT / "stitchc").rglob("*"):
        if path.is_file() and "__pycache__" not in path.parts:
            assert path.relative_to(ROOT).as_posix() in names


def test_the_wheel_works_from_another_folder(built: tuple[Path, Path], tmp_path: Path) -> None:
    unpacked = tmp_path / "wheel"
    zipfile.ZipFile(built[1]).extractall(unpacked)
    pattern = tmp_path / "tide.stitch"
    pattern.write_text("stitch tide\n1: K T\n2: K\n", "utf-8")
    where = run_from(unpacked, "--version", cwd=tmp_path)
    assert where.returncode == 0, where.stderr
    done = run_from(unpacked, "chart", "tide.stitch", "--format", "json", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    assert '"KT"' in done.stdout
    assert run_from(unpacked, "machines", cwd=tmp_path).returncode == 0


def test_the_source_archive_holds_what_the_tests_need(built: tuple[Path, Path]) -> None:
    with tarfile.open(built[0]) as archive:
        names = {name.split("/", 1)[1] for name in archive.getnames() if "/" in name}
    for needed in ("grammar/stitch.lark", "tests/run", "examples/tide-line.stitch", "README.md", "pyproject.toml"):
        assert needed in names


def test_every_form_of_install_names_its_licence_and_its_authors(built: tuple[Path, Path], tmp_path: Path) -> None:
    with tarfile.open(built[0]) as archive:
        inside = {name.partition("/")[2] for name in archive.getnames()}
        assert {"stitchc/LICENSE.txt", "charts/make.py", "charts/README.md", "tests/conftest.py"} <= inside
    wheel = zipfile.ZipFile(built[1])
    (metadata,) = (name for name in wheel.namelist() if name.endswith(".dist-info/METADATA"))
    words = wheel.read(metadata).decode()
    for line in ("License-Expression: MIT", "License-File: stitchc/LICENSE.txt", "Author: The stitchc maintainers"):
        assert line in words.splitlines(), words[:2000]
    wheel.extractall(tmp_path / "wheel")
    for folder in (tmp_path / "wheel", ROOT):
        shown = run_from(folder, "--version", cwd=tmp_path).stdout
        assert "by the stitchc maintainers" in shown and "MIT License" in shown
        licence = Path(shown.strip().rpartition(": ")[2])
        assert licence == folder / "stitchc" / "LICENSE.txt" and "The stitchc maintainers" in licence.read_text("utf-8")
