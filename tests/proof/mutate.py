"""Proves the tests: every mutant of a module by cosmic-ray, each tried in a child of one process that is warm already.

    python -m venv MUTANTS && MUTANTS/bin/pip install cosmic-ray hypothesis pytest .
    MUTANTS/bin/python -m tests.proof.mutate stitchc/chart.py tests/test_chart_value.py [--sample 500]

Works on a copy of the tree. Changes in annotations are left out, since nothing evaluates them. What lives is printed as
its lines before and after; `mutants.md` beside this says of each why, where no test can tell it from what it was.
"""

from __future__ import annotations

import argparse
import ast
import contextlib
import difflib
import os
import random
import shutil
import signal
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Sequence
from pathlib import Path

import pytest
from hypothesis import Phase, settings

ROOT = Path(__file__).parents[2]
SECONDS = 30.0
"""The least a mutant is given; six times what the tests take unmutated, where that is more."""


class _Quickly:
    """A failure is a failure: hypothesis need not look for a smaller one."""

    @pytest.hookimpl(trylast=True)
    def pytest_configure(self) -> None:
        phases = (Phase.explicit, Phase.generate)
        settings.register_profile("mutants", deadline=None, derandomize=True, database=None, phases=phases)
        settings.load_profile("mutants")


def changes(source: str) -> list[tuple[str, int]]:
    """Every change that cosmic-ray knows to make: the operator's name, and which of the places that it applies to."""
    from cosmic_ray.ast import ast_nodes, get_ast  # type: ignore[import-not-found, import-untyped, unused-ignore]
    from cosmic_ray.plugins import (  # type: ignore[import-not-found, import-untyped, unused-ignore]
        get_operator,
        operator_names,
    )

    nodes = list(ast_nodes(get_ast(source)))
    found = []
    for name in sorted(operator_names()):
        with contextlib.suppress(TypeError):  # an operator that has to be told what to change
            operator = get_operator(name)()
            places = sum(len(list(operator.mutation_positions(node))) for node in nodes)
            found += [(name, place) for place in range(places)]
    return found


def mutated(source: str, name: str, place: int) -> str | None:
    """The source with one change; None where that changes nothing that is ever evaluated."""
    from cosmic_ray.mutating import mutate_code  # type: ignore[import-not-found, import-untyped, unused-ignore]
    from cosmic_ray.plugins import get_operator  # type: ignore[import-not-found, import-untyped, unused-ignore]

    changed = mutate_code(source, get_operator(name)(), place)
    return None if changed is None or _evaluated(changed) == _evaluated(source) else str(changed)


class _NoAnnotations(ast.NodeTransformer):
    def visit_arg(self, node: ast.arg) -> ast.arg:
        return ast.arg(node.arg)

    def visit_FunctionDef(self, node: ast.FunctionDef) -> ast.AST:
        node.returns = None
        return self.generic_visit(node)

    def visit_AnnAssign(self, node: ast.AnnAssign) -> ast.AST:
        node.annotation = ast.Constant(None)
        return self.generic_visit(node)


def _evaluated(source: str) -> str | None:
    try:
        return ast.dump(_NoAnnotations().visit(ast.parse(source)))
    except SyntaxError:
        return None


def try_one(tests: Sequence[str], seconds: float) -> bool:
    """Whether the tests pass within the time, in a child, with whatever stands in the module's file now."""
    child = os.fork()
    if child == 0:
        os.setsid()
        silence = os.open(os.devnull, os.O_WRONLY)
        os.dup2(silence, 1)
        os.dup2(silence, 2)
        status = 3
        try:
            status = int(pytest.main(["-x", "-q", "-p", "no:cacheprovider", *tests], plugins=[_Quickly()]))
        finally:
            os._exit(status)
    until = time.monotonic() + seconds
    while time.monotonic() < until:
        ended, status = os.waitpid(child, os.WNOHANG)
        if ended:
            return status == 0
        time.sleep(0.01)
    os.killpg(child, signal.SIGKILL)
    os.waitpid(child, 0)
    return False


def main() -> None:
    parser = argparse.ArgumentParser(description="Try the mutants of a module.")
    parser.add_argument("module")
    parser.add_argument("tests", nargs="+")
    parser.add_argument("--sample", type=int, help="as many mutants, drawn with a fixed seed")
    asked = parser.parse_args()
    sys.dont_write_bytecode = True  # two mutants of one size and one second would pass for each other
    with tempfile.TemporaryDirectory() as folder:
        for part in ("stitchc", "grammar", "tests", "examples"):
            shutil.copytree(ROOT / part, Path(folder, part), ignore=shutil.ignore_patterns("__pycache__"))
        shutil.copy(ROOT / "pyproject.toml", folder)
        os.chdir(folder)
        sys.path.insert(0, folder)
        module = Path(asked.module)
        source = module.read_text("utf-8")
        began = time.monotonic()
        if not try_one(asked.tests, 600):
            sys.exit("The tests fail on the module as it is.")
        seconds = max(SECONDS, 6 * (time.monotonic() - began))
        chosen = changes(source)
        if asked.sample is not None:
            chosen = random.Random(1).sample(chosen, min(asked.sample, len(chosen)))
        score: Counter[bool] = Counter()
        for name, place in chosen:
            changed = mutated(source, name, place)
            if changed is None:
                continue
            module.write_text(changed, "utf-8")
            lives = try_one(asked.tests, seconds)
            score[lives] += 1
            if lives:
                lines = difflib.unified_diff(source.splitlines(), changed.splitlines(), n=0, lineterm="")
                print(name.rpartition("/")[2], *list(lines)[2:], sep="\n    ", flush=True)
        print(f"{asked.module}: {score[False]} of {score.total()} mutants killed")


if __name__ == "__main__":
    main()
