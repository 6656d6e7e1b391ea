"""Whose seed suits which ground, and other words of sharing seed out."""

from __future__ import annotations

from typing import Final

from projects.choices import DonorHabitat

#: pH in water below which ground is sour, and above which it is chalky: the usual parting of acid, neutral and
#: calcareous grassland, from memory
SOUR_BELOW: Final = 5.5
CHALKY_ABOVE: Final = 7.3

_BY_WETNESS: Final = {
    "dry": (DonorHabitat.DRY, DonorHabitat.UPLAND),
    "moist": (DonorHabitat.DRY, DonorHabitat.DAMP, DonorHabitat.UPLAND),
    "damp": (DonorHabitat.DAMP, DonorHabitat.WET),
    "wet": (DonorHabitat.WET, DonorHabitat.DAMP),
}


def suits(wetness: str, soil_ph: float | None) -> list[str] | None:
    """Return the habitats whose seed suits a ground, or None where too little is known to refuse any."""
    by_wetness = list(_BY_WETNESS.get(wetness, ()))
    if soil_ph is None:
        # without a soil test nobody knows whether chalky or sour ground is meant
        return sorted({*by_wetness, DonorHabitat.CHALKY, DonorHabitat.SOUR}) if by_wetness else None
    if soil_ph < SOUR_BELOW:
        return sorted({DonorHabitat.SOUR, *(one for one in by_wetness if one == DonorHabitat.WET)})
    if soil_ph > CHALKY_ABOVE:
        return sorted({DonorHabitat.CHALKY, *(one for one in by_wetness if one == DonorHabitat.DRY)})
    return sorted(by_wetness) if by_wetness else sorted({DonorHabitat.DRY, DonorHabitat.DAMP, DonorHabitat.UPLAND})
