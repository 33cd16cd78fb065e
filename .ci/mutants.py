"""Change the code in small ways and see whether the tests notice.

    python .ci/mutants.py treatsim/safety/verdict.py treatsim/flowsheet/hold.py
    python .ci/mutants.py treatsim/safety/verdict.py --tests tests/safety --seconds 5

The changes are those of cosmic-ray (pip install cosmic-ray coverage), and the swaps below. No file
is touched. The tests run once, watched; then each mutant lives in a fork of that process, where the
changed code is put in place of the old, and meets the tests that ran its line, the quickest first,
until one fails. A test that keeps what it worked out when it was imported cannot notice: what is
called a survivor may be killed, what is called killed is killed.
"""

from __future__ import annotations

import argparse
import ast
import contextlib
import difflib
import functools
import gc
import itertools
import os
import resource
import sys
import time
import traceback
import types
from collections import defaultdict
from pathlib import Path

import coverage
import pytest
from cosmic_ray.mutating import mutate_code
from cosmic_ray.operators.operator import Operator
from cosmic_ray.plugins import get_operator

ROOT = Path(__file__).resolve().parents[1]
FOLDERS = {  # of the package -> tests that concern it and start no process
    "operations": ["tests/operations", "tests/safety"],
    "safety": ["tests/safety", "tests/validation"],
    "flowsheet": ["tests/flowsheet", "tests/safety"],
    "studies": ["tests/studies"],
    "treatsim": ["tests/cases", "tests/safety"],
}
REPLACED = {
    "Binary": "Add_Sub Sub_Add Mul_Div Div_Mul Pow_Mul FloorDiv_Mul Mod_Mul "
    "BitOr_BitAnd BitAnd_BitOr",
    "Comparison": "Eq_NotEq NotEq_Eq Is_IsNot IsNot_Is Lt_LtE Lt_GtE LtE_Lt LtE_Gt "
    "Gt_GtE Gt_LtE GtE_Gt GtE_Lt",
    "Unary": "Delete_Not Delete_USub Delete_Invert",
}
KEPT = [f"Replace{kind}Operator_{pair}" for kind, pairs in REPLACED.items()
        for pair in pairs.split()]  # fmt: skip
KEPT += [f"Replace{pair}" for pair in (
    "AndWithOr", "OrWithAnd", "TrueWithFalse", "FalseWithTrue", "BreakWithContinue",
    "ContinueWithBreak")]  # fmt: skip
KEPT += ["AddNot", "ExceptionReplacer", "NumberReplacer", "ZeroIterationForLoop"]
SWAPS = {"minimum": "maximum", "min": "max", "any": "all"}
SWAPS |= {other: name for name, other in SWAPS.items()}


class Swap(Operator):
    """Takes a function for its opposite."""

    def mutation_positions(self, node):
        """Yield the place of a name that has an opposite."""
        if node.type == "name" and node.value in SWAPS:
            yield node.start_pos, node.end_pos

    def mutate(self, node, index):
        """Put the opposite."""
        node.value = SWAPS[node.value]
        return node

    @classmethod
    def examples(cls):
        """Return none."""
        return ()


class Words(ast.NodeTransformer):
    """Leaves out what has no effect on a run: annotations and docstrings."""

    def visit_arg(self, node):
        """Drop the annotation of an argument."""
        node.annotation = None
        return node

    def visit_AnnAssign(self, node):
        """Drop the annotation of a name."""
        node.annotation = ast.Constant(None)
        return self.generic_visit(node)

    def visit_FunctionDef(self, node):
        """Drop the annotation of what is returned."""
        node.returns = None
        return self.generic_visit(node)


def shape(text: str) -> str:
    """Return what of a module has an effect."""
    return ast.dump(Words().visit(ast.parse(text)))


def mutants(text: str):
    """Yield operator and changed text, each change once."""
    seen = {shape(text)}
    operators = {name: get_operator(f"core/{name}")() for name in KEPT} | {"Swap": Swap()}
    for name, operator in operators.items():
        occurrence = 0
        while (changed := mutate_code(text, operator, occurrence)) is not None:
            occurrence += 1
            with contextlib.suppress(SyntaxError):
                if (found := shape(changed)) not in seen:
                    seen.add(found)
                    yield name, changed


