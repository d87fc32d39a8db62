"""What the options of the command `readings` mean."""

from __future__ import annotations

import re
from dataclasses import replace

from domemargin.profiles import InputError, parse_quantity
from domemargin.profiles.errors import brief
from domemargin.profiles.limits import LIMITS
from domemargin.studies.diagnosis.doming import checked_slopes, load_doming
from domemargin.studies.diagnosis.rates import AILING
from domemargin.studies.diagnosis.report import Question
from domemargin.studies.diagnosis.scatter import KnownScatter
from domemargin.studies.options import ranged, required_pressure, share


def question_of(
    target: str | None = None, tolerance: str | None = None, require: str | None = None,
    margin: str | None = None, gauge: str | None = None, doming: str | None = None,
    ailing: str | None = None,
) -> Question:  # fmt: skip
    """The question from the texts of the options.  Raises InputError that names the option."""
    known = KnownScatter()
    if gauge is not None:
        known = KnownScatter(gauge_reading=ranged(gauge, "length", "--gauge", 1e-5, 0.2, "mm"))
    low = high = None
    if tolerance is not None:
        low, high = _tolerance(tolerance)
    _, least, most = LIMITS["shape.dome_depth"]
    aim = required = None
    if target is not None:
        aim = ranged(target, "length", "--target", least, most, "mm")
    if require is not None:
        required = required_pressure(require, "--require")
    wanted = 0.0 if margin is None else share(margin, "--margin", most=1.0)
    sick = AILING if ailing is None else share(ailing, "--ailing", most=0.9)
    question = Question(
        aim, low, high, required, wanted, known, gauge_measured=gauge is not None, ailing=sick
    )
    if doming is None:
        return question
    study = load_doming(doming)
    notes = (*study.notes, *checked_slopes(study.slopes, known, doming))
    return replace(question, slopes=study.slopes, remedies=study.remedies, notes=notes)


def _tolerance(text: str) -> tuple[float | None, float | None]:
    """ "10.1 mm to 10.3 mm", "above 10.1 mm" or "below 10.3 mm"."""
    option = "--tolerance"
    both = re.fullmatch(r"\s*(.+?)\s+to\s+(.+?)\s*", text)
    one = re.fullmatch(r"\s*(above|below)\s+(.+?)\s*", text)
    if both is not None:
        low, high = (parse_quantity(part, "length", option) for part in both.groups())
        if low < high:
            return low, high
    elif one is not None:
        limit = parse_quantity(one[2], "length", option)
        return (limit, None) if one[1] == "above" else (None, limit)
    needed = '"10.1 mm to 10.3 mm", "above 10.1 mm" or "below 10.3 mm"'
    raise InputError(f"{option} is {brief(text)}; it must be as {needed}", option, text, needed)
