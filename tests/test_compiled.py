"""A cached kernel is made anew when a kernel that it calls has changed in another file."""

from __future__ import annotations

import ctypes
import os
import shutil
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parent.parent
ASK = """
import numpy as np
from domemargin.fea.core.banded import bordered
from domemargin.fea.core.banded import _update
from domemargin.fea.compiled import is_compiled
print(is_compiled(_update))
band = np.array([[0.0, 2.0], [0.0, 2.0]])
print(bordered(band, np.array([-4.0, 0.0]), np.ones(2), 0.0, 0.0, 1.0)[3][0])
"""


UNCACHED = """
from domemargin.fea.compiled import is_compiled
from domemargin.fea.core.banded import _update, bordered
import numpy as np
band = np.array([[0.0, 2.0], [0.0, 2.0]])
print(bordered(band, np.array([-4.0, 0.0]), np.ones(2), 0.0, 0.0, 1.0)[3][0])
print(is_compiled(_update))
"""


answered: dict[Path, str] = {}


def source_of(folder: Path) -> str:
    return "".join(
        path.read_text() for path in sorted((folder / "domemargin" / "fea").rglob("*.py"))
    )


def ask(folder: Path) -> float:
    run = subprocess.run(
        [sys.executable, "-c", ASK], cwd=folder, capture_output=True, text=True, check=True
    )
    known, answer = run.stdout.split()
    # once solved, it lies compiled on disk until its source changes
    assert known == str(answered.get(folder) == source_of(folder))
    answered[folder] = source_of(folder)
    return float(answer)


def test_a_change_in_a_called_module_reaches_cached_kernels(tmp_path: Path) -> None:
    for package in ("fea", "profiles"):
        shutil.copytree(
            ROOT / package,
            tmp_path / "domemargin" / package,
            ignore=shutil.ignore_patterns("__pycache__"),
        )
    assert ask(tmp_path) == 2.0
    # what bordered calls stands in the same file; move it out, so that only its own file changes
    source = (tmp_path / "domemargin" / "fea" / "core" / "banded.py").read_text()
    start = source.index("def _elimination(")
    end = source.index("# of the shell, of its waves")
    moved = tmp_path / "domemargin" / "fea" / "core" / "moved.py"
    moved.write_text(source[:end])
    (tmp_path / "domemargin" / "fea" / "core" / "banded.py").write_text(
        source[:start] + "from domemargin.fea.core.moved import _elimination\n\n\n" + source[end:]
    )
    assert ask(tmp_path) == 2.0
    moved.write_text(
        moved.read_text().replace("right[m, i] /= pivot", "right[m, i] /= 2.0 * pivot")
    )
    assert ask(tmp_path) == 1.0


def test_without_any_folder_to_keep_them_kernels_are_compiled_all_the_same(tmp_path: Path) -> None:
    """No home and a read-only install, as in a container run by a user without a name."""

    def without_rights() -> None:
        # root writes where no one may: take that right (CAP_DAC_OVERRIDE, 1) from what is started
        if os.getuid() == 0:
            ctypes.CDLL(None).prctl(24, 1, 0, 0, 0)  # PR_CAPBSET_DROP; linux/prctl.h

    for package in ("fea", "profiles"):
        shutil.copytree(
            ROOT / package,
            tmp_path / "domemargin" / package,
            ignore=shutil.ignore_patterns("__pycache__"),
        )
    for path in (*tmp_path.rglob("*"), tmp_path):
        path.chmod(0o555 if path.is_dir() else 0o444)
    left_out = ("NUMBA_CACHE_DIR", "XDG_CACHE_HOME", "PYTHONPATH")
    env = {k: v for k, v in os.environ.items() if k not in left_out}
    run = subprocess.run(
        [sys.executable, "-c", UNCACHED], cwd=tmp_path, capture_output=True, text=True,
        env=env | {"HOME": "/proc/nonexistent"}, preexec_fn=without_rights,
    )  # fmt: skip
    for path in (tmp_path, *(one for one in tmp_path.rglob("*") if one.is_dir())):
        path.chmod(0o755)
    assert run.stdout.split() == ["2.0", "False"], run.stderr
    assert run.stderr.count("the compiled solver cannot be kept") == 1
    assert "NUMBA_CACHE_DIR" in run.stderr
    assert "Traceback" not in run.stderr
