"""What the headings of a sheet say, however they are written."""

from __future__ import annotations

import re
from functools import lru_cache
from typing import Final

from projects.sheets.values import scale_named

_UNITS: Final = re.compile(r"\(?\s*(?:%|per\s?cent|percent|cover|domin|dafor|present|count)\s*\)?", re.IGNORECASE)
_LABEL: Final = re.compile(
    r"(?:(?:quadrat|quad|plot|stop|sample|square|sq|control|q|c|s|p)\.?[ _-]*(?:no\.?|number|#)?[ _.-]*)?\d{1,3}[a-z]?",
    re.IGNORECASE,
)
#: what a heading is about -> how it may be written; the first that fits holds
_ROLES: Final = tuple(
    (role, re.compile(pattern))
    for role, pattern in (
        ("own", r"^(?:sheet|row|what is wrong|what would be right)$"),
        ("meadow", r"^(?:meadow|project|site)s?(?: (?:name|id))?$|^name of (?:the )?(?:meadow|project|site)$"),
        ("year", r"^(?:year|summer)$"),
        ("note", r"note|comment|remark"),
        ("bare_ground_percent", r"\bbare\b"),
        ("litter_percent", r"\blitter\b|\bthatch\b"),
        ("sward_height_cm", r"\bheight\b|\bht\b"),
        (
            "rattle_plants",
            r"(?:rattle|rhinanthus|\byr\b).*(?:plants|count|number|\bno\b)|(?:number|count|\bno\b).*(?:rattle|\byr\b)",
        ),
        ("forb_cover_percent", r"(?:forb|herb|flower)s?,? (?:total )?cover|cover (?:of|by) (?:forb|herb|\w*flower)"),
        (
            "total",
            r"^(?:grand |cover |% ?)?(?:totals?|sum|mean|average|avg|max|min|constancy|richness)\b"
            r"|^(?:no\.?|number|count) of species|species (?:count|richness|total|per)|^total",
        ),
        ("elsewhere", r"elsewhere|rest of|whole (?:site|meadow)|anywhere"),
        ("surveyor", r"surveyor|recorder|observer|(?:recorded|surveyed|counted) by"),
        (
            "quadrat",
            r"^(?:quad(?:rat)?s?|plots?|stops?|samples?|squares?|q)\.? ?(?:no|number|num|id|name|label|#)?\.?$",
        ),
        ("what", r"^what(?: was done)?$|^(?:work|task|activity|job)s?(?: done)?$"),
        ("hours", r"\bhours?\b|\bhrs\b"),
        ("heads", r"\bheads\b|\bpeople\b|\bvolunteers\b"),
        ("money", r"£|\bmoney\b|\bcost\b|\bspent\b|\bcash\b"),
        ("cut", r"\b(?:cut|mown|mowed|mowing|hay)\b"),
        ("graze", r"\bgraz"),
        ("rake", r"\b(?:raked|raking|removed)\b"),
        ("date", r"\bdates?\b|\bday\b|\bsurveyed\b|\bvisit(?:ed)?\b|\brecorded on\b"),
        ("part", r"^(?:part|treatment|sown(?: or control)?)$"),
        ("scale", r"^(?:scale|units?|recorded as|written as)$"),
        ("latin", r"\blatin\b|\bscientific\b|\bbotanical\b"),
        ("english", r"\benglish\b|\bcommon name\b|\bvernacular\b"),
        (
            "value",
            r"^(?:values?|amounts?|cover|abundance|scores?|quantity|how much|freq(?:uency)?|%)|\bda?cfor\b|dafor|domin",
        ),
    )
)
_NAME: Final = re.compile(
    r"^(?:the )?(?:plant |species |wild ?flower )?(?:species|plants?|tax(?:on|a)|(?:wild ?)?flowers?|names?)\b"
)


def tidy(text: str) -> str:
    """A heading in small letters without signs around it."""
    return " ".join(text.casefold().replace("_", " ").split()).strip(" :;,.*")


def label_of(text: str) -> str | None:
    """Return the quadrat that a heading names, without units: "Q1 (%)" is Q1."""
    bare = " ".join(_UNITS.sub(" ", text).split()).strip(" :,.")
    return bare if _LABEL.fullmatch(bare) else None


