"""Answers that took long, kept from one process to the next, at the desk or for one report: never a row of a person."""

from __future__ import annotations

import hashlib
import io
import json
import os
import platform
import shutil
import stat
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from functools import cache
from importlib.metadata import version
from pathlib import Path
from typing import Any, TypeVar
from weakref import WeakKeyDictionary

import numpy as np
import pandas as pd
import platformdirs
import pyarrow as pa

from kit import __version__
from kit.alive import let_go, take
from kit.synced import synced

AT_THE_DESK = "WOUND_OUTCOMES_DESK"  # set by start.py lab for JupyterLab and its kernels, and by nothing else
OF_RUN = "WOUND_OUTCOMES_RUN"  # set by a report for its notebooks: the folder of its own answers
NAME, OURS = "wound-outcomes", "answers"
STUDIES = 4  # of which the answers are kept
SOON = 0.05  # seconds until it is asked again whether an answer is there
STRAY = 3600  # seconds after which an unfinished file is of a run that was killed
KIT = Path(__file__).resolve().parent
DECIDING = {".py", ".csv", ".toml"}
LIBRARIES = ("numpy", "pandas", "scipy", "pyarrow")
T = TypeVar("T")
Parts = dict[str, Any]  # a frame, or what JSON can hold

_keys: WeakKeyDictionary[object, tuple[str, str]] = WeakKeyDictionary()


@dataclass(frozen=True)
class Forgotten:
    """What was removed: of how many studies, how many bytes, and from which folder."""

    studies: int
    size: int
    folder: Path


def known_as(study: object, files: str, facility: str = "") -> None:
    """From now on the answers of this study may be kept. `files` tells the content of export, map and plan."""
    _keys[study] = files, facility


def of_facility(study: object, part: object, facility: str) -> None:
    """The same for one facility's part of a study, where the whole is known."""
    if study in _keys:
        known_as(part, _keys[study][0], facility)


def kept(
    study: object, name: str, make: Callable[[], T], apart: Callable[[T], Parts], together: Callable[[Parts], T]
) -> T:
    """What `make` returns, or what it returned in another process of the desk, or of the same run, on the same files.

    `apart` takes an answer to frames and plain values, of which none may tell of a person; `together` makes it again.
    What does not come back from the disk exactly as it went is not kept, and what other code made is not read. Away
    from desk and run, where the folder cannot be used, and where anything kept is damaged, it is computed. While one
    process works an answer out, others that want it wait for it.
    """
    place = _place(study)
    if place is None:
        return make()
    with _in_turn(place, name):
        parts = _read(place, name)
        if parts is not None:
            return together(parts)
        made = make()
        with suppress(OSError, ValueError, TypeError, pa.ArrowException):
            _keep(place, name, apart(made))
        return made


@contextmanager
def _in_turn(place: Path, name: str) -> Iterator[None]:
    """Meanwhile no other process works out the same answer; where there can be no lock, several may."""
    lock, handle = place / f".{name}.lock", None
    with suppress(OSError):
        while _made_safe(place) and (handle := take(lock)) is None:
            time.sleep(SOON)
    try:
        yield
    finally:
        if handle is not None:
            let_go(lock, handle)


@contextmanager
def of_one_run(home: Path) -> Iterator[None]:
    """Meanwhile what the desk keeps is neither read nor added to; in this process and those it starts, answers are kept
    in `home`, which belongs to one run and goes with it."""
    before = {name: os.environ.pop(name, None) for name in (AT_THE_DESK, OF_RUN)}
    os.environ[OF_RUN] = str(home)
    try:
        yield
    finally:
        del os.environ[OF_RUN]
        os.environ.update({name: value for name, value in before.items() if value is not None})


def folder() -> Path:
    """Where answers are kept: in the folder that the system has for what programs may lose."""
    return platformdirs.user_cache_path(NAME, appauthor=False) / OURS


def forget() -> Forgotten:
    """Remove everything that is kept. Raises OSError where that is refused."""
    home = folder()
    if home.is_symlink() or not home.is_dir():
        return Forgotten(0, 0, home)
    size = sum(file.stat().st_size for file in home.rglob("*") if file.is_file())
    found = Forgotten(len(_studies(home)), size, home)
    shutil.rmtree(home)
    with suppress(OSError):
        home.parent.rmdir()
    return found


# --- where ---


def _place(study: object) -> Path | None:
    """The folder of a study's answers, or None away from desk and run and where a study was not read from files."""
    home = _home()
    if home is None or study not in _keys:
        return None
    files, facility = _keys[study]
    return home / _digest(files, _makers())[:24] / _digest(facility)[:12]


def _home() -> Path | None:
    """That of the run, as long as it lasts, else the desk's."""
    if own := os.environ.get(OF_RUN):
        return Path(own) / OURS if os.path.isdir(own) else None
    return folder() if os.environ.get(AT_THE_DESK) else None


