"""Small changes to the code, one at a time: does a test notice?

    python tests/long/mutants.py                      # the standing sample, about 25 minutes
    python tests/long/mutants.py --count 20 --only store --seed 7

Each change is made in a copy of the tree; the tests that belong to the module run there until the
first one fails.  A change that no test notices has survived.  The score is the share noticed, with
and without the changes that NEAR names: those alter nothing that anybody could see.
"""

from __future__ import annotations

import argparse
import ast
import os
import random
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
LIMIT = (
    240.0  # s of processor time of a run of tests; beyond, the change was noticed by its slowness
)
WALL = 5.0  # times that, on the clock of a machine with other work
TINY = 1e-3  # constants below are tolerances and guards against rounding: not changed

# module -> the test files of its physics, quickest first
KERNELS = {
    "fea/metal/layers.py": "test_layer_functions test_materials",
    "fea/metal/materials.py": "test_materials",
    "fea/shell/kernel.py": "test_shell_tangent test_ring test_plates",
    "fea/contact/kernel.py": "test_contact",
    "fea/core/banded.py": "test_banded",
    "fea/solid/kernel.py": "test_solid",
}
STATISTICS = {
    "studies/tails.py": "test_statistics test_diagnosis",
    "studies/margin/tolerable.py": "test_statistics_fits test_margin",
    "studies/margin/slopes.py": "test_statistics_fits test_margin",
    "studies/margin/surrogate.py": "test_statistics_fits test_margin",
    "studies/readings/components.py": "test_components",
    "studies/readings/control_charts.py": "test_control_charts",
    "studies/readings/control_capability.py": "test_statistics test_control_charts",
    "studies/readings/calibration.py": "test_calibration",
    "studies/diagnosis/scatter.py": "test_statistics test_statistics_drawn test_diagnosis",
    "studies/diagnosis/diagnosis.py": "test_statistics test_statistics_drawn test_diagnosis "
    "test_diagnosis_harder",
    "studies/diagnosis/levels.py": "test_statistics_drawn test_diagnosis test_diagnosis_harder",
    "studies/diagnosis/shape.py": "test_statistics test_statistics_drawn test_diagnosis "
    "test_diagnosis_harder",
    "studies/carbonation.py": "test_carbonation",
}
STORE = {
    "studies/study/store.py": "test_study_cases test_store",
    "studies/study/cases.py": "test_study_cases test_store",
    "studies/study/table.py": "test_study_cases test_store",
    "studies/study/sampling.py": "test_study_cases test_study_file",
    "studies/study/rescue.py": "test_store",
}
READINGS = {
    "fea/core/ramp.py": "test_ramp",
    "fea/bottom/readings.py": "test_bottom_readings",
    "profiles/local.py": "test_bottom_readings test_profiles_local",
}
GROUPS = {"kernels": KERNELS, "statistics": STATISTICS, "store": STORE, "readings": READINGS}
SHARES = {"kernels": 14, "statistics": 22, "store": 14, "readings": 10}

# (module, words of its line): why a change there cannot be seen
NEAR: dict[tuple[str, str], str] = {
    (
        "studies/study/sampling.py",
        "low = np.array([v.low",
    ): "a list is added to an array as an array is",
    (
        "studies/study/rescue.py",
        "last = start = 1",
    ): "row numbers start at 1: a page from 0 on holds the same rows",
}


@dataclass(frozen=True)
class Change:
    """text : of the module with the change.  what : it is, in words."""

    module: str
    line: int
    what: str
    text: str

    @property
    def near(self) -> str:
        """Why the change alters nothing that could be seen; "" where it may."""
        said = (ROOT / self.module).read_text().splitlines()[self.line - 1]
        found = (
            why for (where, words), why in NEAR.items() if where == self.module and words in said
        )
        return next(found, "")


def changes_of(module: str) -> list[Change]:
    """All changes to a module, in the order of its text."""
    text = (ROOT / module).read_text(encoding="utf-8")
    starts = [0]
    for line in text.encode().splitlines(keepends=True):
        starts.append(starts[-1] + len(line))
    raw = text.encode()
    out = []
    for node, what, new in _found(ast.parse(text)):
        a = starts[node.lineno - 1] + node.col_offset
        b = starts[node.end_lineno - 1] + node.end_col_offset
        old = " ".join(raw[a:b].decode().split())
        changed = raw[:a] + new.encode() + raw[b:]
        try:
            compile(changed, module, "exec")
        except (SyntaxError, ValueError):
            continue
        said = f"{what}: {old[:60]} -> {' '.join(new.split())[:60]}"
        out.append(Change(module, node.lineno, said, changed.decode()))
    return out


