"""Solve random profiles and see that each has a named outcome, at any resolution the same.

    python tests/long/random_profiles.py --wide 8000 --can 2000 --fine 2000 --pairs 5000

--wide, --can : how many profiles of the kind are solved at the default settings: no error, no solve
    longer than LIMIT seconds, a kind of record.KINDS with a reason.
--fine : how many of the can-like ones are compared with their answer at a resolution of 0.02 %.
--pairs : how many pairs of can-like profiles, 0.1 % apart in one input, are compared; a pair apart
    by more than JUMP is solved again at 0.02 %: what the fine answers are apart by is the slope,
    or a kind of reversal that truly changes, and the rest is a jump.
Results go to --out (one JSON line a case) and a summary to standard output; status 1 if a bound of
BOUNDS is not kept.
"""

from __future__ import annotations

import argparse
import json
import os
import signal
import sys
import time
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path
from typing import Any

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")
sys.path.insert(0, str(Path(__file__).parent))

from drawn_profiles import drawn, neighbour  # noqa: E402

from domemargin.fea.bottom.reversal import reversal  # noqa: E402
from domemargin.fea.core.record import KINDS  # noqa: E402
from domemargin.profiles import Profile  # noqa: E402

LIMIT = 60  # s of processor time for one solve
FINE = 2e-4
APART = 0.005  # of the default from the fine answer
JUMP = 0.002  # between neighbours
ANSWERED = ("limit", "bifurcation", "none_below_ceiling")
BOUNDS = {"answered": 0.995, "not resolved": 0.01}


class TooLongError(Exception):
    """A solve that takes longer than LIMIT."""


def _too_long(*_: object) -> None:
    raise TooLongError


def solved(profile: Profile, **settings: Any) -> dict[str, Any]:
    """Kind, pressure (MPa), reason and seconds of a solve, whatever becomes of it."""
    signal.signal(signal.SIGPROF, _too_long)
    started = time.process_time()
    signal.setitimer(signal.ITIMER_PROF, LIMIT)  # of this process, whatever else runs
    try:
        record = reversal(profile, **settings)
        if record.kind not in KINDS or not record.reason:
            kind, pressure, reason = "unnamed outcome", None, record.kind
        else:
            kind, pressure, reason = record.kind, record.reversal_pressure_mpa, record.reason
    except TooLongError:
        kind, pressure, reason = "too long", None, f"more than {LIMIT} s"
    except Exception as error:
        kind, pressure, reason = "error", None, f"{type(error).__name__}: {error}"
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0.0)
    return {
        "kind": kind, "mpa": pressure, "reason": reason, "s": time.process_time() - started,
    }  # fmt: skip


def default_case(kind: str, seed: int) -> dict[str, Any]:
    """One profile at the default settings."""
    return {"what": kind, "seed": seed, "default": solved(drawn(kind, seed))}


def fine_case(seed: int) -> dict[str, Any]:
    """A can-like profile at the default and at a fine resolution."""
    profile = drawn("can", seed)
    return {
        "what": "fine",
        "seed": seed,
        "default": solved(profile, growth_at=()),
        "fine": solved(profile, growth_at=(), resolution=FINE),
    }


def pair_case(seed: int) -> dict[str, Any]:
    """Two can-like profiles 0.1 % apart in one input."""
    pair = neighbour("can", seed)
    row: dict[str, Any] = {"what": "pair", "seed": seed}
    if pair is None:
        return row
    row["default"], row["other"] = (solved(one, growth_at=()) for one in pair)
    if apart(row["default"], row["other"]) > JUMP:
        row["fine"], row["fine other"] = (
            solved(one, growth_at=(), resolution=FINE) for one in pair
        )
    return row


def apart(one: dict[str, Any], other: dict[str, Any]) -> float:
    """Relative difference of two answers; 0 where one has no pressure."""
    if one["mpa"] is None or other["mpa"] is None:
        return 0.0
    return float(abs(one["mpa"] / other["mpa"] - 1.0))