@cache
def _makers() -> str:
    """What makes the numbers besides the files: every line of the kit, Python, and the libraries that count."""
    code = hashlib.sha256()
    for file in sorted(path for path in KIT.rglob("*") if path.suffix in DECIDING):
        code.update(f"{file.relative_to(KIT).as_posix()}\0".encode() + file.read_bytes() + b"\0")
    return _digest(__version__, code.hexdigest(), platform.python_version(), *map(version, LIBRARIES))


def _digest(*parts: str) -> str:
    return hashlib.sha256(json.dumps(parts).encode()).hexdigest()


def _made_safe(place: Path) -> bool:
    """Whether the folder is there, its owner's alone, and nowhere that is synced."""
    home = place.parent.parent
    if synced(home):
        return False
    home.parent.mkdir(parents=True, exist_ok=True)
    for one in (home, place.parent, place):
        with suppress(FileExistsError):
            one.mkdir(mode=0o700)
        if not _is_ours(one):
            return False
    return True


def _is_ours(path: Path) -> bool:
    """Neither a link, nor somebody else's, nor open to others; Windows keeps this folder for its owner by itself."""
    told = path.lstat()
    if stat.S_ISLNK(told.st_mode):
        return False
    return os.name == "nt" or (told.st_uid == os.getuid() and not told.st_mode & 0o077)


# --- reading ---


def _read(place: Path, name: str) -> Parts | None:
    """What is kept under a name; None where it is missing, damaged, or not only its owner's."""
    try:
        if not all(_is_ours(path) for path in (place.parent.parent, place.parent, place, place / f"{name}.json")):
            return None
        told = json.loads((place / f"{name}.json").read_text(encoding="utf-8"))
        parts = told["values"] | {part: _frame_of(place, name, part, mark) for part, mark in told["frames"].items()}
        if told["whole"] != _digest(json.dumps(told["values"]), json.dumps(told["frames"])):
            return None
        os.utime(place.parent)
        return parts
    except (OSError, ValueError, KeyError, TypeError, AttributeError, pa.ArrowException):
        return None


def _frame_of(place: Path, name: str, part: str, mark: str) -> pd.DataFrame:
    file = place / f"{name}.{part}.parquet"
    content = file.read_bytes()
    if not _is_ours(file) or hashlib.sha256(content).hexdigest() != mark:
        raise ValueError
    return _unpacked(content)


# --- keeping ---


def _keep(place: Path, name: str, parts: Parts) -> None:
    """Frames first; what lists them with their digests comes last, so that half of an answer is none."""
    frames = {part: _packed(value) for part, value in parts.items() if isinstance(value, pd.DataFrame)}
    values = {part: value for part, value in parts.items() if part not in frames}
    same = all(_alike(_unpacked(content), parts[part]) for part, content in frames.items())
    if not same or _strict(json.loads(json.dumps(values))) != _strict(values) or not _made_safe(place):
        return
    for part, content in frames.items():
        _write(place / f"{name}.{part}.parquet", content)
    marks = {part: hashlib.sha256(content).hexdigest() for part, content in frames.items()}
    whole = _digest(json.dumps(values), json.dumps(marks))
    _write(place / f"{name}.json", json.dumps({"values": values, "frames": marks, "whole": whole}).encode())
    os.utime(place.parent)
    _sweep(place.parent.parent)


def _strict(value: Any) -> Any:
    """A value for comparing: types are told apart, and what equals nothing, not even itself, stands as its words."""
    if isinstance(value, dict):
        return {key: _strict(one) for key, one in value.items()}
    if isinstance(value, list):
        return [_strict(one) for one in value]
    return [type(value).__name__, repr(value)]


def _packed(frame: pd.DataFrame) -> bytes:
    buffer = io.BytesIO()
    frame.to_parquet(buffer, engine="pyarrow")
    return buffer.getvalue()


def _unpacked(content: bytes) -> pd.DataFrame:
    return pd.read_parquet(io.BytesIO(content), engine="pyarrow")


def _alike(one: pd.DataFrame, other: pd.DataFrame) -> bool:
    """Whether two frames are the same to the last digit and type."""
    try:
        pd.testing.assert_frame_equal(one, other, check_exact=True, check_freq=False)
    except AssertionError:
        return False
    objects = [number for number, kind in enumerate(other.dtypes) if kind is np.dtype(object)]
    return all([*map(type, one.iloc[:, at])] == [*map(type, other.iloc[:, at])] for at in objects)


def _write(file: Path, content: bytes) -> None:
    """A file that only its owner may read, whole or not at all."""
    part = file.with_name(f".{file.name}.{os.getpid()}.part")
    try:
        with open(os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as out:
            out.write(content)
        os.replace(part, file)
    finally:
        part.unlink(missing_ok=True)


def _sweep(home: Path) -> None:
    """Only the studies used last stay, and no file that a killed run left unfinished."""
    for old in _studies(home)[STUDIES:]:
        shutil.rmtree(old, ignore_errors=True)
    for part in home.rglob(".*.part"):
        with suppress(OSError):
            if time.time() - part.stat().st_mtime > STRAY:
                part.unlink()


def _studies(home: Path) -> list[Path]:
    """The folders of studies, the last used first."""
    return sorted((path for path in home.iterdir() if path.is_dir()), key=lambda path: -path.stat().st_mtime)