def functions(item):
    """Yield the functions behind a function, a property, a class method or a cached function."""
    for name in ("fget", "func", "__func__", "__wrapped__"):
        if (inner := getattr(item, name, None)) is not None:
            yield from functions(inner)
    if isinstance(item, types.FunctionType):
        yield item


def put(old, new) -> None:
    """Put code and defaults of a function in place of those of another."""
    for before, after in zip(functions(old), functions(new), strict=True):
        if before.__code__.co_freevars == after.__code__.co_freevars:
            before.__code__ = after.__code__
        if not any(isinstance(value, type) for value in after.__defaults__ or ()):
            before.__defaults__ = after.__defaults__
        before.__kwdefaults__ = after.__kwdefaults__
        for cell, other in zip(before.__closure__ or (), after.__closure__ or (), strict=True):
            if not isinstance(other.cell_contents, type):
                cell.cell_contents = other.cell_contents


def put_class(old: type, new: type) -> None:
    """Put what a class holds in place of what another does."""
    for name, item in vars(new).items():
        before = vars(old).get(name)
        if any(functions(item)) and any(functions(before)):
            put(before, item)
        elif isinstance(item, str | float | int | tuple | bool) and not name.startswith("__"):
            setattr(old, name, item)


def put_module(path: Path, text: str) -> None:
    """Put the changed text of a module in place of the one that is imported."""
    name = ".".join(path.with_suffix("").parts)
    old = sys.modules[name]
    new = types.ModuleType(name)
    new.__file__ = old.__file__
    exec(compile(text, old.__file__, "exec"), new.__dict__)
    ours = [m for key, m in list(sys.modules.items()) if key.startswith("treatsim")]
    for key, item in vars(new).items():
        before = vars(old).get(key)
        if getattr(item, "__module__", name) != name or key.startswith("__"):
            continue
        if isinstance(item, type):
            put_class(before, item)
        elif any(functions(item)):
            put(before, item)
        else:
            for module in ours:
                if vars(module).get(key) is before:
                    setattr(module, key, item)
    for item in gc.get_objects():  # nothing that was worked out before counts, but tables of water
        if isinstance(item, functools._lru_cache_wrapper) and ".water." not in item.__module__:
            item.cache_clear()


class Mutants:
    """Runs the tests once and then, in forks, for every mutant."""

    def __init__(self, paths: list[Path], seconds: float, jobs: int) -> None:
        self.paths, self.budget, self.jobs = paths, seconds, jobs
        self.cover = coverage.Coverage(
            data_file=None, include=[str(ROOT / path) for path in paths], messages=False
        )
        self.cover.start()
        self.seconds: dict[str, float] = {}
        self.failed: list[str] = []
        self.items: dict[str, pytest.Item] = {}

    def pytest_runtest_logreport(self, report):
        """Remember what failed."""
        if report.failed:
            self.failed.append(f"{report.nodeid}: {report.longreprtext}")

    def pytest_runtestloop(self, session):
        """Take the place of pytest's own loop."""
        self.items = {item.nodeid: item for item in session.items}
        order = [*session.items, None]
        for item, after in itertools.pairwise(order):
            self.cover.switch_context(item.nodeid)
            start = time.process_time()
            item.config.hook.pytest_runtest_protocol(item=item, nextitem=after)
            self.seconds[item.nodeid] = time.process_time() - start
        self.cover.stop()
        if self.failed:
            raise session.Failed(f"tests fail before anything is changed: {self.failed}")
        gc.collect()
        gc.freeze()
        for path in self.paths:
            self.of_module(path)
        return True

    def of_module(self, path: Path) -> None:
        """Print how many mutants of a module there are, and which survive."""
        text = (ROOT / path).read_text("utf-8")
        lines = self.cover.get_data().contexts_by_lineno(str(ROOT / path))
        alive, count, running = defaultdict(list), 0, {}
        every = {test for found in lines.values() for test in found if test}
        tests = quickest(every, self.seconds, 4 * self.budget)
        lines = {line: set(tests) & set(found) for line, found in lines.items()}
        same = self.fork(path, text, tests, control=True)
        if os.waitstatus_to_exitcode(os.waitpid(same, 0)[1]):
            sys.exit(f"{path}: tests fail although nothing is changed")

        def end() -> None:
            pid, status = os.wait()
            line, row = running.pop(pid)
            if os.waitstatus_to_exitcode(status) == 0:
                alive[line].append(row)

        for name, changed in mutants(text):
            line, words = changed_line(text, changed)
            tests = chosen(lines, statement(text, line), self.seconds, self.budget)
            count += 1
            row = f"  {path}:{line} {name}{'' if tests else ' (no test)'}: {words}"
            if not tests:
                alive[line].append(row)
                continue
            if len(running) >= self.jobs:
                end()
            running[self.fork(path, changed, tests)] = line, row
        while running:
            end()
        rows = [row for line in sorted(alive) for row in alive[line]]
        head = f"{path}: {count} mutants, {count - len(rows)} killed, {len(rows)} survive"
        sys.stderr.write("\n".join(["", head, *rows, ""]))

    def fork(self, path: Path, text: str, tests: list[str], control: bool = False) -> int:
        """Start a mutant; its process ends with 0 if it survives."""
        if child := os.fork():
            return child
        status = 1
        try:
            os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
            most = int(5 * (sum(self.seconds[test] for test in tests) + 2))
            resource.setrlimit(resource.RLIMIT_CPU, (most, most))  # a mutant may run for ever
            put_module(path, text)
            for test in tests:
                item = self.items[test]
                item.config.hook.pytest_runtest_protocol(item=item, nextitem=None)
                if self.failed:
                    break
            else:
                status = 0
        except Exception:  # what cannot be imported is noticed
            self.failed.append(traceback.format_exc())
        if control:
            sys.stderr.write("\n".join(self.failed))
        os._exit(status)


