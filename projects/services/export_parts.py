"""Files made in parts, so that a worker that is killed takes up where it stopped, and no half file is ever shown."""

from __future__ import annotations

import errno
import hashlib
import os
import shutil
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import IO, Any, Final, Protocol

import orjson

from projects.formats.columns import TABLES, Row
from projects.rules.exports import PART
from projects.selectors.exports import no_longer_shown, sites_shown
from projects.selectors.records import Told, chunks

_FULL: Final = frozenset({errno.ENOSPC, errno.EDQUOT, errno.EFBIG})
_DATES: Final[Mapping[str, frozenset[str]]] = {
    table: frozenset(column.name for column in columns if column.kind == "date") for table, columns in TABLES.items()
}


class NoRoom(Exception):
    """The disk is full."""


class ChangedMeanwhile(Exception):
    """Something that is told may not be shown any more as it was when the work began."""


class Hold(Protocol):
    """What the making of a file asks of its worker's lease."""

    def progress(self, done: int) -> None:
        """Say how much is done."""

    def hand_back_when_time_is_up(self) -> None:
        """Stop here if the slice is over."""


@dataclass(frozen=True)
class Made:
    """A file that is whole."""

    rows: int
    size_bytes: int
    sha256: str


class Parts:
    """Rows of one job, kept in a folder part by part until the file is whole."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def plan(self, make: Callable[[], dict[str, list[int]]]) -> dict[str, list[int]]:
        """Which keys of which tables are to be told, fixed when the work first began."""
        path = self.folder / "plan.json"
        if path.exists():
            keys: dict[str, list[int]] = orjson.loads(path.read_bytes())["keys"]
            return keys
        keys = make()
        sites: dict[str, int] = {}
        for table, found in keys.items():
            sites |= sites_shown(table, found)
        with no_half(path) as file:
            file.write(orjson.dumps({"keys": keys, "sites": sites}))
        return keys

    @property
    def sites(self) -> dict[str, int]:
        """The sites that are told of, each with the side of the square it was shown by when the work began."""
        sites: dict[str, int] = orjson.loads((self.folder / "plan.json").read_bytes())["sites"]
        return sites

    def fill(
        self,
        keys: Mapping[str, Sequence[int]],
        rows: Callable[[str, Sequence[int]], Iterator[Told]],
        lease: Hold,
        total: int,
    ) -> None:
        """Write the parts that are not there yet, telling how far it has come after each."""
        done = 0
        for table, found in keys.items():
            for number, chunk in enumerate(chunks(found, PART)):
                path = self.folder / f"{table}-{number:06d}.jsonl"
                if not path.exists():
                    with no_half(path) as file:
                        for told in rows(table, chunk):
                            file.write(orjson.dumps(told, option=orjson.OPT_APPEND_NEWLINE))
                done += len(chunk)
                lease.progress(min(done, total))
                lease.hand_back_when_time_is_up()

    def rows(self) -> Iterator[Told]:
        """All rows, as they were told."""
        for path in sorted(self.folder.glob("*.jsonl")):
            with path.open("rb") as file:
                for line in file:
                    table, row = orjson.loads(line)
                    yield table, _with_dates(table, row)

    def still_shown(self) -> None:
        """Raise ChangedMeanwhile, and begin anew, if a site is not shown any more as it was when the work began."""
        if no_longer_shown(self.sites):
            self.clear()
            raise ChangedMeanwhile("A site is not shown any more as it was when this began; it begins anew.")

    def clear(self) -> None:
        """Take the parts away."""
        shutil.rmtree(self.folder, ignore_errors=True)


def _with_dates(table: str, row: dict[str, Any]) -> Row:
    for name in _DATES.get(table, ()):
        if row.get(name) is not None:
            row[name] = date.fromisoformat(row[name])
    return row


@contextmanager
def no_half(path: Path, mark: str = "") -> Iterator[IO[bytes]]:
    """A file that appears under its name once it is whole and on the disk; raises NoRoom where that is full.

    `mark` keeps two workers apart of which one has lost its hold.
    """
    half = path.with_name(f"{path.name}{mark}.half")
    try:
        half.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        with half.open("wb") as file:
            yield file
            file.flush()
            os.fsync(file.fileno())
        half.replace(path)
    except OSError as error:
        half.unlink(missing_ok=True)
        if error.errno in _FULL:
            raise NoRoom(
                "The server’s disk has no room for this file. Nothing of it was kept. Once the operator has made room, "
                "start the job again."
            ) from error
        raise
    except BaseException:
        half.unlink(missing_ok=True)
        raise


def make(path: Path, writer: Any, rows: Iterator[Any], mark: str) -> Made:
    """Write a whole file."""
    with no_half(path, mark) as file:
        count = writer.write(file, rows)
    return Made(count, path.stat().st_size, digest(path))


def digest(path: Path) -> str:
    """SHA-256 of a file."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
