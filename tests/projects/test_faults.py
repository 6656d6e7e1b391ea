"""What is accepted stays, whatever falls over: Redis away, PostgreSQL restarted under load."""

import os
import pwd
import shutil
import signal
import socket
import subprocess
import sys
import threading
import time
from contextlib import contextmanager
from pathlib import Path

import psycopg
import pytest
import redis

from projects.models import Job
from projects.rules.access import SERVER
from projects.selectors.jobs import job_get
from tests.children import child, environment
from tests.projects.services.test_job_rivals import CREATE, wait_until

ROOT = Path(__file__).parents[2]


def free_port():
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        return found.getsockname()[1]


def answers(port):
    try:
        socket.create_connection(("127.0.0.1", port), timeout=1).close()
    except OSError:
        return False
    return True


@contextmanager
def running(words, port, **how):
    """A server of the test's own on a port of its own."""
    with subprocess.Popen(words, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, **how) as process:
        try:
            wait_until(lambda: answers(port), seconds=30)
            yield process
        finally:
            process.terminate()


@contextmanager
def redis_server(port, folder):
    words = ["redis-server", "--port", str(port), "--bind", "127.0.0.1", "--save", "", "--dir", str(folder)]
    with running(words, port) as process:
        yield process


# ------------------------------------------------------------------ Redis

READ = """
import django; django.setup()
from django.test import Client
addresses = ("/county/", "/api/v1/sites/", "/api/v1/jobs/", "/health/live", "/health/ready")
print([Client().get(address).status_code for address in addresses])
print(Client().post("/api/v1/estimates/", {"site": {"area_m2": 50}, "draws": 200}, "application/json").status_code)
"""


@pytest.mark.redis
@pytest.mark.django_db(transaction=True)
def test_with_redis_gone_reading_goes_on_and_jobs_wait_to_be_sent_later(tmp_path):
    port = free_port()
    url = f"redis://127.0.0.1:{port}/0"
    with redis_server(port, tmp_path):
        pass
    # gone: what needs no Redis answers, the probe says so, and a job is accepted
    with child_told("-c", READ, REDIS_URL=url) as told:
        # a list of jobs is nobody's without a token, and empty
        assert told.splitlines() == ["[200, 200, 200, 200, 503]", "200"]
    with child("-c", CREATE, REDIS_URL=url) as process:
        _, log = process.communicate(timeout=60)
    assert process.returncode == 0, log
    job = Job.objects.get()
    assert job.state == "waiting"
    # back, and empty: the clock's sweep finds what no message tells of
    words = ("-m", "celery", "-A", "config", "worker", "-c", "1", "--beat", "--schedule", str(tmp_path / "beat"))
    with (
        redis_server(port, tmp_path),
        redis.Redis(port=port) as server,
        child(*words, "--without-mingle", "--without-gossip", REDIS_URL=url) as worker,
    ):
        assert server.dbsize() == 0
        wait_until(lambda: job_get(SERVER, job.public_id).state == "done", worker, seconds=120)
        os.killpg(worker.pid, signal.SIGTERM)
        worker.communicate(timeout=30)
    assert job_get(SERVER, job.public_id).attempts == 1