def jump(row: dict[str, Any]) -> float:
    """How much further a pair is apart than its fine answers, relative to the pressure."""
    if any(row[name]["mpa"] is None for name in ("default", "other", "fine", "fine other")):
        return 0.0
    coarse = row["default"]["mpa"] / row["other"]["mpa"]
    return float(abs(coarse - row["fine"]["mpa"] / row["fine other"]["mpa"]))


def run(case: tuple[str, int]) -> dict[str, Any]:
    """A case by its name and seed."""
    what, seed = case
    if what == "fine":
        return fine_case(seed)
    return pair_case(seed) if what == "pair" else default_case(what, seed)


def summary(rows: list[dict[str, Any]]) -> tuple[list[str], bool]:
    """Lines that say what was found, and whether the bounds are kept."""
    lines, good = [], True
    for what in ("wide", "can", "fine", "pair"):
        some = [row for row in rows if row["what"] == what and "default" in row]
        if not some:
            continue
        kinds = Counter(row["default"]["kind"] for row in some)
        seconds = sorted(row["default"]["s"] for row in some)
        lines.append(f"{what}: {len(some)} profiles, {dict(kinds)}")
        lines.append(f"  s a solve: median {seconds[len(some) // 2]:.3f}, most {seconds[-1]:.2f}")
        good &= not any(kinds[bad] for bad in ("error", "too long", "unnamed outcome"))
        if what == "can":
            answered = sum(kinds[kind] for kind in ANSWERED) / len(some)
            lines.append(f"  answered {answered:.2%}")
            good &= answered >= BOUNDS["answered"]
        if what == "fine":
            off = sorted((apart(row["default"], row["fine"]), row["seed"]) for row in some)
            far = [seed for distance, seed in off if distance > APART]
            unresolved = kinds["not_resolved"] / len(some)
            rms = (sum(distance**2 for distance, _ in off) / len(off)) ** 0.5
            lines.append(
                f"  from the fine answer: median {off[len(off) // 2][0]:.4%}, rms {rms:.4%}, "
                f"largest {off[-1][0]:.3%}; more than {APART:.1%}: {len(far)} {far[:20]}; "
                f"not resolved {unresolved:.2%}"
            )
            good &= not far and unresolved < BOUNDS["not resolved"]
        if what == "pair":
            jumps = [row for row in some if apart(row["default"], row["other"]) > JUMP]
            sizes = {row["seed"]: jump(row) for row in jumps}
            false = [seed for seed, size in sizes.items() if size > JUMP]
            lines.append(
                f"  apart by more than {JUMP:.1%}: {len(jumps)}; beyond what the fine answers are "
                f"apart: largest {max(sizes.values(), default=0.0):.3%}, more than {JUMP:.1%}: "
                f"{len(false)} {false}"
            )
            good &= not false
    return lines, good


def main() -> int:
    """Run what was asked for; see the module's text."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    for name in ("wide", "can", "fine", "pairs", "first"):
        parser.add_argument(f"--{name}", type=int, default=0)
    parser.add_argument("--workers", type=int, default=os.cpu_count())
    parser.add_argument("--out", type=Path)
    given = parser.parse_args()
    counts = {"wide": given.wide, "can": given.can, "fine": given.fine, "pair": given.pairs}
    cases = [(what, given.first + seed) for what, count in counts.items() for seed in range(count)]
    rows: list[dict[str, Any]] = []
    out = given.out.open("w", encoding="utf-8") if given.out else None

    def results() -> Iterator[dict[str, Any]]:
        if given.workers == 1:
            yield from map(run, cases)
            return
        with ProcessPoolExecutor(given.workers, get_context("spawn")) as pool:
            yield from pool.map(run, cases, chunksize=4)

    started = time.perf_counter()
    for row in results():
        rows.append(row)
        if out:
            out.write(json.dumps(row) + "\n")
            out.flush()
    lines, good = summary(rows)
    print("\n".join(lines))
    print(f"{time.perf_counter() - started:.0f} s; {'kept' if good else 'NOT kept'}")
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
