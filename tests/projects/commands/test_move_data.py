"""Moving from the embedded database to a server's: every row of every kind arrives as it was, or none does."""

import subprocess
import sys
from pathlib import Path
from urllib.parse import urlsplit

import psycopg
import pytest
from django.conf import settings
from django.core.management import CommandError, call_command
from psycopg import sql

from tests.children import database_url, environment

ROOT = Path(__file__).parents[3]
#: a county with a row of nearly every kind in it, as the tests of access make it
FILL = """
import django; django.setup()
from projects.services import moving
from tests.projects.api.test_access_of_routes import Scene
Scene()
print(sum(model._base_manager.count() for model in moving.tables()))
"""
COUNT = """
import django; django.setup()
from projects.models import Network
from projects.services import moving
print(sum(model._base_manager.count() for model in moving.tables()))
# a new key does not meet one that came over
print(Network.objects.create(name="Another", slug="another").pk > 1)
"""


def run(*words, url, folder):
    return subprocess.run(
        [sys.executable, *words],
        cwd=ROOT,
        env=environment(DATABASE_URL=url, FORBCAST_DATA_DIR=str(folder), REDIS_URL=""),
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=False,
    )


def well(*words, **more):
    done = run(*words, **more)
    assert done.returncode == 0, done.stderr
    return done.stdout.split("\n")


@pytest.fixture
def embedded(tmp_path):
    url = f"sqlite:///{tmp_path}/forbcast.sqlite3"
    well("manage.py", "migrate", "-v0", url=url, folder=tmp_path)
    return url, int(well("-c", FILL, url=url, folder=tmp_path)[-2])


@pytest.fixture
def server(db):
    """A new database beside the test's own."""
    name = f"{settings.TEST_PREFIX.replace('-', '_')}_moved"
    url = database_url()
    with psycopg.connect(url, autocommit=True) as connection:
        connection.execute(sql.SQL("CREATE DATABASE {}").format(sql.Identifier(name)))
        yield urlsplit(url)._replace(path=f"/{name}").geturl()
        connection.execute(sql.SQL("DROP DATABASE {} WITH (FORCE)").format(sql.Identifier(name)))


@pytest.mark.postgres
def test_every_row_arrives_and_nothing_arrives_twice(embedded, server, tmp_path):
    _, rows = embedded
    assert rows > 100
    file = str(tmp_path / "forbcast.sqlite3")
    unready = run("manage.py", "move_data", file, url=server, folder=tmp_path)
    assert unready.returncode == 1
    assert "not migrated alike" in unready.stderr
    well("manage.py", "migrate", "-v0", url=server, folder=tmp_path)
    told = well("manage.py", "move_data", file, url=server, folder=tmp_path)
    assert told[-2].startswith(f"{rows:,} rows of ")
    again = run("manage.py", "move_data", file, url=server, folder=tmp_path)
    assert again.returncode == 1
    assert "has rows already" in again.stderr
    assert well("-c", COUNT, url=server, folder=tmp_path)[-3:-1] == [str(rows), "True"]


def test_a_file_that_is_not_there_is_told():
    with pytest.raises(CommandError, match="There is no file nowhere"):
        call_command("move_data", "nowhere.sqlite3")
