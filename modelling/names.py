"""Plant names as people write them, settled into keys of the table of plants, or shown to a person who settles them.

Nothing is settled by likeness. A name that is only like one in the table comes back `likely` or `several` with the
names it is like; a person chooses, and the choice is remembered under `folded(text)`.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from types import MappingProxyType
from typing import Final, Literal

from rapidfuzz import fuzz, process

from modelling.selectors import parameters

Status = Literal["exact", "synonym", "remembered", "likely", "several", "unknown"]
Rank = Literal["species", "genus", "aggregate", "hybrid", "not a plant"]

SETTLED: Final[frozenset[Status]] = frozenset({"exact", "synonym", "remembered"})
MOST_CANDIDATES: Final = 5
#: letters of a written name that are looked at, and those of the key that is stored
LONGEST_READ: Final = 240
LONGEST_KEY: Final = 120
#: likeness, 0 to 100: likely from here on, if by so much ahead of the next plant; one of several; worth showing at all
LIKELY: Final = 80
AHEAD: Final = 5
SEVERAL: Final = 75
SHOWN: Final = 62
#: for a known name with one word too many
SHORTENED: Final = 85
#: letters below which a likeness says little
SHORT: Final = 5
SHORT_LIKELY: Final = 88

#: groups wider than a genus -> the genera of the table that belong to them
_FAMILIES: Final[Mapping[str, frozenset[str]]] = MappingProxyType(
    {
        "orchidaceae": frozenset({"Anacamptis", "Dactylorhiza", "Neottia", "Ophrys", "Orchis"}),
        "apiaceae": frozenset(
            {
                "Aegopodium", "Anthriscus", "Conopodium", "Daucus", "Heracleum", "Oenanthe", "Pimpinella", "Silaum",
            }
        ),
    }
)  # fmt: skip
_GROUPS: Final[Mapping[str, str]] = MappingProxyType({"poaceae": "grass", "bryophyta": "moss"})
_NONE: Final[Mapping[str, str]] = MappingProxyType({})
_DOUBTED: Final = re.compile(
    r"\?|¿|\b(?:cf|aff|poss|possibly|prob|probably|maybe|perhaps|unsure|not sure)\b\.?", re.IGNORECASE
)
_PLUS: Final = re.compile(r"[\s(\[]*(\+(?:\s?\+)*)[\s)\]]*$")
_SUBSPECIES: Final = re.compile(r"\b(?:subsp|ssp|subspecies|var|variety|forma|cv)\b\.?", re.IGNORECASE)
_GENUS_MARK: Final = re.compile(r"\b(?:spp|sp|species|indet)\b\.?", re.IGNORECASE)
_AGGREGATE_MARK: Final = re.compile(
    r"\b(?:agg|aggr|aggregate|group|sensu lato|sensu stricto)\b\.?|\bs\.\s?(?:l|lat|str|s)\b\.?", re.IGNORECASE
)
_STAGE: Final = re.compile(
    r"\b(?:seedlings?|saplings?|rosettes?|veg|vegetative|juv|juvenile|flowering|in (?:flower|seed|fruit|bud))\b\.?",
    re.IGNORECASE,
)
_BRACKETS: Final = re.compile(r"[(\[{]([^()\[\]{}]*)[)\]}]?")
_BETWEEN: Final = re.compile(r"\s+[-–—]+\s+|[/;,=|]|\bor\b|\baka\b", re.IGNORECASE)
_WORD: Final = re.compile(r"[^\W_]+")
_AUTHOR_WORDS: Final = frozenset({"ex", "et", "in", "f", "fil", "al", "and", "nom", "auct", "non", "sensu"})
_QUIET: Final = str.maketrans(dict.fromkeys("'’‘ʼ´`′＇\"“”.", "") | dict.fromkeys("-‐‑‒–—―_", ""))
_LETTERS: Final = str.maketrans({"ß": "ss", "æ": "ae", "œ": "oe", "ø": "o", "ł": "l", "đ": "d", "ð": "d", "þ": "th"})


@dataclass(frozen=True, slots=True)
class Candidate:
    """A plant that a written name may stand for."""

    taxon: str
    name: str
    score: int


@dataclass(frozen=True, slots=True)
class Match:
    """What a written name was read as."""

    folded: str
    """What a remembered choice is stored under."""
    status: Status
    taxon: str | None = None
    """Key of the table of plants; only where the status settles it, or the likeliest of a `likely`."""
    score: int = 0
    candidates: tuple[Candidate, ...] = ()
    rank: Rank | None = None
    """None where nothing is known of it."""
    doubt: bool = False
    """The writer was not sure: a question mark, cf., perhaps."""
    plus: str = ""
    """Plus signs after the name: an amount, not part of it."""
    note: str = ""

    @property
    def settled(self) -> bool:
        """Whether no person need look at it."""
        return self.status in SETTLED and (not self.doubt or self.status == "remembered")


@dataclass(frozen=True, slots=True)
class _Reading:
    """A written name taken apart."""

    key: str
    words: tuple[str, ...] = ()
    #: the words as they were, for authors begin with a capital
    raw: tuple[str, ...] = ()
    parts: tuple[_Reading, ...] = ()
    #: whether what stands between the parts says that either may hold
    either: bool = False
    genus: bool = False
    aggregate: bool = False


@dataclass(frozen=True, slots=True)
class _Index:
    """Every name of the tables by its folded key."""

    own: Mapping[str, str]
    others: Mapping[str, tuple[str, ...]]
    hybrids: frozenset[str]
    no_plants: frozenset[str]
    choices: tuple[str, ...]
    binomials: tuple[tuple[str, str, str], ...]
    genera: Mapping[str, tuple[str, ...]]


def _plain(text: str) -> str:
    """A text in small plain letters without accents, still with its signs."""
    even = unicodedata.normalize("NFKC", text[:LONGEST_READ]).replace("×", " x ")
    shown = "".join(" " if unicodedata.category(sign)[0] in "CZ" else sign for sign in even)
    bare = "".join(s for s in unicodedata.normalize("NFKD", shown) if not unicodedata.combining(s))
    return " ".join(bare.split())


def _words(text: str) -> tuple[str, ...]:
    return tuple(_WORD.findall(text.translate(_QUIET)))


def _fold(words: Iterable[str]) -> str:
    return "".join(words).casefold().translate(_LETTERS)[:LONGEST_KEY]


def _take_apart(text: str, *, whole: bool = True) -> _Reading:
    """A plain text without its doubts and amounts, as words, a key, and the parts it is made of."""
    rest = _SUBSPECIES.sub(" subsp ", text)
    genus, aggregate = bool(_GENUS_MARK.search(rest)), bool(_AGGREGATE_MARK.search(rest))
    rest = _STAGE.sub(" ", _AGGREGATE_MARK.sub(" ", _GENUS_MARK.sub(" ", rest))).strip()
    raw = _words(rest)
    words = tuple(word.casefold().translate(_LETTERS) for word in raw)
    parts: list[str] = []
    outside = rest
    either = False
    if whole:
        parts = [inside for inside in _BRACKETS.findall(rest) if inside.strip()]
        outside = _BRACKETS.sub(" ", rest)
        pieces = [piece for piece in _BETWEEN.split(outside) if piece.strip()]
        either = len(pieces) > 1
        parts = [*pieces, *parts] if len(pieces) + len(parts) > 1 else []
    return _Reading(
        key=_fold(words),
        words=words,
        raw=raw,
        parts=tuple(_take_apart(part, whole=False) for part in parts[:4]),
        either=either,
        genus=genus,
        aggregate=aggregate,
    )


@lru_cache(maxsize=20_000)
def _read(text: str) -> tuple[_Reading, bool, str]:
    """A written name taken apart, whether its writer doubted it, and the plus signs after it."""
    plain = _plain(text)
    doubt = bool(_DOUBTED.search(plain))
    plain = _DOUBTED.sub(" ", plain).strip()
    found = _PLUS.search(plain)
    plus = found.group(1).replace(" ", "") if found else ""
    if found:
        plain = plain[: found.start()]
    return _take_apart(plain), doubt, plus


def folded(text: str) -> str:
    """Return the key of a written name: small letters and figures alone, without doubts, amounts and marks of rank.

    A remembered choice is stored under it; names that differ by case, hyphens, blanks, accents or "agg." share it.
    """
    return _read(text)[0].key


@lru_cache(maxsize=1)
def _index() -> _Index:
    tables = parameters().nouns
    own: dict[str, str] = {}
    others: dict[str, dict[str, None]] = {}
    binomials: dict[tuple[str, str, str], None] = {}
    genera: dict[str, dict[str, None]] = {}
    hybrids: set[str] = set()
    no_plants: set[str] = set()

    def latin(name: str, key: str, *, accepted: bool) -> None:
        words = _take_apart(_plain(name)).words
        if len(words) > 1 and "x" not in words:
            genera.setdefault(words[0], {})[key] = None
            if accepted and rank_of(key) != "genus":
                binomials[words[0], words[1], key] = None

    for key, row in tables["taxa"].items():
        own[folded(row["scientific_name"])] = key
        own[folded(row["english_name"])] = key
        own[folded(key)] = key
        latin(row["scientific_name"], key, accepted=True)
        for name in filter(None, row["synonyms"].split(";")):
            others.setdefault(folded(name), {})[key] = None
            if name[0].isupper() and " " in name:
                latin(name, key, accepted=False)
    for row in tables["taxon_names"].values():
        fold, key = folded(row["name"]), row["taxon"]
        if not key:
            no_plants.add(fold)
            continue
        others.setdefault(fold, {})[key] = None
        if row["kind"] == "hybrid":
            hybrids.add(fold)
        elif row["kind"] in {"old scientific", "aggregate"}:
            latin(row["name"], key, accepted=False)
    # A genus known only by the group that stands for it, such as "Rumex sp.", and by its species.
    return _Index(
        own=own,
        others={key: tuple(taxa) for key, taxa in others.items()},
        hybrids=frozenset(hybrids),
        no_plants=frozenset(no_plants),
        choices=tuple(dict.fromkeys([*own, *others])),
        binomials=tuple(binomials),
        genera={name: tuple(taxa) for name, taxa in genera.items()},
    )


def rank_of(taxon: str) -> Rank:
    """Return what a key of the table of plants stands for."""
    latin = parameters().nouns["taxa"][taxon]["scientific_name"]
    if latin.endswith(" sp."):
        return "genus"
    if latin.endswith(" agg.") or " " not in latin:
        return "aggregate"
    return "hybrid" if "×" in latin else "species"


@lru_cache(maxsize=1)
def _members() -> Mapping[str, frozenset[str]]:
    tables = parameters().nouns
    genera: dict[str, set[str]] = {}
    for row in tables["taxon_names"].values():
        if row["kind"] == "aggregate" and " " not in row["name"]:
            genera.setdefault(row["taxon"], set()).add(row["name"])
    out: dict[str, frozenset[str]] = {}
    for key, row in tables["taxa"].items():
        if row["life_form"] != "several":
            continue
        names = genera.get(key, set()) | _FAMILIES.get(key, frozenset()) | {row["scientific_name"].split()[0]}
        out[key] = frozenset(
            other
            for other, words in tables["taxa"].items()
            if other != key
            and (words["scientific_name"].split()[0] in names or words["group"] == _GROUPS.get(key, "none"))
        )
    return out


def members(taxon: str) -> frozenset[str]:
    """Return the plants of the table that a group may be; empty for a single kind of plant."""
    return _members().get(taxon, frozenset())


def distinct(taxa: Iterable[str]) -> frozenset[str]:
    """Return kinds that are surely different: a group counts once, and not beside a plant that it may be."""
    keys = frozenset(taxa)
    return frozenset(key for key in keys if not members(key) & keys)


def _words_of(taxon: str) -> str:
    row = parameters().nouns["taxa"][taxon]
    return f"{row['english_name']} ({row['scientific_name']})"


def _candidates(scored: Mapping[str, int]) -> tuple[Candidate, ...]:
    best = sorted(scored.items(), key=lambda pair: (-pair[1], pair[0]))[:MOST_CANDIDATES]
    return tuple(Candidate(taxon, _words_of(taxon), score) for taxon, score in best)


def _found(key: str) -> tuple[Status, tuple[str, ...]] | None:
    """What the tables say of a key, to the letter."""
    index = _index()
    if key in index.own:
        return "exact", (index.own[key],)
    if key in index.others:
        return "synonym", index.others[key]
    return None


def _singular(key: str) -> tuple[str, ...]:
    ends = (("ies", "y"), ("es", ""), ("s", ""))
    return tuple(
        key[: -len(end)] + other for end, other in ends if key.endswith(end) and len(key) > len(end) + SHORT - 2
    )


def _one(key: str, status: Status, taxa: tuple[str, ...], note: str = "", score: int = 100) -> Match:
    if len(taxa) == 1:
        rank: Rank = "hybrid" if key in _index().hybrids else rank_of(taxa[0])
        return Match(key, status, taxa[0], score, _candidates({taxa[0]: score}), rank, note=note)
    note = note or "More than one plant goes by this name."
    ranks = {rank_of(taxon) for taxon in taxa}
    return Match(
        key,
        "several",
        None,
        score,
        _candidates(dict.fromkeys(taxa, score)),
        "genus" if "genus" in ranks else "species",
        note=note,
    )


def _to_the_letter(key: str) -> Match | None:
    """A key that the tables hold, as it is or in the plural."""
    for form in (key, *_singular(key)):
        found = _found(form)
        if found is not None:
            return _one(form, found[0] if form == key else "synonym", found[1])
        if form in _index().no_plants:
            return Match(key, "unknown", rank="not a plant", note="This is no plant.")
    return None


def _latin(reading: _Reading) -> Match | None:
    """A Latin name with authors or a subspecies behind it, a hybrid, or a genus alone."""
    words, index = reading.words, _index()
    if "x" in words and len(words) > 1:
        genus = next((word for word in words if word in index.genera), None)
        if genus is None:
            return None
        taxa = index.genera[genus]
        note = "This hybrid is not in the table; its genus has these."
        return Match(reading.key, "several", None, 0, _candidates(dict.fromkeys(taxa, SEVERAL)), "hybrid", note=note)
    if not words or words[0] not in index.genera:
        return None
    taxa = index.genera[words[0]]
    if len(words) == 1:
        if len(taxa) > 1:
            return replace(_one(reading.key, "several", taxa, "A genus of more than one plant here."), rank="genus")
        return replace(_one(reading.key, "likely", taxa, "The only one of its genus in the table.", 90), rank="genus")
    found = _found(_fold(words[:2]))
    if found is None or len(words) == 2:
        return None
    after, raw = words[2:], reading.raw[2:]
    if "subsp" in after:
        return _one(reading.key, "synonym", found[1], "Taken as the species: the table holds none of its parts.")
    if all(word[0].isupper() or word in _AUTHOR_WORDS for word in raw):
        return _one(reading.key, *found)
    return _one(reading.key, "likely", found[1], f"What stands behind the name was left out: {' '.join(after)}.", 95)


def _abbreviated(reading: _Reading) -> Match | None:
    """Three letters of the genus and three of the species, or an initial and the species in full."""
    words = reading.words
    if len(words) == 1 and len(words[0]) == 6:
        words = (words[0][:3], words[0][3:])
    if len(words) != 2:
        return None
    first, second = words
    hits: dict[str, None] = {}
    settles = True
    if len(first) == len(second) == 3:
        hits = {key: None for g, s, key in _index().binomials if g[:3] == first and s[:3] == second}
    elif len(first) <= 3 and len(second) > 3:
        hits = {key: None for g, s, key in _index().binomials if g.startswith(first) and s == second}
    if not hits and len(first) >= 2 and len(second) >= 3 and len(reading.words) == 2:
        settles = False
        hits = {key: None for g, s, key in _index().binomials if g.startswith(first) and s.startswith(second)}
    if not hits:
        return None
    taxa = tuple(hits)
    if len(taxa) > 1:
        return _one(reading.key, "several", taxa, "More than one plant is shortened so.")
    latin = parameters().nouns["taxa"][taxa[0]]["scientific_name"]
    return _one(
        reading.key, "synonym" if settles else "likely", taxa, f"Read as short for {latin}.", 100 if settles else 95
    )


def _of_parts(reading: _Reading) -> Match | None:
    """Two names for one thing: English and Latin, or one in brackets behind the other."""
    known: list[Match] = []
    left: list[str] = []
    for part in reading.parts:
        match = _to_the_letter(part.key) or _latin(part)
        if match is not None and (match.status in SETTLED or match.status == "several"):
            known.append(match)
        else:
            left.append(" ".join(part.words))
    if not known:
        return None
    sets = [{c.taxon for c in match.candidates} for match in known]
    common = set.intersection(*sets)
    if len(common) == 1 and not left:
        (taxon,) = common
        return _one(reading.key, "synonym", (taxon,), "Both names are of this plant." if len(known) > 1 else "")
    if len(common) == 1:
        return _one(reading.key, "likely", tuple(common), f"Not understood: {', '.join(left)}.", 95)
    taxa = tuple(dict.fromkeys(c.taxon for match in known for c in match.candidates))
    return _one(reading.key, "several", taxa, "The names are of different plants.", 90)


def _turned(reading: _Reading) -> Match | None:
    """A name as in an index: "sorrel, sheep's"."""
    if len(reading.parts) != 2:
        return None
    found = _found(_fold(reading.parts[1].words + reading.parts[0].words))
    return _one(reading.key, "synonym", found[1]) if found else None


def _shortened(reading: _Reading) -> Match | None:
    """A known name with a word too many in front of it or behind it."""
    words = reading.words
    if len(words) < 2:
        return None
    for kept in (words[1:], words[:-1]):
        key = _fold(kept)
        found = _found(key) if len(key) >= SHORT - 1 else None
        if found is not None:
            dropped = words[0] if kept == words[1:] else words[-1]
            # "carnation grass" is surely more than some grass
            score = SEVERAL if any(members(taxon) for taxon in found[1]) else SHORTENED
            return _one(reading.key, "likely", found[1], f"Known without the word {dropped!r}.", score)
    return None


def _alike(reading: _Reading) -> Match:
    """The names most like a key that is none."""
    key, index = reading.key, _index()
    if len(key) < 3:
        return Match(key, "unknown")
    turned = _fold(reversed(reading.words)) if 1 < len(reading.words) < 4 else ""
    scored: dict[str, int] = {}
    for form in filter(None, (key, turned)):
        for name, score, _ in process.extract(form, index.choices, scorer=fuzz.ratio, limit=12, score_cutoff=SHOWN):
            taxa = (index.own[name],) if name in index.own else index.others[name]
            for taxon in taxa:
                scored[taxon] = max(scored.get(taxon, 0), int(score))
    extra = _shortened(reading)
    if extra is not None:
        for candidate in extra.candidates:
            scored[candidate.taxon] = max(scored.get(candidate.taxon, 0), candidate.score)
    if not scored:
        return Match(key, "unknown")
    candidates = _candidates(scored)
    best, next_best = candidates[0].score, candidates[1].score if len(candidates) > 1 else 0
    rank = rank_of(candidates[0].taxon)
    least = LIKELY if len(key) > SHORT else SHORT_LIKELY
    if best >= least and best - next_best >= AHEAD:
        note = extra.note if extra is not None and extra.score == best else ""
        return Match(key, "likely", candidates[0].taxon, best, candidates, rank, note=note)
    if best >= (SEVERAL if len(key) > SHORT else SHORT_LIKELY):
        return Match(key, "several", None, best, candidates, rank, note="Like more than one name in the table.")
    return Match(key, "unknown", None, best, candidates)


@lru_cache(maxsize=20_000)
def _settled(reading: _Reading, alike: bool) -> Match:
    if not reading.key:
        return Match("", "unknown")
    found = _to_the_letter(reading.key)
    if found is None and reading.words[0] in {"a", "an", "the", "some", "few"}:
        shorter = replace(reading, key=_fold(reading.words[1:]), words=reading.words[1:], raw=reading.raw[1:])
        found = _to_the_letter(shorter.key)
        if found is not None and found.status == "exact":
            found = replace(found, status="synonym")
    if found is None and reading.either:
        found = _turned(reading) or _of_parts(reading)
    found = found or _latin(reading)
    if found is None and reading.parts:
        found = _of_parts(reading)
    found = found or _abbreviated(reading) or (_alike(reading) if alike else Match(reading.key, "unknown"))
    if found.rank == "species" and (reading.aggregate or reading.genus):
        found = replace(found, rank="aggregate")
    return replace(found, folded=reading.key)


def match(text: str, *, remembered: Mapping[str, str] = _NONE, alike: bool = True) -> Match:
    """Read a written name.

    Parameters
    ----------
    text
        As somebody wrote it; anything.
    remembered
        Earlier choices of people: folded key -> key of the table of plants.
    alike
        Whether to look for names that are like it, which takes longest; without, they come back `unknown`.
    """
    reading, doubt, plus = _read(text)
    found = _settled(reading, alike)
    chosen = remembered.get(reading.key)
    if chosen is not None and chosen in parameters().nouns["taxa"] and found.status != "exact":
        found = Match(reading.key, "remembered", chosen, 100, _candidates({chosen: 100}), rank_of(chosen))
    if doubt or plus:
        found = replace(found, doubt=doubt, plus=plus)
    return found
