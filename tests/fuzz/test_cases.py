"""Every input that once broke a promise keeps it now; and so do the seeds of the search."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.fuzz.fuzz import HERE, TARGETS, attempt, seeds

CASES = sorted(path for path in (HERE / "cases").glob("*/*") if path.is_file())


@pytest.mark.parametrize("case", CASES, ids=lambda path: f"{path.parent.name}/{path.name}")
def test_a_kept_case(case: Path) -> None:
    attempt(case.parent.name, case.read_bytes())


def test_the_cases_belong_to_targets() -> None:
    assert {path.parent.name for path in CASES} <= set(TARGETS)


@pytest.mark.parametrize("target", TARGETS)
def test_the_seeds(target: str) -> None:
    given = seeds(target)
    assert len(given) > 8
    for seed in given:
        attempt(target, seed)
