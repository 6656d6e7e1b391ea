"""What the establishment model is asked: the ground, the taxa, the zones with their history, and the yearly care.

Years count summers from the first after the first sowing; year 1 is the summer in which the first seedlings are
seen. Densities are per m2 of the zone.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from modelling.core.distributions import Array

#: positions of the two forecasts on the forecast axis: the plan is kept; care lapses as groups usually let it
KEPT: Final = 0
USUAL: Final = 1
FORECASTS: Final = ("if_kept", "as_usual")


@dataclass(frozen=True, slots=True)
class Taxon:
    """What the model needs to know of a taxon.

    Parameters
    ----------
    key
        Scientific name in lower case with underscores; names the taxon's random streams.
    model_class
        One of `species.CLASSES` or "rattle".
    chill_needed
        Whether the seed waits for a winter's cold.
    first_flower_year
        Age in years at the first flower, 1 for an annual.
    ellenberg_f, ellenberg_r, ellenberg_l, ellenberg_n
        Wetness, soil reaction, light and nitrogen in Ellenberg steps; None where unknown.
    extra_reaction_width
        Ellenberg steps of soil reaction that a plant of sour and limy soils alike bears beyond the rest.
    """

    key: str
    model_class: str
    chill_needed: bool
    first_flower_year: int
    ellenberg_f: float | None = None
    ellenberg_r: float | None = None
    ellenberg_l: float | None = None
    ellenberg_n: float | None = None
    extra_reaction_width: float = 0.0


@dataclass(frozen=True, slots=True)
class Ground:
    """The site before any work; arrays of shape (draws,).

    Parameters
    ----------
    area_m2
        Net area of the site.
    tall
        Whether a closed tall sward stands on it.
    on_arable
        Whether it carried a crop until now, so that listed species may already be there.
    crop_g_per_m2
        Standing crop in June without preparation, dry weight.
    p_index
        Olsen P index as a continuous number.
    wetness_f, reaction_r, light_l
        Ellenberg steps.
    quality
        Logarithm of recruits against the reference (see `species.site_quality`).
    residents_broadleaf, residents_grass
        Species per m2 already there.
    bare_share
        Share of bare ground before preparation, 0 to 1.
    distance_m
        Distance to flower-rich land.
    """

    area_m2: float
    tall: bool
    on_arable: bool
    crop_g_per_m2: Array
    p_index: Array
    wetness_f: Array
    reaction_r: Array
    light_l: Array
    quality: Array
    residents_broadleaf: Array
    residents_grass: Array
    bare_share: Array
    distance_m: Array


@dataclass(frozen=True, slots=True)
class Preparation:
    """Work on the ground before the summer `year`; shares from 0 to 1, shape (draws,)."""

    year: int
    bare_share: Array
    crop_lowered_share: Array
    residents_kept_share: Array
    opens_tall_sward: bool


@dataclass(frozen=True, slots=True)
class Sowing:
    """Live seeds per m2 by taxon key that can come up from the summer `year` on.

    Parameters
    ----------
    year
        First summer of the seedlings.
    live_seeds_per_m2
        By taxon key.
    late
        Sown after the winter's cold began: chill-needing seed waits a year and yellow rattle fails.
    mown_early
        First-year mowing starts in spring and takes annuals and rattle before they shed seed.
    """

    year: int
    live_seeds_per_m2: dict[str, float]
    late: bool = False
    mown_early: bool = False


@dataclass(frozen=True, slots=True)
class Planting:
    """Plug plants per m2 by taxon key, planted before or in the summer `year`."""

    year: int
    plugs_per_m2: dict[str, float]


@dataclass(frozen=True, slots=True)
class Zone:
    """A share (0 to 1) of the net area with its own history."""

    area_share: float
    preparations: tuple[Preparation, ...] = ()
    sowings: tuple[Sowing, ...] = ()
    plantings: tuple[Planting, ...] = ()


@dataclass(frozen=True, slots=True)
class Care:
    """Yearly care: key of the regimes table, cuts in a first year, share (0 to 1) left uncut as a refuge.

    Whatever their date, cuttings may be left lying.
    """

    regime: str
    first_year_cuts: float
    refuge_share: float = 0.0
    arisings_left: bool = False