@lru_cache(maxsize=5_000)
def role_of(text: str) -> str:
    """Return what a heading is about; an empty text where nothing is known of it."""
    heading = tidy(text)
    if not heading or len(heading) > 80:
        return ""
    for role, pattern in _ROLES:
        if pattern.search(heading):
            return role
    scales = list(scale_named(heading))
    if scales:
        return "value"
    return "name" if _NAME.search(heading) and not any(sign.isdigit() for sign in heading) else ""


#: what a line above the table says -> how it may be written
_LINES: Final = tuple(
    (role, re.compile(pattern))
    for role, pattern in (
        ("scale", r"^(?:amounts?|scale|measured|recorded as|cover)\b.*|.*\bscale$"),
        ("area", r"quadrats?,? (?:size|area)|size of (?:the )?quadrats?"),
        ("grade", r"knows? plants|\bgrade\b|experience"),
        ("layout", r"\bplaced\b|layout"),
        ("cut", r"\b(?:cut|mown|mowed|hay)\b"),
        ("graze", r"\bgraz"),
        ("surveyor", r"surveyor|recorder|observer|by$|^name$"),
        ("date", r"\bdates?\b|\bday\b|\bsurveyed\b|\bvisit(?:ed)?\b|\brecorded on\b"),
    )
)


def line_of(label: str) -> str:
    """Return what the label of a line above the table is about."""
    text = tidy(label)
    return next((role for role, pattern in _LINES if len(text) <= 60 and pattern.search(text)), "")


#: words of a line of work -> kind of work
_WORK: Final = (
    ("cut", r"\b(?:cut|cutting|mow\w*|strim\w*|scyth\w*|hay)\b"),
    ("rake", r"\b(?:rak\w*|carr\w+ off|collect\w*|remov\w*)\b"),
    ("graze", r"\b(?:graz\w*|sheep|cattle|stock|fenc\w*)\b"),
    ("weed", r"\b(?:weed\w*|pull\w*|dug|docks?|thistles?|ragwort)\b"),
    ("prepare", r"\b(?:prepar\w*|scarif\w*|harrow\w*|strip\w*)\b"),
    ("plant", r"\b(?:plant\w*|plugs?)\b"),
    ("seed", r"\b(?:gather\w*|clean\w*|harvest\w*)\b"),
    ("sow", r"\b(?:sow\w*|seed\w*)\b"),
    ("survey", r"\b(?:look\w*|count\w*|survey\w*)\b"),
    ("purchase", r"\b(?:buy\w*|bought|hir\w*|purchas\w*)\b"),
    ("meeting", r"\b(?:meet\w*|asking|writing)\b"),
)


def work_of(text: str) -> str:
    """Return the kind of work that a text tells of: a word of `projects.choices.Work`."""
    words = tidy(text)
    return next((kind for kind, pattern in _WORK if re.search(pattern, words)), "other")


_SIDES: Final = re.compile(r"(\d+(?:[.,]\d+)?)\s*m?\s*(?:x|×|by)\s*(\d+(?:[.,]\d+)?)\s*m?")
_AREA: Final = re.compile(r"(\d+(?:[.,]\d+)?)\s*(?:m²|m2|sq\.? ?m\w*|square met\w*)?")


def area_of(text: str) -> float | None:
    """Return the area of a quadrat in m²: "1 m x 1 m", "0.25 m²", "4"."""
    words = tidy(text)
    if found := _SIDES.fullmatch(words):
        return round(float(found[1].replace(",", ".")) * float(found[2].replace(",", ".")), 4)
    found = _AREA.fullmatch(words)
    return float(found[1].replace(",", ".")) if found else None


#: (grade of the surveyor, as the survey keeps it) -> what the template offers
GRADES: Final = {
    "learning": "Still learning",
    "knows_common": "Knows the common ones",
    "knows_most": "Knows most",
    "expert": "Knows nearly all, grasses too",
}
LAYOUTS: Final = {
    "random": "At random",
    "regular": "In a regular pattern",
    "walk": "Along a walk",
    "chosen": "Chosen by eye",
    "fixed": "On the same marked spots every year",
    "not_said": "Not known",
}