@contextmanager
def child_told(*words, **others):
    """What Python says with these words."""
    done = subprocess.run(
        [sys.executable, *words], cwd=ROOT, env=environment(**others), capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    yield done.stdout


# ------------------------------------------------------------------ PostgreSQL

WRITE = """
import sys, django; django.setup()
from django.db import Error, connection, transaction
from django.utils import timezone
from projects.services.jobs import job_create
while True:
    try:
        with transaction.atomic():
            job = job_create(kind="estimate_batch", payload=['{"site": {"area_m2": 10}}'], actor_label="a test",
                             now=timezone.now())
        print("accepted", job.public_id, flush=True)
    except Error:
        print("refused", flush=True)
        connection.close()
"""


def postgresql_folder():
    return max(Path("/usr/lib/postgresql").glob("*/bin"), key=lambda path: int(path.parent.name), default=None)


class Cluster:
    """A PostgreSQL of the test's own. It refuses to run as root, so then somebody else runs it."""

    def __init__(self, folder):
        self.port, self.folder, self.bin = free_port(), folder / "cluster", postgresql_folder()
        assert self.bin is not None, "This test needs PostgreSQL's server programs."
        self.as_whom = {}
        if os.geteuid() == 0:
            nobody = pwd.getpwnam("nobody")
            self.as_whom = {"user": nobody.pw_uid, "group": nobody.pw_gid, "extra_groups": []}
            self.folder.mkdir()
            os.chown(self.folder, nobody.pw_uid, nobody.pw_gid)
        self.run("initdb", "-D", self.folder, "-U", "forbcast", "--auth=trust", "--no-sync", "-E", "UTF8", "--locale=C")
        self.start()
        with psycopg.connect(self.url("postgres"), autocommit=True) as connection:
            connection.execute("CREATE DATABASE forbcast")

    def url(self, name="forbcast"):
        return f"postgres://forbcast@127.0.0.1:{self.port}/{name}"

    def run(self, program, *words):
        subprocess.run(
            [self.bin / program, *map(str, words)], check=True, cwd="/", stdout=subprocess.DEVNULL, **self.as_whom
        )

    def start(self):
        told = f"-p {self.port} -c listen_addresses=127.0.0.1 -c unix_socket_directories={self.folder}"
        self.run("pg_ctl", "-D", self.folder, "-w", "-l", self.folder / "log", "-o", told, "start")

    def stop(self, how):
        self.run("pg_ctl", "-D", self.folder, "-w", "-m", how, "stop")


@pytest.fixture
def cluster():
    # pytest's own folders are for their owner only, and the server may be run by somebody else
    folder = Path("/tmp") / f"forbcast-cluster-{os.getpid()}"  # noqa: S108 - removed below, name is this process's
    folder.mkdir(mode=0o755)
    made = None
    try:
        made = Cluster(folder)
        yield made
    finally:
        if made is not None:
            made.stop("immediate")
        shutil.rmtree(folder)


@pytest.mark.postgres
def test_what_was_accepted_before_a_crash_under_load_is_there_afterwards(cluster):
    env = {"DATABASE_URL": cluster.url(), "REDIS_URL": ""}
    subprocess.run(
        [sys.executable, "manage.py", "migrate", "-v0"], cwd=ROOT, env=os.environ | env | SETTINGS, check=True
    )
    writers = [
        subprocess.Popen(
            [sys.executable, "-c", WRITE], cwd=ROOT, env=os.environ | env | SETTINGS, stdout=subprocess.PIPE, text=True
        )
        for _ in range(2)
    ]
    told = [[] for _ in writers]

    def listen(process, lines):
        lines.extend(process.stdout)

    threads = [threading.Thread(target=listen, args=pair) for pair in zip(writers, told, strict=True)]
    try:
        for thread in threads:
            thread.start()
        enough(told, "accepted", 20)
        # as if the machine lost power: nobody is asked to finish
        cluster.stop("immediate")
        enough(told, "refused", 1)
        cluster.start()
        before = count(told, "accepted")
        enough(told, "accepted", before + 20)
    finally:
        for process in writers:
            process.kill()
            process.wait()
        for thread in threads:
            thread.join()
        for process in writers:
            process.stdout.close()
    accepted = {line.split()[1] for lines in told for line in lines if line.startswith("accepted") and "\n" in line}
    assert len(accepted) >= 40
    with psycopg.connect(cluster.url()) as connection:
        stored = {str(row[0]) for row in connection.execute("SELECT public_id FROM projects_job")}
    assert accepted <= stored
    # what was killed between its commit and its word is there too, at most one for each writer
    assert len(stored - accepted) <= 2 * len(writers)


SETTINGS = {"DJANGO_SETTINGS_MODULE": "config.settings.test"}


def count(told, word):
    return sum(line.startswith(word) for lines in told for line in list(lines))


def enough(told, word, number, seconds=60):
    end = time.monotonic() + seconds
    while count(told, word) < number:
        assert time.monotonic() < end, f"{word}: {count(told, word)} of {number} in {seconds} s"
        time.sleep(0.05)
