"""How fast lists and pages are in a large country: ``DATABASE_URL=... .venv/bin/python -m tests.benchmarks.scale``.

100 networks, 100,000 projects, five years of returns and ten million records of plants (``--networks``, ``--projects``,
``--years``, ``--records`` say otherwise), made by COPY in a scratch PostgreSQL database that is dropped. Then whole
calls through Django in one process, one after the other, as a visitor, as one county's coordinator and as a group's
lead. Needs some 25 GB of disk at full size.
"""

import sys
from argparse import ArgumentParser, Namespace

from tests.benchmarks.shared import INSIDE, machine, run_inside, say


def arguments() -> Namespace:
    parser = ArgumentParser()
    parser.add_argument(INSIDE, action="store_true")
    parser.add_argument("--small", action="store_true", help="as many as a test can wait for")
    parser.add_argument("--filled", action="store_true", help="with --inside: this database was filled before")
    parser.add_argument("--networks", type=int, default=100)
    parser.add_argument("--projects", type=int, default=100_000)
    parser.add_argument("--years", type=int, default=5)
    parser.add_argument("--records", type=int, default=10_000_000)
    parser.add_argument("--runs", type=int, default=20)
    found = parser.parse_args()
    if found.small:
        found.networks, found.projects, found.years, found.records, found.runs = 2, 40, 2, 800, 1
    return found


def inside() -> None:
    import django

    django.setup()

    import os
    import statistics
    import time
    from datetime import timedelta

    from django.db import connection
    from django.test import Client
    from django.test.utils import CaptureQueriesContext
    from django.utils import timezone

    from projects.models import ApiToken, Group, MeadowProject, OutcomeReturn, User
    from projects.selectors.people import digest_of
    from tests.benchmarks import nation, rows

    asked = arguments()
    size = nation.Size(asked.networks, asked.projects, asked.years, asked.records)
    if not asked.filled:
        say(f"\n{rows.new_database()}, {size}")
        if connection.vendor != "postgresql":
            raise SystemExit("This benchmark needs DATABASE_URL to name a PostgreSQL server.")
        nation.fill(size)

    # a county in the middle, and a group, a project and a return of it
    number = size.networks // 2 + 1
    slug = nation.slug(number)
    group = Group.objects.filter(network__slug=slug).order_by("pk").first()
    project = MeadowProject.objects.filter(group=group).order_by("pk").first()
    outcome = OutcomeReturn.objects.filter(project=project).order_by("-year").first()
    assert group is not None
    assert project is not None
    assert outcome is not None
    network, year = group.network, outcome.year
    coordinator = User.objects.get(pk=number)
    lead = group.memberships.get().user
    now = timezone.now()

    def caller(user: User) -> Client:
        secret = f"forb_scale_{user.pk}"
        ApiToken.objects.get_or_create(
            digest=digest_of(secret),
            defaults={
                "user": user, "name": "Benchmark", "scopes": ["read", "exact_places"], "begins": secret[:10],
                "created_at": now, "expires_at": now + timedelta(days=1),
            },
        )  # fmt: skip
        return Client(headers={"authorization": f"Bearer {secret}"})

    def signed_in(user: User) -> Client:
        client = Client()
        client.force_login(user)
        return client

    lists = [
        "networks/?limit=100", "groups/?limit=100", "sites/?limit=100", "sites/?limit=100&order=newest",
        "projects/?limit=100", "projects/?limit=100&order=newest", "rounds/", "awards/", "open-grants/",
        f"sites/?network={network.public_id}&limit=100", f"projects/?network={network.public_id}&limit=100",
        f"projects/?network={network.public_id}&stage=sown&limit=100", f"sites/geojson/?network={network.public_id}",
    ]  # fmt: skip
    own = [
        "returns/?limit=100", "returns/?limit=100&order=newest", f"returns/?year={year}&limit=100",
        f"returns/{outcome.public_id}/",
        f"returns/{outcome.public_id}/result/", f"returns/{outcome.public_id}/versions/",
        f"projects/{project.public_id}/diary/",
        f"projects/{project.public_id}/plans/", "audit/?limit=100", "jobs/", "uploads/", "bids/", "me/",
        f"groups/{group.public_id}/members/",
    ]  # fmt: skip
    county = ["/county/", f"/county/{slug}/", f"/county/{slug}/sites/", f"/county/{slug}/map.json"]
    inner = [
        "/home/", f"/county/{slug}/returns/", f"/county/{slug}/returns/?year={year}", f"/groups/{group.public_id}/",
        f"/sites/{project.site.public_id}/", f"/projects/{project.public_id}/", f"/projects/{project.public_id}/diary/",
        f"/returns/{outcome.public_id}/",
    ]  # fmt: skip
    calls = [("visitor", Client(), f"/api/v1/{address}") for address in lists]
    calls += [("visitor", Client(), address) for address in county]
    for who, person in (("coordinator", coordinator), ("lead", lead)):
        with_token, with_session = caller(person), signed_in(person)
        calls += [(who, with_token, f"/api/v1/{address}") for address in [*lists, *own]]
        calls += [(who, with_session, address) for address in county + inner]

    say(f"\nwhole calls, p50 and p95 of {asked.runs}, load average {os.getloadavg()[0]:.2f}")
    slow = []
    for who, client, address in calls:
        first = time.perf_counter()
        with CaptureQueriesContext(connection) as counted:
            answer = client.get(address)
        first = (time.perf_counter() - first) * 1000
        # the next call forgets them
        queries = counted.captured_queries
        if answer.status_code != 200:
            say(f"{who}, GET {address} answered {answer.status_code}")
            continue
        taken = []
        for _ in range(asked.runs if first < 2_000 else 3):
            start = time.perf_counter()
            client.get(address)
            taken.append((time.perf_counter() - start) * 1000)
        taken.sort()
        p50, p95 = statistics.median(taken), taken[min(int(len(taken) * 0.95), len(taken) - 1)]
        told = f"{who}, GET {address}: p50 {p50:.1f} ms, p95 {p95:.1f}, {len(queries)} queries"
        say(f"{told}, {len(answer.getvalue()) / 1000:.0f} kB")
        if p50 > 250:
            worst = sorted(queries, key=lambda query: -float(query["time"]))[:3]
            slow.append((told, [f"    {query['time']} s: {query['sql'][:600]}" for query in worst]))
    if slow:
        say("\nabove 250 ms, with what they ask longest for")
        for told, asked_for in slow:
            say("\n".join([told, *asked_for]))
    say(f"load average {os.getloadavg()[0]:.2f} at the end")


def main() -> None:
    if INSIDE in sys.argv:
        inside()
        return
    arguments()
    say(machine())
    run_inside("tests.benchmarks.scale", every=False)


if __name__ == "__main__":
    main()
