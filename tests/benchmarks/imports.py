"""How fast sheets come in, by hand: ``DATABASE_URL=... .venv/bin/python -m tests.benchmarks.imports``.

100,000 rows, a plant in a quadrat each, of 100 meadows of a county with 25 in a file, through the services that the
pages and the API call, one after the other in this process: read, understood row by row, checked, accepted, stored
and judged. Beside it PostgreSQL's own COPY of the same 100,000 records into the same table, with its keys and indexes.
In a scratch database that is dropped: in PostgreSQL if DATABASE_URL names a server, else in SQLite without COPY. With
``--profile`` it tells where the time goes.
"""

import sys

from tests.benchmarks.shared import INSIDE, machine, run_inside, say

SMALL = "--small" in sys.argv
MEADOWS = 4 if SMALL else 100
MEADOWS_A_FILE = 2 if SMALL else 25
QUADRATS = 2 if SMALL else 50
PLANTS = 3 if SMALL else 20


def inside() -> None:
    import cProfile
    import os
    import pstats
    import time
    from collections import Counter
    from collections.abc import Iterator

    import django

    django.setup()

    from django.db import connection
    from django.utils import timezone

    from modelling.selectors import parameters
    from projects.contracts.uploads import UploadAccept, UploadAsked
    from projects.models import MeadowProject, TaxonRecord
    from projects.selectors.actors import actor_of
    from projects.services import uploads
    from tests.benchmarks import rows

    database = rows.new_database()
    network, coordinator = rows.network("saltmere")
    rows.grow(network, MEADOWS)
    actor, now = actor_of(coordinator), timezone.now()
    year = timezone.localdate(now).year - 1
    taxa = [row["english_name"] for row in parameters().nouns["taxa"].values() if row["life_form"] != "several"]
    projects = list(MeadowProject.objects.order_by("pk"))
    count = MEADOWS * QUADRATS * PLANTS

    def lines(some: list[MeadowProject]) -> Iterator[str]:
        yield "Meadow,Date,Quadrat,Plant,Cover %"
        for m, project in enumerate(some):
            for q in range(QUADRATS):
                for p in range(PLANTS):
                    name = taxa[(m * 7 + q * 3 + p) % len(taxa)].replace(",", "")
                    yield f"{project.public_id},{year}-07-{1 + m % 28:02},Q{q + 1},{name},{1 + (q * p + m) % 90}"

    files = [
        "\n".join(lines(projects[start : start + MEADOWS_A_FILE])).encode()
        for start in range(0, MEADOWS, MEADOWS_A_FILE)
    ]
    taken: Counter[str] = Counter()
    profile = cProfile.Profile()
    if "--profile" in sys.argv:
        profile.enable()
    start = time.perf_counter()
    for data in files:
        asked = UploadAsked(year=year, filename="county.csv")
        begun = time.perf_counter()
        upload, reading = uploads.upload_create(actor=actor, aim=network, asked=asked, data=data, now=now)
        read = time.perf_counter()
        uploads.upload_accept(
            actor=actor, public_id=upload.public_id, asked=UploadAccept(preview=reading.preview), now=now
        )
        taken["read, understood and checked"] += read - begun  # type: ignore[assignment]
        taken["understood again, accepted, stored and judged"] += time.perf_counter() - read  # type: ignore[assignment]
    seconds = time.perf_counter() - start
    profile.disable()
    stored = TaxonRecord.objects.count()
    if stored != count:
        raise SystemExit(f"{stored} records are stored instead of {count}")
    say(f"\n{database}, {count:,} rows of {MEADOWS} meadows in {len(files)} files")
    say(f"imported in {seconds:.1f} s, {count / seconds:,.0f} rows a second")
    for what, part in taken.items():
        say(f"  {what}: {part:.1f} s")
    if "--profile" in sys.argv:
        pstats.Stats(profile).sort_stats("cumulative").print_stats(45)
    if connection.vendor == "postgresql":
        columns = [field.column for field in TaxonRecord._meta.concrete_fields if field.column != "id"]
        named = ", ".join(f'"{column}"' for column in columns)
        table = TaxonRecord._meta.db_table
        values = list(TaxonRecord.objects.order_by("pk").values_list(*[c.removesuffix("_id") for c in columns]))
        TaxonRecord.objects.all().delete()
        start = time.perf_counter()
        with connection.cursor() as cursor, cursor.copy(f"COPY {table} ({named}) FROM STDIN") as copy:
            for row in values:
                copy.write_row(row)
        copied = time.perf_counter() - start
        say(f"COPY of the same records: {copied:.2f} s, {count / copied:,.0f} rows a second")
        say(f"the import takes {seconds / copied:.0f} x COPY")
    say(f"load average {os.getloadavg()[0]:.2f} at the end")


def main() -> None:
    if INSIDE in sys.argv:
        inside()
        return
    say(machine())
    run_inside("tests.benchmarks.imports", every=False)


if __name__ == "__main__":
    main()
