"""Read requests: one validator for the API, the pages and the command line, with every fault in plain words."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from typing import Any, Final, TypeVar

from pydantic import ValidationError
from rapidfuzz import process

from modelling import contracts
from modelling.contracts.appraisal import AppraisalQuestion
from modelling.errors import FieldError, RequestRefused, pointer_of
from modelling.selectors import parameters

#: least likeness, of 100, for a suggestion; how many are given
_NEAR: Final = 55
_SUGGESTIONS: Final = 3

T = TypeVar("T", bound=contracts.Strict)


def read_estimate(data: object) -> contracts.EstimateRequest:
    """Read and check a request for one estimate.

    Raises
    ------
    RequestRefused
        With every fault: where, what was read, what would be right.
    """
    request = read_as(contracts.EstimateRequest, data)
    _check_keys(list(plan_keys(request.plan, ("plan",))))
    _check_lots(request.plan, ("plan",))
    return request


def read_comparison(data: object) -> contracts.ComparisonRequest:
    """Read and check a request for a comparison; raises as `read_estimate`."""
    request = read_as(contracts.ComparisonRequest, data)
    found = [key for i, option in enumerate(request.options) for key in plan_keys(option.plan, ("options", i, "plan"))]
    _check_keys(found)
    for i, option in enumerate(request.options):
        _check_lots(option.plan, ("options", i, "plan"))
    names = [option.name for option in request.options]
    for i, name in enumerate(names):
        if name in names[:i]:
            text = f"Two options are called {name!r}; give each a name of its own."
            raise RequestRefused([FieldError(f"/options/{i}/name", "duplicate_name", text, name, "a different name")])
    return request


def read_appraisal(data: object) -> AppraisalQuestion:
    """Read and check a question about one bid; raises as `read_estimate`."""
    question = read_as(AppraisalQuestion, data)
    _check_keys(
        [
            key
            for i, project in enumerate(question.projects)
            for key in plan_keys(project.estimate.plan, ("projects", i, "estimate", "plan"))
        ]
    )
    return question


def read_as(kind: type[T], data: object) -> T:
    """Read anything as one of the strict contracts; raises RequestRefused with every fault."""
    try:
        return kind.model_validate(data)
    except ValidationError as error:
        found = [_field_error(item, kind) for item in error.errors(include_url=False)]
        # a list whose entries are wrong is also said to be too short; the entries are what to mend
        above = {entry.pointer[:end] for entry in found for end, letter in enumerate(entry.pointer) if letter == "/"}
        kept = [entry for entry in found if entry.code != "too_few" or entry.pointer not in above]
        raise RequestRefused(kept) from error


_WORDS: Final = {
    "extra_forbidden": ("unknown_key", "This key is not known here.", "one of the keys of the documentation"),
    "missing": ("missing", "This is needed.", "a value"),
    "float_type": ("not_a_number", "A number is needed.", "a number, without quotes"),
    "int_type": ("not_a_whole_number", "A whole number is needed.", "a whole number, without quotes"),
    "int_from_float": ("not_a_whole_number", "A whole number is needed.", "a whole number"),
    "string_type": ("not_text", "Text is needed.", "text in quotes"),
    "bool_type": ("not_yes_or_no", "true or false is needed.", "true or false"),
    "finite_number": ("not_finite", "The number must be finite.", "a finite number"),
    "model_type": ("not_an_object", "An object with keys is needed.", "an object, { }"),
    "model_attributes_type": ("not_an_object", "An object with keys is needed.", "an object, { }"),
    "dict_type": ("not_an_object", "An object with keys is needed.", "an object, { }"),
    "tuple_type": ("not_a_list", "A list is needed.", "a list, [ ]"),
    "date_type": ("bad_date", "A date is needed.", "YYYY-MM-DD"),
}


_DAYS: Final = {"ge": contracts.FIRST_DAY, "le": contracts.LAST_DAY}


def _field_error(item: Any, kind: type[contracts.Strict]) -> FieldError:
    """One pydantic error in our own shape and words."""
    path = tuple(part for part in item["loc"] if not isinstance(part, str) or not part.startswith("function-"))
    value, code = _shown(item.get("input")), item["type"]
    said = _said(item.get("input"))
    context = item.get("ctx", {})
    where = pointer_of(path)
    if "own" in context:  # a contract's own validator has said it all
        return FieldError(where, code, item["msg"], value, context["own"])
    if code in _WORDS:
        name, sentence, expected = _WORDS[code]
        suggestions = _near_key(str(path[-1]), path[:-1], kind) if code == "extra_forbidden" else []
        if suggestions:
            sentence += f" Did you mean {suggestions[0]}?"
        if code == "missing":
            return FieldError(where, name, f"{where.rpartition('/')[2]} is needed.", None, expected)
        return FieldError(where, name, f"{sentence} Read: {said}.", value, expected, suggestions)
    if code in {"greater_than", "greater_than_equal", "less_than", "less_than_equal"}:
        limits = {"gt": "more than", "ge": "at least", "lt": "less than", "le": "at most"}
        key = next(k for k in limits if k in context)
        limit = context[key]
        shown = _limit(limit) if isinstance(limit, int | float) else _DAYS[key].isoformat()
        expected = f"{limits[key]} {shown}"
        return FieldError(where, "out_of_range", f"Read {said}; it must be {expected}.", value, expected)
    if code == "literal_error":
        allowed = [word.strip(" '") for word in str(context.get("expected", "")).replace(" or ", ", ").split(",")]
        near = _nearest(str(value), allowed)
        hint = f" Did you mean {near[0]}?" if near else ""
        text = f"{said} is not one of {', '.join(allowed)}.{hint}"
        return FieldError(where, "unknown_word", text, value, f"one of {', '.join(allowed)}", near)
    if code in {"too_long", "string_too_long"}:
        most = context.get("max_length")
        what = "characters" if isinstance(item.get("input"), str) else "entries"
        return FieldError(where, "too_many", f"At most {most} {what} are allowed.", None, f"at most {most} {what}")
    if code in {"too_short", "string_too_short"}:
        what = "character" if isinstance(item.get("input"), str) else "entry"
        return FieldError(where, "too_few", f"At least one {what} is needed.", value, f"at least one {what}")
    if code == "value_error":
        text = str(context["error"])
        name = (
            "bad_date" if "date" in text or "isoformat" in text or "day" in text or "month" in text else "contradiction"
        )
        if name == "bad_date" and "give" not in text:
            return FieldError(
                where, name, f"Read {said}; a date that exists is needed, written YYYY-MM-DD.", value, "YYYY-MM-DD"
            )
        return FieldError(where, "contradiction", f"{text[0].upper()}{text[1:]}.", None, text)
    return FieldError(where, "invalid", f"{item['msg']}. Read: {said}.", value, item["msg"])


def _shown(value: object) -> object:
    """A value to show back: plain and short."""
    if isinstance(value, str):
        return value[:80]
    if isinstance(value, bool | int | float) or value is None:
        return value
    if isinstance(value, date):
        return value.isoformat()
    return f"a {'list' if isinstance(value, list | tuple) else 'group of keys'}"


def _said(value: object) -> str:
    """A value in a sentence, as it stood in the request."""
    if value is None or isinstance(value, bool):
        return {None: "null", True: "true", False: "false"}[value]
    shown = _shown(value)
    return repr(shown) if isinstance(value, str | int | float) else str(shown)


def _limit(number: float) -> str:
    """A limit in full figures: 1,000,000 or 0.000001."""
    return f"{number:,.10f}".rstrip("0").rstrip(".") if abs(number) < 1 else f"{number:,.10g}"


def _near_key(wrong: str, path: tuple[str | int, ...], kind: type[contracts.Strict]) -> list[str]:
    """Allowed keys near a wrong one, at the same place of the request."""
    model: Any = kind
    for part in path:
        if isinstance(part, int):
            continue
        annotation = model.model_fields.get(part)
        inner = _models_in(annotation.annotation) if annotation is not None else []
        if not inner:
            return []
        model = inner[0]
    return _nearest(wrong, list(model.model_fields))


def _models_in(annotation: Any) -> list[Any]:
    if isinstance(annotation, type) and issubclass(annotation, contracts.Strict):
        return [annotation]
    return [model for part in getattr(annotation, "__args__", ()) for model in _models_in(part)]


def _nearest(wrong: str, allowed: list[str]) -> list[str]:
    """Up to three allowed words near a wrong one."""
    return [word for word, _, _ in process.extract(wrong, allowed, limit=_SUGGESTIONS, score_cutoff=_NEAR)]


def plan_keys(plan: contracts.Plan, path: tuple[str | int, ...]) -> Iterator[tuple[str, str, tuple[str | int, ...]]]:
    """Every key a plan names: (noun table, key, path)."""

    def seed(items: tuple[contracts.SeedItem, ...] | None, at: tuple[str | int, ...]) -> Iterator[Any]:
        for i, item in enumerate(items or ()):
            if item.mix is not None:
                yield "mixes", item.mix, (*at, i, "mix")
            if item.taxon is not None:
                yield "taxa", item.taxon, (*at, i, "taxon")
            for c, content in enumerate(item.contents or ()):
                yield "taxa", content.taxon, (*at, i, "contents", c, "taxon")

    def plugs(items: tuple[contracts.PlugItem, ...] | None, at: tuple[str | int, ...]) -> Iterator[Any]:
        for i, item in enumerate(items or ()):
            yield "taxa", item.taxon, (*at, i, "taxon")

    for i, key in enumerate(plan.preparation or ()):
        yield "operations", key, (*path, "preparation", i)
    yield from seed(plan.seed, (*path, "seed"))
    yield from plugs(plan.plugs, (*path, "plugs"))
    for i, step in enumerate(plan.steps or ()):
        at = (*path, "steps", i)
        if step.operation is not None:
            yield "operations", step.operation, (*at, "operation")
        yield from seed(step.seed, (*at, "seed"))
        yield from plugs(step.plugs, (*at, "plugs"))
    for i, key in enumerate(plan.kit_to_hand):
        yield "machines", key, (*path, "kit_to_hand", i)


def lots_of(plan: contracts.Plan, path: tuple[str | int, ...]) -> Iterator[tuple[contracts.SeedItem, tuple[Any, ...]]]:
    """Every item of seed that names a lot, with its path."""
    found = [(plan.seed, (*path, "seed"))]
    found += [(step.seed, (*path, "steps", i, "seed")) for i, step in enumerate(plan.steps or ())]
    for items, at in found:
        yield from ((item, (*at, i)) for i, item in enumerate(items or ()) if item.lot is not None)


def _check_lots(plan: contracts.Plan, path: tuple[str | int, ...]) -> None:
    """Refuse lots of which nothing is said: what is in the sacks of a network is known to its own pages alone."""
    text = "Say what is in this lot: kinds, seeds in a gram, and the share alive."
    faults = [
        FieldError(pointer_of((*at, "contents")), "missing", text, None, "the contents of the lot")
        for item, at in lots_of(plan, path)
        if item.contents is None
    ]
    if faults:
        raise RequestRefused(faults)


_NOUN: Final = {"mixes": "mix", "taxa": "plant", "operations": "operation", "machines": "machine"}


def _check_keys(found: list[tuple[str, str, tuple[str | int, ...]]]) -> None:
    """Refuse unknown keys, plants that are not sown, and operations that are no preparation."""
    nouns = parameters().nouns
    errors = []
    for table, key, path in found:
        rows = nouns[table]
        noun = _NOUN[table]
        if key not in rows:
            near = _near_noun(table, key)
            hint = f" Did you mean {near[0]}?" if near else ""
            text = f"{key!r} is not a {noun} known here.{hint} The list is at /api/v1/vocabularies/."
            errors.append(FieldError(pointer_of(path), f"unknown_{noun}", text, key, f"a key of the {noun} list", near))
        elif table == "taxa" and rows[key]["role"] != "meadow":
            text = f"{rows[key]['english_name'].capitalize()} is not sown or planted: it comes by itself or is a weed."
            errors.append(FieldError(pointer_of(path), "not_for_sowing", text, key, "a plant for sowing"))
        elif table == "operations" and "preparation" in path and rows[key]["stage"] != "preparation":
            allowed = [k for k, row in rows.items() if row["stage"] == "preparation"]
            text = f"{rows[key]['label']} is not a preparation of the ground."
            errors.append(
                FieldError(pointer_of(path), "not_a_preparation", text, key, "a preparation", _nearest(key, allowed))
            )
    if errors:
        raise RequestRefused(errors)


def _near_noun(table: str, key: str) -> list[str]:
    """Keys near a wrong one, by key or by name in words."""
    rows = parameters().nouns[table]
    names: dict[str, str] = {}
    for known, row in rows.items():
        names[known.replace("_", " ")] = known
        for column in ("label", "english_name", "scientific_name"):
            if row.get(column):
                names[row[column].lower()] = known
        for synonym in (row.get("synonyms") or "").split(";"):
            if synonym.strip():
                names[synonym.strip().lower()] = known
    out: list[str] = []
    for word in _nearest(key.replace("_", " ").lower(), list(names)):
        if names[word] not in out:
            out.append(names[word])
    return out
