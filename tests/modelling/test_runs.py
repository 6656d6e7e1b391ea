"""Stored runs: made once, kept with all it takes to make them again, never changed."""

import hashlib
import json
import threading
import zlib
from concurrent.futures import ThreadPoolExecutor
from datetime import date
from typing import Any
from uuid import UUID

import numpy as np
import pytest
from django.db import IntegrityError, connection, transaction

from modelling import contracts
from modelling.arrays import packed, unpacked
from modelling.core.errors import InputError
from modelling.errors import RequestRefused
from modelling.models import ModelRun, ParameterSet, StoredForGood
from modelling.selectors import (
    StoredTextDamaged,
    reference_checksum,
    reference_content,
    run_answer_text,
    run_draws,
    run_get,
    runs_of,
)
from modelling.services import (
    canonical_text,
    estimate_now,
    random_seed_of,
    read_estimate,
    run_estimate_stored,
    runs_stored_already,
)

TODAY = date(2026, 5, 1)


def asked(area_m2: float = 180, **others: Any) -> contracts.EstimateRequest:
    return read_estimate({"site": {"area_m2": area_m2}, "draws": 500, "horizon_years": 5, **others})


@pytest.mark.django_db
def test_the_stored_answer_is_the_text_that_the_api_would_send() -> None:
    run = run_estimate_stored(asked(), today=TODAY)
    text = run_answer_text(run.public_id)
    assert text == canonical_text(estimate_now(asked(), today=TODAY))
    assert hashlib.sha256(text.encode()).hexdigest() == run.answer_checksum
    contracts.EstimateAnswer.model_validate_json(text)


@pytest.mark.django_db
def test_the_row_says_what_the_recipe_says() -> None:
    found = run_get(run_estimate_stored(asked(random_seed=7, world_seed=3), today=TODAY).public_id)
    recipe = json.loads(run_answer_text(found.public_id))["recipe"]
    assert json.loads(found.request) == recipe["inputs"]
    assert found.as_of.isoformat() == recipe["as_of"] == "2026-05-01"
    assert found.reference.checksum == recipe["reference_checksum"] == reference_checksum()
    for name in ("inputs_checksum", "random_seed", "world_seed", "draws", "release", "model_version"):
        assert getattr(found, name) == recipe[name]
    assert (found.random_seed, found.world_seed, found.draws) == (7, 3, 500)


@pytest.mark.django_db
def test_the_stored_request_asked_on_another_day_gives_the_same_run() -> None:
    run = run_estimate_stored(asked(), today=TODAY)
    again = read_estimate(json.loads(run.request))
    assert run_estimate_stored(again, today=date(2031, 1, 1)) == run
    assert run_estimate_stored(asked(), today=date(2031, 1, 1)) != run


@pytest.mark.django_db
def test_asked_again_nothing_is_worked_out(django_assert_num_queries: Any) -> None:
    run = run_estimate_stored(asked(), today=TODAY)
    with django_assert_num_queries(1):
        assert run_estimate_stored(asked(), today=TODAY) == run
    assert ModelRun.objects.count() == 1


@pytest.mark.django_db
def test_which_of_many_are_stored_is_one_query(django_assert_num_queries: Any) -> None:
    run = run_estimate_stored(asked(20), today=TODAY)
    for many in (3, 30):
        with django_assert_num_queries(1):
            found = runs_stored_already([asked(10 * n) for n in range(1, many + 1)], today=TODAY)
        assert found == [None, run.public_id] + [None] * (many - 2)


@pytest.mark.django_db
def test_a_run_of_another_release_or_of_other_tables_does_not_count() -> None:
    run = run_estimate_stored(asked(), today=TODAY)
    others = ParameterSet(checksum="0" * 64, content=b"")
    others.save()
    kept = {field.name: getattr(run, field.name) for field in run._meta.fields if field.name not in ("id", "public_id")}
    ModelRun(**kept | {"release": "0.0.1"}).save()
    ModelRun(**kept | {"reference": others}).save()
    with pytest.raises(IntegrityError), transaction.atomic():
        ModelRun(**kept).save()
    assert runs_of([run.inputs_checksum]) == {run.inputs_checksum: run.public_id}


@pytest.mark.django_db
def test_the_draws_kept_are_the_first_500_of_the_answer_itself() -> None:
    run = run_estimate_stored(asked(), today=TODAY)
    draws = run_draws(run.public_id)
    assert sorted(draws) == ["setup_cash_gbp", "species_per_m2_as_usual", "species_per_m2_if_kept"]
    assert {(array.dtype, array.shape) for array in draws.values()} == {(np.dtype(np.float32), (500,))}
    # 500 draws were asked for, so what is kept has the mean that the answer gives, to float32
    cash = json.loads(run_answer_text(run.public_id))["cost"]["setup_cash"]["mean_gbp"]
    assert float(draws["setup_cash_gbp"].mean(dtype=float)) == pytest.approx(cash, abs=0.01)
    longer = run_draws(run_estimate_stored(asked(draws=800), today=TODAY).public_id)
    assert longer["setup_cash_gbp"].shape == (500,)