_FLIPPED: dict[type[ast.cmpop], type[ast.cmpop]] = {
    ast.Lt: ast.GtE, ast.LtE: ast.Gt, ast.Gt: ast.LtE, ast.GtE: ast.Lt, ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq, ast.Is: ast.IsNot, ast.IsNot: ast.Is, ast.In: ast.NotIn, ast.NotIn: ast.In,
}  # fmt: skip
_OTHER: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult,
}  # fmt: skip


def _found(tree: ast.AST) -> Iterator[tuple[ast.expr, str, str]]:
    """Nodes that can be changed, what the change is, and their new text."""
    for node in _code(tree):
        if isinstance(node, ast.Compare) and len(node.ops) == 1:
            flipped = _FLIPPED[type(node.ops[0])]()
            new = ast.unparse(ast.Compare(node.left, [flipped], node.comparators))
            yield node, "comparison", f"({new})"
        elif isinstance(node, ast.BinOp) and type(node.op) in _OTHER and not _holds_text(node):
            other: ast.operator = _OTHER[type(node.op)]()
            if isinstance(node.op, ast.Mult) and (_whole(node.left) or _whole(node.right)):
                other = ast.Add()  # a number of things must stay whole to get past the first line
            new = ast.unparse(ast.BinOp(node.left, other, node.right))
            yield node, "operator", f"({new})"
        elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub):
            yield node, "sign", f"({ast.unparse(node.operand)})"
        elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not):
            yield node, "not", f"bool({ast.unparse(node.operand)})"
        elif isinstance(node, ast.Constant) and isinstance(node.value, float):
            if abs(node.value) >= TINY:
                yield node, "constant", repr(node.value * 1.02)
            elif node.value == 0.0:
                yield node, "constant", "1.0"
        elif isinstance(node, ast.Constant) and type(node.value) is int:
            yield node, "constant", {0: "1", 1: "0"}.get(node.value, str(node.value + 1))
        elif isinstance(node, ast.Call) and _name(node.func) in _HARMLESS:
            continue
        elif isinstance(node, ast.Call) and len(node.args) == 2 and not node.keywords:
            swapped = ast.Call(node.func, node.args[::-1], [])
            yield node, "arguments swapped", ast.unparse(swapped)
        elif isinstance(node, ast.Call) and len(node.args) == 1 and not node.keywords:
            yield node, "call removed", f"({ast.unparse(node.args[0])})"


# calls that change the type and not the value, or do not care for the order of their arguments,
# or make words; and those whose change ends in an error at once, which says nothing of the tests
_HARMLESS = {
    "float", "int", "bool", "str", "tuple", "list", "asarray", "max", "min", "maximum", "minimum",
    "hypot", "brief", "StoreError", "DamagedStoreError", "InputError", "repr",
    "len", "type", "isinstance", "map", "range", "enumerate", "getattr", "hasattr", "rows",
}  # fmt: skip


def _name(function: ast.AST) -> str:
    return getattr(function, "id", "") or getattr(function, "attr", "")


def _whole(node: ast.AST) -> bool:
    return isinstance(node, ast.Constant) and type(node.value) is int


def _holds_text(node: ast.AST) -> bool:
    return any(isinstance(one, ast.JoinedStr) or (
        isinstance(one, ast.Constant) and isinstance(one.value, str)) for one in ast.walk(node)
    )  # fmt: skip


def _code(node: ast.AST) -> Iterator[ast.AST]:
    """Nodes of what is computed: no annotations, decorators, sentences and imports for types."""
    if isinstance(node, ast.Raise | ast.JoinedStr | ast.Import | ast.ImportFrom | ast.Assert):
        return
    if isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING":
        return
    yield node
    skipped = {"annotation", "returns", "decorator_list"}
    for name, value in ast.iter_fields(node):
        if name in skipped:
            continue
        for child in value if isinstance(value, list) else [value]:
            if isinstance(child, ast.AST):
                yield from _code(child)


def sample(groups: dict[str, int], seed: int) -> list[Change]:
    """Changes of each group, spread evenly over its modules, drawn anew for another seed."""
    out = []
    for group, count in groups.items():
        rng = random.Random(f"{seed} {group}")
        drawn = []
        for module in GROUPS[group]:
            changes = changes_of(module)
            drawn.append(rng.sample(changes, min(len(changes), count)))
        deep = max(map(len, drawn))
        turns = [one[i] for i in range(deep) for one in drawn if i < len(one)]
        out += turns[:count]
    return out


@dataclass(frozen=True)
class Verdict:
    """by : the test that noticed, or "time"; "" where the change survived."""

    change: Change
    by: str
    seconds: float


