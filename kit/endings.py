"""How a run ends before its time: asked to by a person or by the system, heard at once but while it tidies up."""

from __future__ import annotations

import _thread
import signal
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager

try:
    import resource
except ImportError:  # Windows, which writes no core dumps
    resource = None

# Closing the window reaches a program as SIGHUP, on Windows as SIGBREAK.
NUMBERS = [getattr(signal, name) for name in ("SIGTERM", "SIGHUP", "SIGBREAK") if hasattr(signal, name)]
SOON = 0.05  # seconds


class Ended(KeyboardInterrupt):
    """The system asks the run to end; `number` is the signal's."""

    def __init__(self, number: int) -> None:
        self.number = number


def status_of(ended: KeyboardInterrupt) -> int:
    """The exit status by which other programs know what ended this one: 130 after Ctrl-C, 143 after SIGTERM."""
    return 128 + getattr(ended, "number", signal.SIGINT)


@contextmanager
def heeding() -> Iterator[None]:
    """Meanwhile a polite end is raised as Ended, so that everything is tidied up as at Ctrl-C.

    What Python cannot pass on (raised while it clears an object away) it would print with a traceback; here it is not
    printed, and an end that is lost in this way is asked for again. Nor are the last words of a library's threads.
    """
    if not _may_listen():
        yield
        return
    ours = [number for number in NUMBERS if signal.getsignal(number) is signal.SIG_DFL]
    hooks = sys.unraisablehook, threading.excepthook
    sys.unraisablehook, threading.excepthook = _ask_again, _say_nothing
    for number in ours:
        signal.signal(number, _end)
    try:
        yield
    finally:
        for number in ours:
            signal.signal(number, signal.SIG_DFL)
        sys.unraisablehook, threading.excepthook = hooks


@contextmanager
def undisturbed() -> Iterator[None]:
    """What is done here is done to its end: whoever asks the run to stop meanwhile is heard afterwards."""
    if not _may_listen():
        yield
        return
    asked = []
    before = {number: signal.getsignal(number) for number in (signal.SIGINT, *NUMBERS)}
    heard = [number for number, handler in before.items() if callable(handler)]
    for number in heard:
        signal.signal(number, lambda number, frame: asked.append(number))
    try:
        yield
    finally:
        for number in heard:
            signal.signal(number, before[number])
        for number in asked[:1]:
            signal.raise_signal(number)


def no_core_dumps() -> None:
    """A crash writes no picture of the memory, in which rows of persons stand; kernels inherit this."""
    if resource is not None:
        _, hard = resource.getrlimit(resource.RLIMIT_CORE)
        resource.setrlimit(resource.RLIMIT_CORE, (0, hard))


def _may_listen() -> bool:
    return threading.current_thread() is threading.main_thread()


def _end(number: int, frame: object) -> None:
    raise Ended(number)


def _say_nothing(lost: threading.ExceptHookArgs) -> None:
    """A thread that watches the kernel may be starting while all is being ended; what it does is missed elsewhere."""


def _ask_again(lost: sys.UnraisableHookArgs) -> None:
    if isinstance(lost.exc_value, KeyboardInterrupt):
        number = status_of(lost.exc_value) - 128
        threading.Timer(SOON, _thread.interrupt_main, [number]).start()
