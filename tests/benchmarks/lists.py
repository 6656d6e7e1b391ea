"""How long lists and the county's pages take, by hand: ``.venv/bin/python -m tests.benchmarks.lists``.

500 open sites with a project each, in a scratch SQLite database, and in a scratch PostgreSQL database if DATABASE_URL
names a server. Whole calls through Django in one process, one after the other, as a visitor and as the coordinator
(with a token or a session), beside a view that returns a JSON of as many bytes and does nothing else. Ends with an
error if a call asks the database more often for 500 sites than for 50.
"""

import sys

from tests.benchmarks.shared import INSIDE, machine, median_ms, run_inside, say

SMALL = "--small" in sys.argv
SITES = 5 if SMALL else 500
RUNS = 1 if SMALL else 30
SLUG = "saltmere"
API = ("/api/v1/sites/?limit=100", "/api/v1/projects/?limit=100")
PAGES = (f"/county/{SLUG}/sites/", f"/county/{SLUG}/", f"/county/{SLUG}/map.json")


def inside() -> None:
    import django

    django.setup()

    from datetime import timedelta

    from django.db import connection
    from django.http import HttpRequest, JsonResponse
    from django.test import Client
    from django.test.utils import CaptureQueriesContext
    from django.urls import path
    from django.utils import timezone

    from config import urls
    from projects.models import ApiToken
    from projects.selectors.people import digest_of
    from tests.benchmarks import rows

    def bare(request: HttpRequest, size: int) -> JsonResponse:
        return JsonResponse({"text": "x" * (size - len('{"text": ""}'))})

    urls.urlpatterns.append(path("bare/<int:size>/", bare))
    database = rows.new_database()
    network, coordinator = rows.network(SLUG)
    now = timezone.now()
    ApiToken.objects.create(
        user=coordinator,
        name="Benchmark",
        scopes=["read", "exact_places"],
        digest=digest_of("forb_benchmark"),
        begins="forb_bench",
        created_at=now,
        expires_at=now + timedelta(days=1),
    )
    signed_in = Client()
    signed_in.force_login(coordinator)
    with_token = Client(headers={"authorization": "Bearer forb_benchmark"})
    calls = [("visitor", Client(), address) for address in API + PAGES]
    calls += [("coordinator", with_token, address) for address in API]
    calls += [("coordinator", signed_in, address) for address in PAGES]

    def get(client: Client, address: str) -> int:
        answer = client.get(address)
        if answer.status_code != 200:
            raise SystemExit(f"GET {address} answered {answer.status_code}")
        return len(answer.content)

    def queries() -> list[int]:
        found = []
        for _, client, address in calls:
            get(client, address)
            with CaptureQueriesContext(connection) as asked:
                get(client, address)
            found.append(len(asked))
        return found

    few = max(SITES // 10, 1)
    rows.grow(network, few)
    before = queries()
    rows.grow(network, SITES - few)
    after = queries()
    say(f"\n{database}, {SITES} open sites with a project each, p50 (min to max) of {RUNS}")
    api: dict[str, float] = {}
    for (who, client, address), number in zip(calls, after, strict=True):
        size = get(client, address)
        taken = median_ms(lambda client=client, address=address: get(client, address), RUNS)
        floor = median_ms(lambda client=client, size=size: get(client, f"/bare/{size}/"), RUNS)
        line = (
            f"{who}, GET {address}: {taken[0]:.2f} ms ({taken[1]:.2f} to {taken[2]:.2f}), "
            f"{number} queries, {size / 1000:.0f} kB; "
            f"bare {floor[0]:.2f} ms ({floor[1]:.2f} to {floor[2]:.2f}), {taken[0] / floor[0]:.0f} x"
        )
        if address == API[0]:
            api[who] = taken[0]
        elif address in PAGES:
            line += f"; {taken[0] / api[who]:.1f} x the API's sites"
        say(line)
    grown = [
        f"{who}, GET {address}: {early} queries for {few} sites, {late} for {SITES}"
        for (who, _, address), early, late in zip(calls, before, after, strict=True)
        if early != late
    ]
    if grown:
        raise SystemExit("Queries grow with rows.\n" + "\n".join(grown))
    say(f"as many queries for {few} sites as for {SITES}")


def main() -> None:
    if INSIDE in sys.argv:
        inside()
        return
    say(machine())
    run_inside("tests.benchmarks.lists", every=True)


if __name__ == "__main__":
    main()
