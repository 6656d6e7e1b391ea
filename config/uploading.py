"""Files that come in: held in memory up to a limit, never put on a disk."""

from __future__ import annotations

import io
from typing import Any

from django.conf import settings
from django.core.files.uploadedfile import InMemoryUploadedFile
from django.core.files.uploadhandler import FileUploadHandler, StopUpload
from django.http import HttpRequest


class InMemoryHandler(FileUploadHandler):
    """Keeps the files of one request in memory, all together up to the limit; what is longer ends the reading."""

    def __init__(self, request: HttpRequest | None = None) -> None:
        super().__init__(request)
        self.seen = 0
        self.file = io.BytesIO()

    def new_file(self, *args: Any, **kwargs: Any) -> None:
        super().new_file(*args, **kwargs)
        self.file = io.BytesIO()

    def receive_data_chunk(self, raw_data: bytes, start: int) -> None:
        self.seen += len(raw_data)
        if self.seen > settings.LARGEST_FILE:
            raise StopUpload(connection_reset=True)
        self.file.write(raw_data)

    def file_complete(self, file_size: int) -> InMemoryUploadedFile:
        self.file.seek(0)
        return InMemoryUploadedFile(
            self.file,
            self.field_name,
            self.file_name or "",
            self.content_type or "",
            file_size,
            self.charset,
            self.content_type_extra,
        )
