"""How large a form with files may be; asked before anything of it is kept, or anybody signed in."""

from typing import Any

from django.core.exceptions import RequestDataTooBig
from django.core.files.uploadhandler import FileUploadHandler

UPLOAD_MAX = 64 * 1024 * 1024  # bytes of a body; pages take files of 20 MB, and tell of some more


class UploadLimit(FileUploadHandler):
    """Refuses a body too large for any page by its length, before it is written to the disk."""

    def handle_raw_input(
        self,
        input_data: Any,
        META: dict[str, str],  # noqa: N803
        content_length: int,
        boundary: str,
        encoding: str | None = None,
    ) -> None:
        if content_length > UPLOAD_MAX:
            raise RequestDataTooBig(f"A form of {content_length} bytes was refused.")

    def receive_data_chunk(self, raw_data: bytes, start: int) -> bytes:
        return raw_data

    def file_complete(self, file_size: int) -> None:
        return None
