"""The parts of the live page that need no page: fields, moves, links, the queue of solves.

Sources of truth: the profile files' own reader (parse_profile) for what is typed, saved and linked,
arithmetic for units, `required_pressure` of the carbonation for the drink.
"""

from __future__ import annotations

import math
import threading
import time
import zlib
from base64 import urlsafe_b64encode

import pytest

from domemargin.fea.bottom.slopes import inputs_of
from domemargin.profiles import InputError, dump_profile, load_profile, ready_profiles
from domemargin.studies.carbonation import ClosedCan, Stage, required_pressure
from domemargin.studies.live import desk as moves
from domemargin.studies.live.fields import fields_of, text_of, typed, values_of
from domemargin.studies.live.link import MOST_BYTES, packed, unpacked, uploaded

NORTH = load_profile("north")


@pytest.mark.parametrize("name", ready_profiles())
def test_every_dimension_gauge_and_metal_value_has_a_slider_about_its_value(name: str) -> None:
    profile = load_profile(name)
    fields = fields_of(profile)
    assert [one.name for one in fields] == [one.name for one in inputs_of(profile)]
    for one, given in zip(fields, inputs_of(profile), strict=True):
        assert one.start <= one.value <= one.stop
        assert one.start < one.stop
        low, high = given.low, given.high
        if one.kind == "angle":
            low, high = math.degrees(low), math.degrees(high)
        assert low - 1e-9 <= one.start
        assert one.stop <= high + 1e-9


def test_what_is_typed_is_read_with_any_unit_and_its_own_by_default() -> None:
    fields = {one.name: one for one in fields_of(NORTH)}
    assert typed(fields["dome_depth"], "0.4 in") == pytest.approx(10.16)  # 25.4 mm an inch
    assert typed(fields["dome_depth"], " 10.2 ") == 10.2
    assert typed(fields["inner_leg_angle"], "0.1 rad") == pytest.approx(math.degrees(0.1))
    assert typed(fields["poisson_ratio"], "0.3") == 0.3
    for one in fields.values():
        assert typed(one, text_of(one, one.value)) == pytest.approx(one.value, rel=1e-5)


@pytest.mark.parametrize("text", ["", "deep", "10 psi", "1e999", "nan mm", "10,2 mm", "<b>1</b>"])
def test_what_is_no_length_is_rejected_and_the_desk_stays(text: str) -> None:
    desk = moves.desk_of(NORTH)
    with pytest.raises(InputError, match="Dome depth"):
        moves.type_value(desk, "dome_depth", text)


@pytest.mark.parametrize("value", [0.0, -1.0, 1e9, math.nan, math.inf])
def test_a_value_out_of_range_is_rejected(value: float) -> None:
    with pytest.raises(InputError, match="dome_depth"):
        moves.set_value(moves.desk_of(NORTH), "dome_depth", value)


def test_a_drag_is_one_step_of_undo_and_reset_can_be_undone() -> None:
    desk = moves.desk_of(NORTH)
    for depth in (10.3, 10.2, 10.1):
        desk = moves.set_value(desk, "dome_depth", depth)
    assert len(desk.past) == 1
    desk = moves.set_value(moves.settled(desk), "dome_depth", 10.0)
    desk = moves.type_value(desk, "bottom_gauge", "0.27 mm")
    assert [p.shape.dome_depth for p in desk.past] == [10.4, 10.1, 10.0]
    at = desk.profile
    assert moves.undo(moves.reset(desk)).profile == at
    for _ in range(5):
        desk = moves.undo(desk)
    assert desk.profile == NORTH


def test_undo_keeps_a_bounded_number_of_steps() -> None:
    desk = moves.desk_of(NORTH)
    for i in range(300):
        desk = moves.type_value(desk, "dome_depth", f"{10.0 + 0.001 * i} mm")
    assert len(desk.past) == moves.MOST_UNDO


@pytest.mark.parametrize("name", ready_profiles())
def test_a_link_holds_the_whole_bottom(name: str) -> None:
    profile = load_profile(name)
    text = packed(profile)
    assert text is not None
    assert unpacked(text) == profile
    assert uploaded(dump_profile(profile)) == profile


def test_damaged_and_swollen_links_are_rejected() -> None:
    good = packed(NORTH)
    assert good is not None
    bomb = urlsafe_b64encode(zlib.compress(b"# " + b"a" * (4 * MOST_BYTES), 9)).decode()
    assert len(bomb) < 16_000
    for text in (good[:-9], "%%%", "AAAA", "é" * 9, "x" * 20_000, bomb):
        with pytest.raises(InputError):
            unpacked(text)
    with pytest.raises(InputError, match="kB"):
        uploaded("#" * (MOST_BYTES + 1))


def test_the_drink_gives_the_pressure_that_the_command_gives() -> None:
    can, stage = ClosedCan(2.6), Stage("pasteurising", 62.0)
    asked = required_pressure(can, (stage,)).highest.pressure_mpa
    assert moves.required_by_drink("2.6 vol", "pasteurising 62 C") == asked
    for drink in (("", "62 C"), ("2.6 vol", "hot"), ("99 vol", "62 C"), ("0 vol", "20 C")):
        with pytest.raises(InputError):
            moves.required_by_drink(*drink)
    assert moves.required_of("  ") is None
    with pytest.raises(InputError):
        moves.required_of("-3 psi")


def test_a_newer_request_takes_the_place_of_those_that_wait() -> None:
    from domemargin.studies.live.solver import Answer, Latest, Request, now

    got: list[Answer] = []
    done = threading.Event()

    def publish(answer: Answer) -> None:
        got.append(answer)
        if answer.whole and answer.request.number == 39:
            done.set()

    queue = Latest(publish)
    for i in range(40):
        profile = NORTH.replaced(dome_depth=10.4 - 0.01 * i)
        queue.ask(Request(i, profile, 0.62, now()))
        time.sleep(0.002)
    assert done.wait(60)
    queue.close()
    numbers = [one.request.number for one in got]
    assert numbers == sorted(numbers)
    assert len(numbers) < 40
    assert queue.dropped > 0
    assert got[-1].record is not None
    assert got[-1].record.profile.shape.dome_depth == pytest.approx(10.01)
    assert got[-1].record.stability is not None


def test_a_solve_that_breaks_off_is_told_and_the_next_is_solved() -> None:
    from domemargin.studies.live.solver import Answer, Latest, Request, now

    got: list[Answer] = []
    heard = threading.Semaphore(0)

    def publish(answer: Answer) -> None:
        got.append(answer)
        heard.release()

    queue = Latest(publish)
    queue.ask(Request(1, "no bottom", None, now()))  # type: ignore[arg-type]
    assert heard.acquire(timeout=30)
    assert got[0].trouble.startswith("the solve broke off")
    queue.ask(Request(2, NORTH, None, now()))
    assert heard.acquire(timeout=30)
    assert got[1].record is not None
    queue.close()


def test_values_of_a_bottom_are_in_the_units_shown() -> None:
    values = values_of(NORTH)
    assert values["inner_leg_angle"] == pytest.approx(3.0)  # degrees, profiles/ready/north.toml
    assert values["bottom_gauge"] == 0.265
