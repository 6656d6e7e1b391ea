"""What holds for every test. Imports no Django, so that tests/core also runs beside NumPy and SciPy alone."""

import ipaddress
import os
import socket

import pytest
from hypothesis import settings

# The same examples every time, so that the gate says yes or no to a commit and not to luck;
# FORBCAST_HYPOTHESIS=searching looks for new ones.
settings.register_profile("steady", derandomize=True, deadline=None)
settings.register_profile("searching", deadline=None, max_examples=1000)
settings.load_profile(os.environ.get("FORBCAST_HYPOTHESIS", "steady"))

_connect = {name: getattr(socket.socket, name) for name in ("connect", "connect_ex")}


class NetworkBlocked(RuntimeError):
    """A test tried to reach another machine."""


def _is_here(host: str) -> bool:
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"


def _guarded(name):
    def connect(self, address):
        if self.family in (socket.AF_INET, socket.AF_INET6) and not _is_here(address[0]):
            raise NetworkBlocked(f"A test tried to reach {address!r}; tests speak to this machine only.")
        return _connect[name](self, address)

    return connect


@pytest.fixture(scope="session")
def django_db_setup(django_db_setup, django_db_blocker):
    """At the end, let go of the test database: the live server's idle threads may still hold it."""
    yield
    from django.db import connection

    if connection.vendor == "postgresql":
        with django_db_blocker.unblock(), connection.cursor() as cursor:
            cursor.execute(
                "SELECT pg_terminate_backend(pid) FROM pg_stat_activity"
                " WHERE datname = current_database() AND pid <> pg_backend_pid()"
            )


def pytest_configure():
    for name in _connect:
        setattr(socket.socket, name, _guarded(name))


def pytest_unconfigure():
    for name, original in _connect.items():
        setattr(socket.socket, name, original)


@pytest.hookimpl(wrapper=True, tryfirst=True)
def pytest_runtest_makereport(item, call):
    """With FORBCAST_NO_SKIPS set, a test that did not run is a failure."""
    report = yield
    if os.environ.get("FORBCAST_NO_SKIPS") and report.skipped:
        report.outcome = "failed"
        report.longrepr = f"{item.nodeid} did not run, and this run allows no skips: {report.longrepr}"
    return report


@pytest.hookimpl(wrapper=True, tryfirst=True)
def pytest_make_collect_report(collector):
    """The same for a whole file that bows out while it is read."""
    report = yield
    if os.environ.get("FORBCAST_NO_SKIPS") and report.skipped:
        report.outcome = "failed"
        report.longrepr = f"{collector.nodeid} did not run, and this run allows no skips: {report.longrepr}"
    return report
