"""What the cells of a workbook say, for a search: read out of its parts, without the library that writes them."""

from __future__ import annotations

import html
import io
import re
import zipfile
import zlib

ZIP = b"PK\x03\x04"
LARGEST_BYTES = 200_000_000
"""Unpacked: ten times the largest text that is searched."""


def texts_of_workbook(data: bytes) -> str:
    """Return every text of a workbook, each on a line of its own.

    Raises
    ------
    ValueError
        If it is damaged, or unpacks to more than `LARGEST_BYTES`.
    """
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as book:
            parts = [i for i in book.infolist() if i.filename.endswith(".xml")]
            is_small = sum(i.file_size for i in parts) <= LARGEST_BYTES
            texts = [book.read(i).decode("utf-8", errors="replace") for i in parts] if is_small else []
    except (zipfile.BadZipFile, OSError, NotImplementedError, RuntimeError, EOFError, zlib.error) as error:
        raise ValueError(str(error)) from error
    if not is_small:
        raise ValueError("it unpacks to too much")
    return "\n".join(html.unescape(re.sub(r"<[^>]*>", "\n", text)) for text in texts)