def test_draws_come_back_as_they_were_packed_in_the_same_bytes() -> None:
    given = {"b": np.linspace(0, 1, 500, dtype=np.float32), "a": np.arange(500, dtype=np.float32)}
    found = unpacked(memoryview(packed(given)))
    assert packed(given) == packed(given)
    assert list(found) == ["b", "a"]
    for name, array in given.items():
        np.testing.assert_array_equal(found[name], array)


@pytest.mark.django_db
def test_a_stored_run_cannot_be_changed_or_deleted() -> None:
    run = run_estimate_stored(asked(), today=TODAY)
    text = run_answer_text(run.public_id)
    run.answer = "{}"
    for change in (
        run.save,
        run.delete,
        lambda: run.save(update_fields=["answer"]),
        lambda: ModelRun.objects.update(answer="{}"),
        lambda: ModelRun.objects.bulk_update([run], ["answer"]),
        ModelRun.objects.all().delete,
        run.reference.save,
        run.reference.delete,
    ):
        with pytest.raises(StoredForGood, match="a stored row is never"), transaction.atomic():
            change()
    assert run_answer_text(run.public_id) == text


@pytest.mark.django_db
def test_a_row_altered_behind_our_back_is_not_served() -> None:
    run = run_estimate_stored(asked(), today=TODAY)
    with connection.cursor() as cursor:
        cursor.execute("UPDATE modelling_modelrun SET answer = answer || ' ' WHERE id = %s", [run.pk])
    with pytest.raises(StoredTextDamaged, match=f"run {run.public_id} has the checksum"):
        run_answer_text(run.public_id)


@pytest.mark.django_db
def test_an_unknown_run_is_said_to_be_so() -> None:
    for read in (run_get, run_answer_text, run_draws):
        with pytest.raises(ModelRun.DoesNotExist):
            read(UUID(int=0))


@pytest.mark.django_db
def test_the_tables_are_stored_once_as_the_bytes_of_their_checksum() -> None:
    first, second = run_estimate_stored(asked(10), today=TODAY), run_estimate_stored(asked(20), today=TODAY)
    (stored,) = ParameterSet.objects.all()
    assert first.reference == second.reference == stored
    content = zlib.decompress(stored.content)
    assert content == reference_content()
    assert hashlib.sha256(content).hexdigest() == stored.checksum


@pytest.mark.django_db
def test_too_few_draws_to_keep_are_refused_and_a_plan_that_cannot_be_too() -> None:
    with pytest.raises(RequestRefused) as refused:
        run_estimate_stored(asked(draws=499), today=TODAY)
    (error,) = refused.value.errors
    assert (error.pointer, error.code, error.expected) == ("/draws", "out_of_range", "at least 500")
    with pytest.raises(RequestRefused) as refused:
        run_estimate_stored(asked(plan={"steps": more_than_the_whole()}), today=TODAY)
    assert isinstance(refused.value.__cause__, InputError)
    assert ModelRun.objects.count() == 0


def more_than_the_whole() -> list[dict[str, Any]]:
    seed = [{"mix": "neutral_meadow", "kg": 1}]
    return [{"on": "2026-09-20", "seed": seed, "area_share": 0.6, "zone": zone} for zone in ("bank", "hollow")]


@pytest.mark.django_db(transaction=True)
def test_nothing_is_worked_out_while_a_transaction_is_open() -> None:
    with pytest.raises(RuntimeError, match="durable"), transaction.atomic():
        run_estimate_stored(asked(), today=TODAY)
    assert ModelRun.objects.count() == 0


@pytest.mark.django_db(transaction=True)
def test_rivals_who_ask_the_same_get_the_same_row() -> None:
    start = threading.Barrier(6)

    def ask(_: int) -> UUID:
        try:
            start.wait()
            return run_estimate_stored(asked(), today=TODAY).public_id
        finally:
            connection.close()

    with ThreadPoolExecutor(6) as pool:
        found = set(pool.map(ask, range(6)))
    assert found == {ModelRun.objects.get().public_id}
    assert ParameterSet.objects.count() == 1


def test_the_random_seed_of_a_project_is_fixed_by_its_public_id() -> None:
    # sha256sum of "random_seed", a zero byte and sixteen zero bytes begins with the eight bytes below
    digest = hashlib.sha256(b"random_seed" + bytes(17)).hexdigest()
    assert random_seed_of(UUID(int=0)) == int(digest[:16], 16) // 2
    seeds = {random_seed_of(UUID(int=n)) for n in range(1000)}
    assert len(seeds) == 1000
    assert all(0 <= seed < 2**63 for seed in seeds)
    # what the database and a request can hold
    assert asked(random_seed=max(seeds)).random_seed == max(seeds)
