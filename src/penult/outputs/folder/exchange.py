"""Exchange the names of two folders in one step, where the operating system can (Linux and macOS)."""

from __future__ import annotations

import ctypes
import ctypes.util
import errno
import os
import sys
from pathlib import Path

_LINUX_AT_FDCWD = -100  # fcntl.h
_LINUX_RENAME_EXCHANGE = 2  # linux/fs.h
_MACOS_RENAME_SWAP = 2  # sys/stdio.h

_NOT_THERE = frozenset({errno.ENOSYS, errno.EINVAL, errno.ENOTSUP})


def folders(first: Path, second: Path) -> bool:
    """Exchange two existing folders on one disk.

    Parameters
    ----------
    first, second : Path
        Both exist.

    Returns
    -------
    bool
        True if they were exchanged; False if this system or disk cannot, and nothing has changed.

    Raises
    ------
    OSError
        If the exchange was refused for another reason.
    """
    call = _call(os.fsencode(first), os.fsencode(second))
    if call is None or call == 0:
        return call == 0
    if call in _NOT_THERE:
        return False
    raise OSError(call, os.strerror(call), str(second))


def _call(first: bytes, second: bytes) -> int | None:
    """Return 0 or the error number, or None where the system has no such call."""
    if not (sys.platform.startswith("linux") or sys.platform == "darwin"):
        return None
    library = ctypes.CDLL(None, use_errno=True)
    try:
        if sys.platform == "darwin":
            failed = library.renamex_np(first, second, ctypes.c_uint(_MACOS_RENAME_SWAP))
        else:
            failed = library.renameat2(
                _LINUX_AT_FDCWD, first, _LINUX_AT_FDCWD, second, ctypes.c_uint(_LINUX_RENAME_EXCHANGE)
            )
    except AttributeError:  # a C library without the call
        return None
    return ctypes.get_errno() if failed else 0
