"""Arrays out of an npz file that somebody else may have written: within bounds, nothing unpickled, one kind of error."""

from __future__ import annotations

import io
import zipfile
from typing import Any

import numpy as np
from numpy.typing import NDArray


def unpacked(data: bytes, *, most_arrays: int, most_bytes: int) -> dict[str, NDArray[Any]]:
    """Return the arrays of an npz file by their names.

    Parameters
    ----------
    data : bytes
        Of the file.
    most_arrays, most_bytes : int
        What it may unpack to, by its own account; more is never unpacked than it says.

    Raises
    ------
    ValueError
        Whatever is wrong with it. Damage makes zipfile, zlib and numpy raise a dozen kinds of errors, some of them of the
        tokenizer that numpy hands a header to: no list of them would be whole.
    """
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            members = archive.infolist()
            size = sum(m.file_size for m in members)
        if len(members) <= most_arrays and size <= most_bytes:
            with np.load(io.BytesIO(data), allow_pickle=False) as stored:
                return {name: stored[name] for name in stored.files}
    except Exception as error:
        why = " ".join(str(error).split())
        raise ValueError(why or type(error).__name__) from error
    raise ValueError(f"it would unpack to {len(members)} arrays of {size} bytes: too much")