def statement(text: str, line: int) -> range:
    """Return the lines of the smallest statement around a line; of its head if it has a body."""
    found = [range(line, line + 1)]
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.stmt):
            body = getattr(node, "body", None)
            end = max(body[0].lineno - 1, node.lineno) if body else node.end_lineno
            if node.lineno <= line <= end:
                found.append(range(node.lineno, end + 1))
    return found[-1]  # the tree is walked from the outside in


def changed_line(text: str, other: str) -> tuple[int, str]:
    """Return number and new text of the line that differs."""
    before, after = text.splitlines(), other.splitlines()
    for tag, i, _, j, k in difflib.SequenceMatcher(None, before, after, False).get_opcodes():
        if tag != "equal":
            return i + 1, " ".join(" ".join(after[j:k]).split())
    return 0, ""


def chosen(lines, spread: range, seconds, budget: float) -> list[str]:
    """Return the tests that run a statement, quickest first, then the others of their files."""
    hits = {test for line in spread for test in lines.get(line, ()) if test}
    all_ = {test for tests in lines.values() for test in tests if test}
    if not hits:  # a line that runs at import
        hits = all_ if any(line in lines for line in spread) else set()
    files = {test.partition("::")[0] for test in hits}
    beside = {test for test in all_ if test.partition("::")[0] in files} - hits
    return quickest(hits, seconds, budget) + quickest(beside, seconds, budget / 2)


def quickest(tests: set[str], seconds: dict[str, float], budget: float) -> list[str]:
    """Return as many of the tests as fit into a time, at least one if there is one."""
    found, spent = [], 0.0
    for test in sorted(tests, key=seconds.__getitem__):
        if not found or spent + seconds[test] <= budget:
            found.append(test)
            spent += seconds[test]
    return found


def main() -> None:
    """Print what survives."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("modules", nargs="+", type=Path)
    parser.add_argument("--tests", nargs="+", help="files or folders of tests")
    parser.add_argument("--seconds", type=float, default=5.0, help="of tests for one mutant")
    parser.add_argument("--jobs", type=int, default=os.cpu_count())
    asked = parser.parse_args()
    os.chdir(ROOT)
    sys.path.insert(0, str(ROOT))
    paths = [path.resolve().relative_to(ROOT) for path in asked.modules]
    rooms = {path.parts[1] if len(path.parts) > 2 else "treatsim" for path in paths}
    tests = asked.tests or sorted({folder for room in rooms for folder in FOLDERS[room]})
    watch = Mutants(paths, asked.seconds, asked.jobs)
    sys.exit(pytest.main(["-q", "-s", "-p", "no:cacheprovider", *tests], plugins=[watch]))


if __name__ == "__main__":
    main()
