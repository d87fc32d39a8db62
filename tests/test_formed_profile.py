"""The formed bottom as a profile file: what it holds, and that it reverses as `doming` says."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest
from evidence_rows import COMPUTED, FORMING, About

from domemargin.fea.bottom.reversal import reversal
from domemargin.fea.doming.reversal import reverse
from domemargin.fea.stroke.stages import Formed, form
from domemargin.profiles.errors import InputError
from domemargin.profiles.files.loading import parse_profile
from domemargin.profiles.files.writing import dump_profile
from domemargin.profiles.profile import Profile
from domemargin.profiles.shape.formed import FormedState
from domemargin.profiles.tooling.files import load_tooling
from domemargin.profiles.tooling.parts import Spring
from domemargin.profiles.tooling.tooling import Tooling
from domemargin.studies.doming.formed_profile import formed_profile, projected

ABOUT = About(FORMING, "the formed shell that goes on", COMPUTED)
STATIONS = {
    "north": load_tooling("north"),
    "weak spring": load_tooling("north").replaced(spring=Spring("linear", 8500.0, 400.0)),
}


@lru_cache(maxsize=4)
def bottom(name: str) -> tuple[Tooling, Formed, Profile]:
    tooling = STATIONS[name]
    formed = form(tooling)
    profile = formed_profile(formed, tooling)
    assert profile is not None
    return tooling, formed, parse_profile(dump_profile(profile))


@pytest.mark.parametrize("name", list(STATIONS))
def test_the_file_reverses_as_the_formed_shell_does(evidence, name: str) -> None:
    tooling, formed, profile = bottom(name)
    own = reverse(formed, tooling, waves=8)
    record = reversal(profile, waves=8)
    evidence(
        f"formed bottom from its file, {name}: reversal pressure",
        computed=record.reversal_pressure_mpa, expected=own.reversal_pressure_mpa, rel=0.003,
        unit="MPa", source="the formed shell that goes on",
    )  # fmt: skip
    assert own.growth_mm is not None
    at = next(g for g in record.growth if g.pressure_mpa == pytest.approx(own.growth_at_mpa))
    assert at.stand_growth_mm == pytest.approx(own.growth_mm, abs=0.01)


def test_the_file_reads_back_and_keeps_the_traced_line() -> None:
    from domemargin.fea.doming.readings import line
    from domemargin.fea.stroke.press import outside_depth

    _, formed, profile = bottom("north")
    assert parse_profile(dump_profile(profile)) == profile
    state = formed.at("punch off")
    lie, stand = line(formed, state), outside_depth(formed.press, state)[1]
    place, away = projected(profile.meridian, lie.r, lie.z - stand)
    # between entries of the table the offset runs along a smooth curve
    assert profile.offset(place)[0] == pytest.approx(away, abs=0.004)


def test_the_state_is_laid_out_by_place_and_arc_length() -> None:
    """Straight lines between entries (arithmetic)."""
    rows = ((0.1, 0.3), (0.2, 0.4))
    none = ((0.0, 0.0), (0.0, 0.0))
    one = ((1.0, 1.0), (1.0, 1.0))
    state = FormedState((0.0, 10.0), (-0.5, 0.5), rows, one, none, none, none, none)
    found = state.at(np.array([0.0, 5.0, 20.0]), np.array([-0.5, 0.0, 0.5]))
    assert found["plastic_strain"] == pytest.approx([0.1, 0.25, 0.4])
    # carried on to the faces
    assert state.at(np.array([0.0]), np.array([1.0]))["plastic_strain"] == pytest.approx([0.4])


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"place": (-0.5,)}, "formed.place has 1 entries"),
        ({"plastic_strain": ((0.1, 0.3),)}, "formed.plastic_strain has 1 rows"),
        ({"stress_hoop": ((9e9, 0.0), (0.0, 0.0))}, "formed.stress_hoop is 9e"),
    ],
)
def test_a_state_that_does_not_fit_is_rejected(change: dict, words: str) -> None:
    none, one = ((0.0, 0.0), (0.0, 0.0)), ((1.0, 1.0), (1.0, 1.0))
    state = FormedState((0.0, 10.0), (-0.5, 0.5), none, one, none, none, none, none)
    with pytest.raises(InputError, match=words.replace(".", r"\.")):
        replace(state, **change)


def test_a_prior_strain_beside_the_state_is_rejected() -> None:
    from domemargin.profiles.local import Zone

    profile = bottom("north")[2]
    with pytest.raises(InputError, match="prior_strain is given beside"):
        replace(profile, zones=(Zone(part="nose", prior_strain=0.1),))


def test_the_solid_does_not_take_it() -> None:
    profile = bottom("north")[2]
    plain = replace(profile, material=replace(profile.material, kinematic_share=0.0))
    with pytest.raises(InputError, match="formed"):
        reversal(plain, model="solid")