def _run(copy: Path, tests: list[str], cache: Path) -> tuple[int, str]:
    env = os.environ | {
        "PYTHONPATH": str(copy / ".src"),
        "PYTHONDONTWRITEBYTECODE": "1",
        "NUMBA_CACHE_DIR": str(cache),
        "OPENBLAS_NUM_THREADS": "1",
        "HYPOTHESIS_STORAGE_DIRECTORY": str(copy / ".hypothesis"),
    }
    command = [
        "sh", "-c", 'ulimit -t "$1"; shift; exec "$@"', "sh", f"{LIMIT:.0f}",
        sys.executable, "-m", "pytest", "-x", "-q", "--no-header", "--tb=no", "-p",
        "no:cacheprovider", "-p", "no:warnings", *tests,
    ]  # fmt: skip
    try:
        done = subprocess.run(
            command, cwd=copy, env=env, capture_output=True, text=True, timeout=WALL * LIMIT
        )
    except subprocess.TimeoutExpired:
        return -1, "time"
    if done.returncode < 0:
        return done.returncode, "time"
    failed = [line for line in done.stdout.splitlines() if line.startswith(("FAILED", "ERROR"))]
    return done.returncode, failed[0].split(" - ")[0] if failed else done.stdout[-300:]


def _tests_of(module: str) -> list[str]:
    names = next(group[module] for group in GROUPS.values() if module in group)
    return [f"tests/{name}.py" for name in names.split()]


def tried(changes: list[Change], told: Callable[[str], None]) -> list[Verdict]:
    """What became of each change.  Raises SystemExit where tests fail without a change."""
    found = []
    with tempfile.TemporaryDirectory(prefix="mutants") as folder:
        copy, cache = Path(folder) / "tree", Path(folder) / "cache"
        skipped = shutil.ignore_patterns(".git", ".venv", "results", "__pycache__", ".*_cache")
        shutil.copytree(ROOT, copy, symlinks=True, ignore=skipped)
        (copy / "results").mkdir()
        tests = dict.fromkeys(test for change in changes for test in _tests_of(change.module))
        code, said = _run(copy, list(tests), cache)
        if code:
            sys.exit(f"the tests do not pass without a change: {said}")
        for change in changes:
            path = copy / change.module
            before, stamp = path.read_bytes(), path.stat()
            # what a changed kernel is compiled to must not be taken for that of the unchanged one
            own = Path(folder) / "own" if b"@kernel" in before else cache
            path.write_text(change.text, encoding="utf-8")
            started = time.perf_counter()
            code, said = _run(copy, _tests_of(change.module), own)
            verdict = Verdict(change, said if code else "", time.perf_counter() - started)
            path.write_bytes(before)
            os.utime(path, ns=(stamp.st_atime_ns, stamp.st_mtime_ns))
            shutil.rmtree(Path(folder) / "own", ignore_errors=True)
            found.append(verdict)
            outcome = f"noticed by {said}" if code else f"SURVIVED {change.near}".strip()
            told(
                f"{change.module}:{change.line} {change.what} | {outcome} ({verdict.seconds:.0f} s)"
            )
    return found


def score(found: list[Verdict]) -> str:
    """The shares noticed by group, and what survived."""
    lines = []
    for group, modules in (*GROUPS.items(), ("all", {m: "" for g in GROUPS.values() for m in g})):
        mine = [one for one in found if one.change.module in modules]
        if not mine:
            continue
        seen = [one for one in mine if one.by or not one.change.near]
        noticed = sum(bool(one.by) for one in mine)
        lines.append(
            f"{group}: {noticed} of {len(mine)} noticed ({noticed / len(mine):.0%}); without "
            f"{len(mine) - len(seen)} near-equivalent {noticed / max(len(seen), 1):.0%}"
        )
    for one in found:
        if not one.by:
            why = one.change.near and f" (near-equivalent: {one.change.near})"
            lines.append(f"survived: {one.change.module}:{one.change.line} {one.change.what}{why}")
    return "\n".join(lines)


def main() -> None:
    """Read the command line, try the sample, print the score."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", choices=GROUPS, action="append", help="groups of modules")
    parser.add_argument("--count", type=int, help="changes of each group")
    parser.add_argument("--list", action="store_true", help="show the sample and stop")
    given = parser.parse_args()
    names = given.only or list(GROUPS)
    changes = sample({name: given.count or SHARES[name] for name in names}, given.seed)
    if given.list:
        for change in changes:
            print(f"{change.module}:{change.line} {change.what}")
        return
    print(score(tried(changes, lambda text: print(text, flush=True))))


if __name__ == "__main__":
    main()
