"""Letters that tell a group what was decided, and what would have helped."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

from projects.choices import DecisionKind
from projects.rules.bids import pounds

AWARDING: Final = frozenset({DecisionKind.FULL, DecisionKind.PART, DecisionKind.CONDITIONAL})
_OPENING: Final = {
    DecisionKind.FULL: "We are glad to offer you {amount}, all that you asked for.",
    DecisionKind.PART: "We are glad to offer you {amount} of the {asked} that you asked for.",
    DecisionKind.CONDITIONAL: "We are glad to offer you {amount}, on the conditions below.",
    DecisionKind.DEFERRED: "We have not decided against your bid: it is put off to a later round.",
    DecisionKind.REFUSED: "We are sorry that we cannot give you money from this round.",
}


@dataclass(frozen=True)
class LetterFact:
    """What a letter is written from."""

    kind: str
    group: str
    title: str
    number: int
    round_name: str
    funder: str
    amount_pence: int
    asked_pence: int
    conditions: str
    reason: str
    feedback: Sequence[str]
    accept_days: int
    #: name, due on, pence
    stages: Sequence[tuple[str, date, int]]


def letter(fact: LetterFact) -> str:
    """Return the letter of a decision, as plain text."""
    parts = [
        f"To {fact.group}",
        f"Your bid “{fact.title}” (number {fact.number}) to {fact.round_name}",
        _OPENING[DecisionKind(fact.kind)].format(amount=pounds(fact.amount_pence), asked=pounds(fact.asked_pence)),
    ]
    if fact.reason:
        parts.append(fact.reason)
    if fact.kind in AWARDING:
        if fact.conditions:
            parts.append(f"Conditions:\n{fact.conditions}")
        parts.append(
            "The money is for the work in your bid and nothing else; show it in your accounts as restricted. "
            f"Please accept or decline within {fact.accept_days} days of this letter. "
            "Money that is not spent comes back."
        )
        if fact.stages:
            rows = "\n".join(f"- {name}, by {due:%-d %B %Y}: {pounds(pence)}" for name, due, pence in fact.stages)
            whole = sum(pence for _, _, pence in fact.stages)
            tail = (
                "" if whole == fact.amount_pence else f"\nTogether you may ask for up to {pounds(fact.amount_pence)}."
            )
            parts.append(f"Ask for payment as each stage is done:\n{rows}{tail}")
    elif fact.feedback:
        parts.append("What may help another time:\n" + "\n".join(f"- {line}" for line in fact.feedback))
    parts.append(fact.funder)
    return "\n\n".join(parts) + "\n"


def terms(conditions: str, *, aftercare_years: int, report_due_on: date) -> str:
    """Return what a group agrees to by accepting an offer, as plain text."""
    years = f"{aftercare_years} year{'' if aftercare_years == 1 else 's'}"
    lines = [
        "The money is spent on the work in the bid and on nothing else, and shown in the accounts as restricted.",
        "Payment is asked for stage by stage, each with what shows that it was done.",
        "Dates, budget, seed or ground are changed only once the funder has agreed.",
        f"A report comes by {report_due_on:%-d %B %Y}. Money that is not spent comes back.",
    ]
    if aftercare_years:
        lines.append(f"The meadow is looked after for {years}, and its yearly returns are sent.")
    return "\n".join([*lines, *(["Conditions:", conditions] if conditions else [])])


def feedback(asked: str, about_the_set: Sequence[str], flags: Sequence[str]) -> list[str]:
    """Return what would have helped a bid: what bound, then what stood out in it, each once; never nothing."""
    found = [*about_the_set, *flags] or [f"It asked for {asked}; the pot did not reach for every bid."]
    return list(dict.fromkeys(found))
