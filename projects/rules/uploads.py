"""What a sheet comes to as a return: put into its words, laid beside what was sent before, joined with it."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import timedelta
from types import MappingProxyType
from typing import Any, Final

import orjson

from modelling.names import folded
from modelling.reading import read_as
from projects.choices import Work
from projects.contracts.returns import ReturnNew

#: a sheet that came in is kept so long, refused rows and all
KEPT: Final = timedelta(days=30)
#: sheets of one person that may wait at a time
MOST_WAITING: Final = 40
#: returns that one call takes in; more are taken by the next
MOST_AT_ONCE: Final = 25
LONGEST_NARRATIVE: Final = 4000
LONGEST_NOTE: Final = 300
MOST_LINES_OF_WORK: Final = 60
#: questions that a return may be sent with: a name stays as written and is settled later
MAY_STAY_OPEN: Final = frozenset({"name", "name_doubted"})
#: line of a work diary -> what a return calls it
_DONE: Final[Mapping[str, str]] = MappingProxyType(
    {
        Work.CUT: "cut", Work.RAKE: "collected", Work.GRAZE: "grazed", Work.WEED: "weeded", Work.PREPARE: "prepared",
        Work.SOW: "sown", Work.PLANT: "planted", Work.SEED: "seed_gathered",
    }
)  # fmt: skip
_FIGURES: Final = ("bare_ground_percent", "litter_percent", "forb_cover_percent", "sward_height_cm", "rattle_plants")
_TOTALS: Final = ("heads", "person_hours", "cash_gbp")


# ------------------------------------------------------------------ a survey as a return


def return_said(survey: Mapping[str, Any]) -> tuple[dict[str, Any], list[str]]:
    """What a sheet was understood as, shaped as `ReturnNew`; and what it held that a return has no room for."""
    data: dict[str, Any] = {"year": survey["year"], "visits": [], "work": []}
    data |= {name: survey[name] for name in ("grade", "layout") if survey[name]}
    for visit in survey["visits"]:
        quadrats = [_without_blanks(quadrat) for quadrat in visit["quadrats"]]
        if visit["on"] and (quadrats or visit["whole_site"]):
            data["visits"].append({"on": visit["on"], "quadrats": quadrats, "whole_site": list(visit["whole_site"])})
    left: list[str] = []
    notes = list(dict.fromkeys(note["text"] for note in survey["notes"]))
    for line in survey["work"]:
        what = _DONE.get(line["what"], "other")
        note = str(line.get("note", ""))
        if what == "other" and not note:
            note = str(Work(line["what"]).label)
        data["work"].append(_without_blanks({"what": what, "on": line["on"], "note": note[:LONGEST_NOTE]}))
    data |= _totals(survey["work"])
    if data.get("person_hours") and not data.get("heads"):
        notes.append(f"{data.pop('person_hours'):g} hours of work; how many came is not told.")
    if len(data["work"]) > MOST_LINES_OF_WORK:
        left.append(f"{len(data['work']) - MOST_LINES_OF_WORK} lines of work")
        data["work"] = data["work"][:MOST_LINES_OF_WORK]
    narrative, over = _fitting(notes)
    if over:
        left.append(f"{over} remarks")
    return data | ({"narrative": narrative} if narrative else {}), left


def _without_blanks(said: Mapping[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in said.items() if value not in (None, "")}


def _totals(lines: Iterable[Mapping[str, Any]]) -> dict[str, Any]:
    sums = {name: [line[name] for line in lines if line.get(name) is not None] for name in _TOTALS}
    return {name: round(sum(found), 2) for name, found in sums.items() if found}


def _fitting(texts: Iterable[str]) -> tuple[str, int]:
    """Texts a line each, as many as a return has room for, and how many are over."""
    out, over = "", 0
    for text in texts:
        if len(out) + len(text) + 1 > LONGEST_NARRATIVE:
            over += 1
        else:
            out = f"{out}\n{text}" if out else text
    return out, over


# ------------------------------------------------------------------ two returns beside each other


def spot(label: str) -> str:
    """What tells a quadrat from others however it is written: Q1, q 1 and 1 are one."""
    plain = re.sub(r"[\s._#-]+", "", label.casefold())
    return re.sub(r"^(?:quadrat|quad|q)(?:no|number)?(?=\d)", "", plain)


def _plant(record: Mapping[str, Any], *, taxa: bool) -> str:
    return str((taxa and record.get("taxon")) or folded(str(record["name"])) or record["name"])


def content_key(asked: ReturnNew, *, taxa: bool) -> str:
    """Return a checksum of what a return tells, whatever the order and the manner it tells it in.

    Parameters
    ----------
    taxa
        Whether plants are told apart by what they were settled as; else by the names as written.
    """
    data = asked.model_dump(mode="json", exclude={"submission_id"})
    for visit in data["visits"]:
        for quadrat in visit["quadrats"]:
            quadrat["label"] = spot(quadrat["label"])
            quadrat["records"] = _sorted_records(quadrat["records"], taxa=taxa)
        visit["quadrats"].sort(key=lambda quadrat: orjson.dumps(quadrat))
        visit["whole_site"] = _sorted_records(visit["whole_site"], taxa=taxa)
    for name in ("visits", "work", "gatherings", "insects"):
        data[name].sort(key=lambda item: orjson.dumps(item, option=orjson.OPT_SORT_KEYS))
    data["narrative"] = sorted(data["narrative"].split("\n"))
    return hashlib.sha256(orjson.dumps(data, option=orjson.OPT_SORT_KEYS)).hexdigest()


def _sorted_records(records: Sequence[Mapping[str, Any]], *, taxa: bool) -> list[tuple[str, str, str]]:
    return sorted((_plant(item, taxa=taxa), str(item["scale"]), str(item["value"]).casefold()) for item in records)


@dataclass
class Change:
    """What a sheet would do to what was sent before."""

    quadrats: int = 0
    records: int = 0
    #: told otherwise before: where, plant, before, now
    otherwise: tuple[tuple[str, str, str, str], ...] = ()
    work: int = 0
    #: records of the earlier return that the sheet does not hold
    missing: int = 0


def joined(there: ReturnNew, more: ReturnNew, lines: Sequence[Mapping[str, Any]]) -> tuple[ReturnNew, Change]:
    """Return what was sent before together with what a sheet tells: nothing lost, nothing twice.

    Where both tell of one plant in one place, the sheet holds.

    Parameters
    ----------
    there
        The return as it stands, its names settled.
    more
        What the sheet tells, its names settled.
    lines
        The sheet's lines of work with their hours, heads and money.
    """
    data = there.model_dump(mode="json", exclude={"submission_id"}, exclude_unset=True)
    new = more.model_dump(mode="json", exclude={"submission_id"}, exclude_unset=True)
    change = Change()
    otherwise: list[tuple[str, str, str, str]] = []
    held = sum(len(q.records) for v in there.visits for q in v.quadrats) + sum(len(v.whole_site) for v in there.visits)
    met = 0
    visits = {visit["on"]: visit for visit in data.get("visits", [])}
    for visit in new.get("visits", []):
        own = visits.setdefault(visit["on"], {"on": visit["on"]})
        spots = {spot(quadrat["label"]): quadrat for quadrat in own.get("quadrats", [])}
        for quadrat in visit.get("quadrats", []):
            home = spots.get(spot(quadrat["label"]))
            if home is None:
                change.quadrats += 1
                home = spots[spot(quadrat["label"])] = quadrat | {"records": []}
            else:
                home |= {name: quadrat[name] for name in _FIGURES if quadrat.get(name) is not None}
            home["records"], count = _records(
                home.get("records", []), quadrat.get("records", []), quadrat["label"], change, otherwise
            )
            met += count
        own["quadrats"] = list(spots.values())
        own["whole_site"], count = _records(
            own.get("whole_site", []), visit.get("whole_site", []), "", change, otherwise
        )
        met += count
    data["visits"] = [visits[on] for on in sorted(visits)]
    _join_work(data, new, lines, change)
    data |= {name: new[name] for name in ("grade", "layout") if name in new}
    own_lines = [text for text in str(data.get("narrative", "")).split("\n") if text]
    narrative = [*own_lines, *(t for t in str(new.get("narrative", "")).split("\n") if t and t not in own_lines)]
    if narrative:
        data["narrative"] = _fitting(narrative)[0]
    if data.get("answered") != "surveyed" and data["visits"]:
        data["answered"] = "surveyed"
    change.missing, change.otherwise = held - met, tuple(otherwise)
    return read_as(ReturnNew, data), change


def _records(
    there: list[dict[str, Any]], more: Sequence[dict[str, Any]], where: str, change: Change, otherwise: list[Any]
) -> tuple[list[dict[str, Any]], int]:
    """Records of one place together, and how many of the earlier ones the sheet holds too."""
    found = {_plant(item, taxa=True): item for item in there}
    by_name = {_plant(item, taxa=False): key for key, item in found.items()}
    met = 0
    for item in more:
        key = _plant(item, taxa=True)
        key = key if key in found else by_name.get(_plant(item, taxa=False), key)
        before = found.get(key)
        if before is None:
            change.records += 1
            found[key] = item
            continue
        met += 1
        said, was = _amount(item), _amount(before)
        if said != was:
            otherwise.append((where, item["name"], was, said))
            found[key] = before | {"scale": item.get("scale", "presence"), "value": item.get("value", "")}
    return list(found.values()), met


def _amount(item: Mapping[str, Any]) -> str:
    """An amount as people read it; a bare sighting where none was told."""
    value, scale = str(item.get("value", "")), item.get("scale", "presence")
    return "seen" if scale == "presence" else f"{value} %" if scale == "percent" else f"{value} ({scale})"


def _join_work(
    data: dict[str, Any], new: Mapping[str, Any], lines: Sequence[Mapping[str, Any]], change: Change
) -> None:
    """Put lines of work together; hours, heads and money are added for the lines that are new."""

    def key(line: Mapping[str, Any]) -> tuple[str, str, str]:
        return str(line["what"]), str(line.get("on") or ""), str(line.get("note") or "")

    own = list(data.get("work", []))
    there, told = {key(line) for line in own}, [key(line) for line in new.get("work", [])]
    fresh = [number for number, line in enumerate(told) if line not in there]
    change.work = len(fresh)
    data["work"] = [*own, *(new["work"][number] for number in fresh)]
    if there <= set(told):
        # the sheet tells all the work that is there, so that its sums are of all of it
        data |= {name: new[name] for name in _TOTALS if new.get(name) is not None}
        return
    for name, amount in _totals([lines[number] for number in fresh if number < len(lines)]).items():
        data[name] = round((data.get(name) or 0) + amount, 2)
        if name == "heads":
            data[name] = int(data[name])
    if data.get("person_hours") and not data.get("heads"):
        data.pop("person_hours")
