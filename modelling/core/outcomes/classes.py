"""Published sets of rules, applied as they are written: a class, or what is missing to find one.

A class asks for every rule marked `must` and for so many of those marked `any`; `noted` ones are shown and decide
nothing. The classes of a set stand in order, and the first that holds is the class, once those before it are out.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Final

from modelling.core.outcomes.measures import Measured
from modelling.core.parameters import Number, ParameterSet

TABLES: Final = {"sward": "sward_rules", "condition": "condition_rules"}
NEEDED: Final = "rules_needed"
#: decimal places that two covers are compared to, so that 10 + 20 % is not more than 30 %
DIGITS: Final = 9


@dataclass(frozen=True, slots=True)
class Ruled:
    """One rule: what it asks, what was found, whether it held; None where that cannot be said.

    `sure` is whether it comes out alike at both ends of what was found.
    """

    rule: Number
    found: Measured
    held: bool | None
    sure: bool


@dataclass(frozen=True, slots=True)
class Class:
    """One class of a set: whether it holds, and by which rules."""

    key: str
    label: str
    needed: int
    held: bool | None
    rules: tuple[Ruled, ...]


@dataclass(frozen=True, slots=True)
class Verdict:
    """What a set of rules says.

    Attributes
    ----------
    judged
        Whether it could be judged; if not, `missing` tells why.
    class_key, class_label
        The class; None where no class of the set holds, or it could not be judged.
    sure
        Whether it comes out alike at both ends of everything found.
    """

    rule_set: str
    label: str
    version: str
    kind: str
    nation: str
    judged: bool
    class_key: str | None
    class_label: str | None
    sure: bool
    missing: tuple[str, ...]
    classes: tuple[Class, ...]


def holds(rule: Number, value: float) -> bool:
    """Whether a value meets a rule; the ends of a range belong to it."""
    v = round(value, DIGITS)
    low, mode, high = (None if x is None else round(x, DIGITS) for x in (rule.low, rule.mode, rule.high))
    operator = rule.extra["operator"]
    if operator == "between" and low is not None and high is not None:
        return low <= v <= high
    if mode is None:
        raise ValueError(f"{rule.subject}, {rule.quantity}: no threshold for {operator}")
    return {"at_least": v >= mode, "more_than": v > mode, "at_most": v <= mode, "less_than": v < mode}[operator]


def ruled(rule: Number, found: Measured) -> Ruled:
    """One rule applied to what was found."""
    if found.value is None:
        return Ruled(rule, found, None, sure=False)
    held = holds(rule, found.value)
    if found.at_least and not held and rule.extra["operator"] in {"at_least", "more_than"}:
        return Ruled(rule, found, None, sure=False)
    ends = [end for end in (found.low, found.high) if end is not None]
    # with an end unknown nothing is sure; a range asks for both of its ends to lie within, or both on one side
    sure = len(ends) == 2 and all(holds(rule, end) == held for end in ends) and not _straddled(rule, ends, held=held)
    return Ruled(rule, found, held, sure)


def _straddled(rule: Number, ends: list[float], *, held: bool) -> bool:
    """Whether what was found reaches over the whole of a range that its middle misses."""
    if held or rule.low is None or rule.high is None:
        return False
    return min(ends) < rule.low and max(ends) > rule.high


def combined(needed: int, rules: tuple[Ruled, ...], *, only_sure: bool = False) -> bool | None:
    """Whether a class holds: True, False, or None while what is missing could turn it."""

    def of(kind: str) -> list[bool | None]:
        return [(None if only_sure and not r.sure else r.held) for r in rules if r.rule.extra["counts_as"] == kind]

    must, some = of("must"), of("any")
    true, unknown = some.count(True), some.count(None)
    if False in must or true + unknown < needed:
        return False
    return True if None not in must and true >= needed else None


def decided(holding: list[bool | None]) -> tuple[bool, int | None]:
    """Whether the class is decided, and which it is: the first that holds with every one before it out."""
    for index, held in enumerate(holding):
        if held is None:
            return False, None
        if held:
            return True, index
    return True, None


def verdict(parameters: ParameterSet, key: str, measure: Callable[[Mapping[str, str], Number], Measured]) -> Verdict:
    """Apply one set of rules.

    Parameters
    ----------
    parameters
        Reference tables.
    key
        Key of the set.
    measure
        What was found for a rule of the set.
    """
    words = parameters.nouns["rule_sets"][key]
    table = TABLES[words["kind"]]
    classes: list[Class] = []
    surely: list[bool | None] = []
    for row in parameters.nouns["rule_classes"].values():
        if row["rule_set"] != key:
            continue
        subject = f"{key}:{row['key']}"
        numbers = [number for number in parameters.rows(table) if number.subject == subject]
        rules = tuple(ruled(n, measure(words, n)) for n in numbers if n.quantity != NEEDED)
        needed = round(sum(n.middle for n in numbers if n.quantity == NEEDED))
        classes.append(Class(row["key"], row["label"], needed, combined(needed, rules), rules))
        surely.append(combined(needed, rules, only_sure=True))
    judged, at = decided([found.held for found in classes])
    found = None if at is None else classes[at]
    return Verdict(
        rule_set=key,
        label=words["label"],
        version=words["version"],
        kind=words["kind"],
        nation=words["nation"],
        judged=judged,
        class_key=found.key if found else None,
        class_label=found.label if found else None,
        sure=judged and decided(surely) == (judged, at),
        missing=() if judged else _missing(classes),
        classes=tuple(classes),
    )


def _missing(classes: list[Class]) -> tuple[str, ...]:
    """What is missing to decide the classes still open, each thing once."""
    named: dict[str, None] = {}
    for open_class in classes:
        if open_class.held is None:
            for r in open_class.rules:
                if r.held is None and r.rule.extra["counts_as"] != "noted":
                    named[r.found.missing or "the whole of the scheme's list of plants"] = None
        elif open_class.held:
            break
    return tuple(named)


def verdicts(parameters: ParameterSet, measure: Callable[[Mapping[str, str], Number], Measured]) -> tuple[Verdict, ...]:
    """Every set of rules applied, in the order of the table."""
    return tuple(verdict(parameters, key, measure) for key in parameters.nouns["rule_sets"])
