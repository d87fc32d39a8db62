"""What one tab of the live page holds, and what every move on it does: plain data, no page."""

from __future__ import annotations

from dataclasses import dataclass, replace

from domemargin.fea.core.record import Record
from domemargin.profiles import InputError, Profile
from domemargin.studies.carbonation import ClosedCan, required_pressure
from domemargin.studies.live.fields import fields_of, typed, with_value
from domemargin.studies.options import required_pressure as required_pressure_of
from domemargin.studies.text.bottom.carbonation import quantity, stage_of

MOST_UNDO = 100


@dataclass(frozen=True)
class Desk:
    """A tab: its bottom, where it began, the bottoms before (oldest first), the requirement.

    required : MPa or None.  moving : the field that moves now; its moves are one step of undo.
    pinned : the record of the bottom that is compared with, or None.
    """

    start: Profile
    profile: Profile
    past: tuple[Profile, ...] = ()
    required: float | None = None
    moving: str = ""
    pinned: Record | None = None


def desk_of(profile: Profile, required: float | None = None) -> Desk:
    """A fresh tab with a bottom; required : MPa or None."""
    return Desk(profile, profile, required=required)


def set_value(desk: Desk, name: str, shown: float) -> Desk:
    """A field at a value in the unit shown.

    Raises InputError or ShapeError in one sentence; the desk stays as it was.
    """
    field = next((one for one in fields_of(desk.profile) if one.name == name), None)
    if field is None:
        raise InputError(f"{name[:40]!r} is no input of this bottom", name)
    new = with_value(desk.profile, field, shown)
    if new == desk.profile:
        return desk
    past = desk.past if desk.moving == name else (*desk.past, desk.profile)[-MOST_UNDO:]
    return replace(desk, profile=new, past=past, moving=name)


def type_value(desk: Desk, name: str, text: str) -> Desk:
    """A field at what was typed, such as "0.402 in".  Raises as set_value does."""
    field = next((one for one in fields_of(desk.profile) if one.name == name), None)
    if field is None:
        raise InputError(f"{name[:40]!r} is no input of this bottom", name)
    return settled(set_value(settled(desk), name, typed(field, text[:200])))


def settled(desk: Desk) -> Desk:
    """The desk once a drag has ended: the next move is a step of undo of its own."""
    return replace(desk, moving="")


def undo(desk: Desk) -> Desk:
    """The bottom before the last step; the same where there is none."""
    if not desk.past:
        return desk
    return replace(desk, profile=desk.past[-1], past=desk.past[:-1], moving="")


def reset(desk: Desk) -> Desk:
    """The bottom the tab began with; undo brings back what was there."""
    return put(desk, desk.start)


def put(desk: Desk, profile: Profile) -> Desk:
    """Another bottom in place of the one at hand, as one step of undo."""
    if profile == desk.profile:
        return settled(desk)
    past = (*desk.past, desk.profile)[-MOST_UNDO:]
    return replace(desk, profile=profile, past=past, moving="")


def required_of(text: str) -> float | None:
    """A typed requirement, MPa; None where the field is empty.  Raises InputError."""
    if not text.strip():
        return None
    return required_pressure_of(text[:200], "Required pressure")


def required_by_drink(carbonation: str, warmest: str) -> float:
    """The pressure a drink asks for, MPa, in the usual can (studies/carbonation.py).

    carbonation : such as "2.6 vol".  warmest : a stage such as "pasteurising 62 C".
    Raises InputError.
    """
    can = ClosedCan(quantity(carbonation[:100], "carbonation", "Carbonation"))
    stage = stage_of(warmest[:100], 0.0)
    found = required_pressure(can, (stage,)).highest.pressure_mpa
    if found <= 0.0:
        raise InputError(
            f"Carbonation is {carbonation.strip()[:40]}; it gives no pressure over that of the "
            "air there",
            "drink",
        )
    return found
