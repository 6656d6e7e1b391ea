"""Filters that say figures in templates the way `projects.dashboard.words` does."""

from collections.abc import Mapping
from datetime import date, datetime
from typing import Any

from django import template
from django.utils.html import format_html
from django.utils.safestring import SafeString

from projects.dashboard import words
from projects.dashboard.pages.estimate import STAGES, cost_name

register = template.Library()

_SKILLS = {
    "anyone": "anyone",
    "shown_once": "anyone who has been shown",
    "trained": "somebody trained",
    "certificate": "somebody with the certificate",
    "contractor": "a contractor",
}

for _name in (
    "area",
    "counted",
    "day",
    "figure",
    "lowered",
    "money_span",
    "odds",
    "opened",
    "pounds_exact",
    "sentence",
    "span",
    "weight",
    "whole_span",
    "work_span",
):
    register.filter(_name, getattr(words, _name))


register.filter("cost_name", cost_name)


@register.filter
def exact_weight(kg: float) -> str:
    """Return a weight to be weighed out, to three significant digits."""
    return words.weight(kg, 3)


@register.simple_tag
def plant(english_name: str, scientific_name: str) -> SafeString:
    """Return the English name and the Latin one in italics."""
    if not english_name:
        return format_html('<i lang="la">{}</i>', scientific_name)
    return format_html('{} <i lang="la">{}</i>', english_name, scientific_name)


@register.filter
def gross_span(line: Mapping[str, Any]) -> str:
    """Return the range of a cost line with VAT."""
    return words.pounds_between(line["p10_gross_gbp"], line["p90_gross_gbp"])


@register.filter
def full_stop(text: str) -> str:
    """Return a text that ends its sentence."""
    return text if text.endswith(".") else f"{text}."


@register.filter
def day_count(found: Mapping[str, float]) -> str:
    """Return a range of days: "two days"."""
    return words.whole_span(found, "day", "days")


@register.filter
def day_in_year(on: date, every_year: bool) -> str:
    """Return a day, without its year where it comes every year."""
    return words.day_of_year(on) if every_year else words.day(on)


@register.filter
def hundredths(share: float) -> str:
    """Return a rate per hundred: 0.035 is "3.5 %"."""
    return f"{words.figure(share * 100)}{words.NARROW_SPACE}%"


@register.filter
def skill(key: str) -> str:
    """Return who can do a task."""
    return _SKILLS.get(key, key)


@register.filter
def stage(key: str) -> str:
    """Return what part of the work a task belongs to."""
    return STAGES.get(key, key.replace("_", " "))


@register.filter(expects_localtime=True)
def local_day(at: datetime) -> str:
    """Return the day of a moment, where people are."""
    return words.day(at.date())


@register.filter
def m2(dm2: int) -> float:
    """Return an area of the database, square decimetres, in m²."""
    return dm2 / 100


@register.filter
def pence(amount: int) -> str:
    """Return a sum of the database, to the penny where there are any."""
    return f"£{amount // 100:,}" if amount % 100 == 0 else f"£{amount / 100:,.2f}"
