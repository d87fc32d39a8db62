"""Sentences about a bottom's metal that stand beside its answer."""

from __future__ import annotations

from dataclasses import asdict, replace
from typing import TYPE_CHECKING, Any, NamedTuple

from domemargin.profiles.heat import (
    ROOM,
    as_solved,
    bake_factors,
    heat_factors,
    modulus_factor,
)
from domemargin.profiles.units import PSI

if TYPE_CHECKING:
    from domemargin.fea.bottom.kinematic import KinematicBand
    from domemargin.fea.bottom.length import LengthEffect
    from domemargin.fea.core.record import Record
    from domemargin.fea.core.settings import Settings
    from domemargin.profiles.material import Material


RESTS = "Growth rests on"  # title of the note that stands below the growth table


def heat_words(material: Material) -> str:
    """What temperature and bake do to the metal, in a sentence; "" where neither is given."""
    parts = []
    if material.bake is not None:
        middle, low, high = bake_factors(material.bake)
        parts.append(
            f"baked at {material.bake:.4g} degC: yield x {middle:.3f} ({low:.3f} to {high:.3f})"
        )
    if material.temperature is not None:
        middle, low, high = heat_factors(material.temperature)
        parts.append(
            f"at {material.temperature:.4g} degC: yield x {middle:.3f} ({low:.3f} to {high:.3f}), "
            f"modulus x {modulus_factor(material.temperature):.3f}"
        )
    return "; ".join(parts) + "; the yield factors are estimates" if parts else ""


def heat_data(material: Material) -> dict[str, Any]:
    """The same as plain data; what the solve took."""
    solved = as_solved(material)
    celsius = ROOM if material.temperature is None else material.temperature
    return {
        "temperature_c": celsius,
        "bake_c": material.bake,
        "elastic_modulus_mpa": solved.elastic_modulus,
        "yield_strength_mpa": solved.yield_strength,
        "note": heat_words(material),
    }


def band_words(band: KinematicBand, given: float = 0.0) -> str:
    """What the share leaves open, in a sentence; given : the metal's own, 0 for none."""
    pressures, growths = band.pressures, band.growths
    if pressures is None:
        return "the kinematic share is not given, and not every share in 0 to 0.6 gave a pressure"
    text = (
        f"{f'{given:g} is given' if given else 'not given'}; over {band.shares[0]:g} to "
        f"{band.shares[-1]:g} the pressure is "
        f"{pressures[0] / PSI:.1f} to {pressures[1] / PSI:.1f} psi"
    )
    if growths is not None:
        text += (
            f", permanent growth at {band.growth_at_mpa / PSI:.0f} psi {growths[0]:.2f} to "
            f"{growths[1]:.2f} mm"
        )
    return text + "; a reverse test settles it (`domemargin metal`)"


def length_words(effect: LengthEffect) -> str:
    """What the metal's length did, in a sentence."""
    if effect.pressure_mpa is None or effect.without_mpa is None:
        return "without it no reversal pressure was found"
    change = 100.0 * (effect.pressure_mpa / effect.without_mpa - 1.0)
    text = (
        f"brings {effect.without_mpa / PSI:.1f} psi without it to {effect.pressure_mpa / PSI:.1f} "
        f"psi ({change:+.2f} %)"
    )
    if None not in (effect.permanent_mm, effect.without_permanent_mm, effect.growth_at_mpa):
        text += (
            f", permanent growth at {(effect.growth_at_mpa or 0.0) / PSI:.0f} psi "
            f"{effect.without_permanent_mm:.2f} to {effect.permanent_mm:.2f} mm"
        )
    return text


class Notes(NamedTuple):
    """Rows to print, and what goes into the record beside it."""

    rows: tuple[tuple[str, str], ...]
    data: dict[str, Any]


def metal_notes(record: Record, settings: Settings, length: bool = False) -> Notes:
    """What stands beside an answer: heat, what the kinematic share leaves open where the metal has
    been formed and no share is given, and what forming would do where it has not.

    length : whether to solve once more for what the metal's length did.
    """
    from domemargin.fea.bottom.kinematic import GROUND, kinematic_band, share_is_open

    profile = record.profile
    rows: list[tuple[str, str]] = []
    names = ("growth_rests_on", "forming_estimate", "kinematic_band", "metal_length")
    data: dict[str, Any] = {"heat": heat_data(profile.material), **dict.fromkeys(names)}
    if words := heat_words(profile.material):
        rows.append(("Metal", words))
    if record.reversal_pressure_mpa is None or profile.material.yield_strength is None:
        return Notes(tuple(rows), data)
    if length and settings.model == "shell":
        from domemargin.fea.bottom.length import length_effect

        effect = length_effect(record, settings)
        rows.append(("Metal's length", length_words(effect)))
        data["metal_length"] = asdict(effect)
    rests = "the metal as it is given, with the strain of forming"
    if profile.formed is not None:
        rests = "what forming left in each layer"
    elif not profile.is_formed:
        rests = "metal before forming, which grows too much"
        if share_is_open(profile) and settings.model == "shell":
            formed = forming_estimate(record, settings)
            rows.append(("Forming", forming_words(record, formed)))
            data["forming_estimate"] = forming_data(formed)
    rows.append((RESTS, rests))
    data["growth_rests_on"] = rests
    if profile.is_formed and share_is_open(profile) and settings.model == "shell":
        band = kinematic_band(profile, settings)
        rows.append(("Kinematic share", band_words(band)))
        data["kinematic_band"] = asdict(band) | {"ground": GROUND}
    return Notes(tuple(rows), data)


def forming_estimate(record: Record, settings: Settings) -> Record:
    """The same bottom with the strain that forming would leave, by its own radii."""
    from domemargin.fea.bottom.reversal import reversal
    from domemargin.profiles.forming import forming_zones

    profile = record.profile
    zones = (*forming_zones(profile.shape, profile.sheet), *profile.zones)
    settings = replace(settings, waves=0, follow=False, required=None)
    return reversal(replace(profile, zones=zones), settings)


def forming_words(plain: Record, formed: Record) -> str:
    """What forming would do, in a sentence."""
    from domemargin.profiles.forming import GROWTH_ERROR, LIMIT_ERROR, TOOLS

    before, after = plain.reversal_pressure_mpa, formed.reversal_pressure_mpa
    if before is None or after is None:
        return "what it would do could not be estimated: no reversal pressure was found"
    text = f"would take {before / PSI:.1f} to {after / PSI:.1f} psi"
    pair = [one.growth[0] for one in (plain, formed) if one.growth]
    growths = [one.permanent_stand_growth_mm for one in pair]
    if len(pair) == 2 and all(growth is not None for growth in growths):
        text += (
            f", permanent growth at {pair[0].pressure_mpa / PSI:.0f} psi {growths[0]:.2f} to "
            f"{growths[1]:.2f} mm"
        )
    return (
        f"{text}: an estimate from the bottom's own radii, at a kinematic share of 0, with "
        f"standard deviations of {100 * LIMIT_ERROR:.0f} % and {GROWTH_ERROR:g} mm on {TOOLS} "
        "tools; formed = true in the profile applies it"
    )


def forming_data(formed: Record) -> dict[str, Any]:
    """The estimate as plain data."""
    return {
        "reversal_pressure_mpa": formed.reversal_pressure_mpa,
        "growth": [asdict(one) for one in formed.growth],
        "prior_strain": {
            zone.part: zone.prior_strain for zone in formed.profile.zones if zone.part is not None
        },
        "note": "an estimate from the bottom's own radii; domemargin doming forms it",
    }
