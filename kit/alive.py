"""Which run is still alive: a lock of the operating system, let go when its process ends however it ends."""

from __future__ import annotations

import errno
import os
import shutil
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from kit.endings import undisturbed

try:
    import fcntl
except ImportError:
    import msvcrt  # Windows

LOCK = ".lock"
HOME = "wound-outcomes-"
HELD = {errno.EACCES, errno.EAGAIN, errno.EWOULDBLOCK, errno.EDEADLK}
PATIENCE = 30  # seconds


def take(lock: Path, certain: bool = False) -> int | None:
    """A handle on a lock file, which is made where it is missing; None while another run holds it.

    Where a file system knows no locks, nobody can be told to be alive or not: then the handle comes all the same, and
    None where it has to be `certain`.
    """
    while True:
        handle = _opened(lock)
        if handle is None:
            return None
        if not _locked(handle, certain):
            os.close(handle)
            return None
        if _lies_there(handle, lock):
            return handle
        os.close(handle)  # whoever held it has removed the file


def let_go(lock: Path, handle: int) -> None:
    """The lock is free, and its file gone; while it is still ours where the system removes open files."""
    if os.name == "nt":
        os.close(handle)
    with suppress(OSError):
        lock.unlink()
    if os.name != "nt":
        os.close(handle)


@contextmanager
def alone(lock: Path) -> Iterator[None]:
    """Meanwhile nobody else holds the lock. Raises TimeoutError where another run keeps it longer than `PATIENCE`."""
    ends = time.monotonic() + PATIENCE
    while (handle := take(lock)) is None:
        if time.monotonic() > ends:
            raise TimeoutError(errno.ETIMEDOUT, "another run keeps it", str(lock))
        time.sleep(0.02)
    try:
        yield
    finally:
        let_go(lock, handle)


def sweep(folder: Path, lock: Path) -> bool:
    """Remove a folder beside its lock if its run has ended; whether it had. What cannot be removed stays."""
    with suppress(OSError):
        handle = take(lock, certain=True)
        if handle is not None:
            shutil.rmtree(folder, ignore_errors=True)
            let_go(lock, handle)
            return True
    return False


@contextmanager
def own_temporary() -> Iterator[Path]:
    """A temporary folder that its owner alone can read, gone afterwards; the next run sweeps what a killed one left."""
    home, handle = _new_home()
    try:
        yield home
    finally:
        with undisturbed():
            _remove(home, handle)


@contextmanager
def temporary_files_in(folder: Path) -> Iterator[None]:
    """Meanwhile libraries lay their temporary files, in which rows may stand, in a folder that goes with this one."""
    before, inside = tempfile.tempdir, tempfile.mkdtemp(prefix=".temporary-", dir=folder)
    tempfile.tempdir = inside
    try:
        yield
    finally:
        tempfile.tempdir = before
        with undisturbed():
            shutil.rmtree(inside, ignore_errors=True)


def sweep_temporary() -> None:
    """Remove this person's temporary folders whose run has ended."""
    for home in Path(tempfile.gettempdir()).glob(f"{HOME}*"):
        with suppress(OSError):
            if not _ours(home):
                continue
            if not (home / LOCK).exists():
                home.rmdir()  # only where it is empty: its run ended before it was locked
                continue
            handle = take(home / LOCK, certain=True)
            if handle is not None:
                _remove(home, handle)


def _opened(lock: Path) -> int | None:
    try:
        return os.open(lock, os.O_RDWR | os.O_CREAT | getattr(os, "O_NOFOLLOW", 0), 0o600)
    except PermissionError:
        if os.name == "nt" and lock.exists():
            return None  # its file is just being removed
        raise


def _locked(handle: int, certain: bool) -> bool:
    try:
        if os.name == "nt":
            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
        else:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as refused:
        return not certain and refused.errno not in HELD
    return True


def _lies_there(handle: int, lock: Path) -> bool:
    try:
        return os.path.samestat(os.fstat(handle), os.stat(lock))
    except FileNotFoundError:
        return False


def _new_home() -> tuple[Path, int]:
    while True:
        home = Path(tempfile.mkdtemp(prefix=HOME))
        with suppress(FileNotFoundError):  # another run may have swept it before it was locked
            handle = take(home / LOCK)
            if handle is not None:
                return home, handle


def _remove(home: Path, handle: int) -> None:
    """The lock goes last, so that what is left of a folder half removed is still known as left."""
    for path in home.iterdir():
        if path.is_dir() and not path.is_symlink():
            shutil.rmtree(path, ignore_errors=True)
        elif path.name != LOCK:
            with suppress(OSError):
                path.unlink()
    if [path.name for path in home.iterdir()] != [LOCK]:
        os.close(handle)  # something is still open, as happens on Windows: the next run tries again
        return
    let_go(home / LOCK, handle)
    with suppress(OSError):
        home.rmdir()


def _ours(home: Path) -> bool:
    told = home.lstat()
    return home.is_dir() and not home.is_symlink() and told.st_uid == getattr(os, "getuid", lambda: told.st_uid)()
