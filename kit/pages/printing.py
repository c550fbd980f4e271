"""Pages as PDF, by the Chromium that is there: without network, without a trace, and never needed."""

from __future__ import annotations

import os
import re
import shutil
import signal
import subprocess
import sys
import time
from contextlib import suppress
from pathlib import Path

from kit.alive import own_temporary
from kit.endings import undisturbed

NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "microsoft-edge", "msedge", "chrome")
PLACES = {
    "darwin": (
        "/Applications/Chromium.app/Contents/MacOS/Chromium",
        "/Applications/Google Chrome.app/Contents/MacOS/Google Chrome",
        "/Applications/Microsoft Edge.app/Contents/MacOS/Microsoft Edge",
    ),
    "win32": (
        r"Google\Chrome\Application\chrome.exe",
        r"Microsoft\Edge\Application\msedge.exe",
        r"Chromium\Application\chrome.exe",
    ),
}
ROOTS = ("PROGRAMFILES", "PROGRAMFILES(X86)", "LOCALAPPDATA")  # where Windows keeps programs
PATIENCE = 60  # seconds
TRIES = 30  # tenths of a second
# A proxy that nobody is, and no name that resolves: whatever the browser would fetch for itself, it cannot.
ALONE = (
    "--headless", "--disable-gpu", "--disable-dev-shm-usage", "--disable-extensions", "--no-first-run",
    "--no-default-browser-check",
    "--disable-background-networking", "--disable-component-update", "--disable-sync", "--disable-default-apps",
    "--disable-domain-reliability", "--metrics-recording-only", "--proxy-server=127.0.0.1:9",
    "--host-resolver-rules=MAP * ~NOTFOUND", "--disable-breakpad", "--disable-crash-reporter",
    "--user-agent=wound-outcomes",
)  # fmt: skip
BARE = ("--no-pdf-header-footer", "--print-to-pdf-no-header")  # the second for older ones: a header shows a path
MIDNIGHT = b"000000+00'00'"
_GROUP = {"creationflags": subprocess.CREATE_NO_WINDOW} if os.name == "nt" else {"start_new_session": True}
PRINTED = ("internal/page.html", "shareable/sheet.html")
NO_BROWSER = "No PDF was made, because there is no Chromium, Chrome or Edge; print the page from any browser"
NOT_PRINTED = "No PDF was made, because the browser did not print; print the page from any browser"


def chromium() -> Path | None:
    """Chromium or a browser made of it, where there is one: on the path first, then where the system keeps programs."""
    named = (shutil.which(name) for name in NAMES)
    usual = (place for place in _usual_places() if Path(place).is_file())
    found = next((place for place in (*named, *usual) if place), None)
    return Path(found) if found else None


def _usual_places() -> list[str]:
    places = PLACES.get(sys.platform, ())
    if sys.platform != "win32":
        return list(places)
    roots = [os.environ[root] for root in ROOTS if root in os.environ]
    return [os.path.join(root, place) for place in places for root in roots]


def print_pdf(page: Path, pdf: Path) -> bool:
    """Print a page of a report; whether it was printed. Nothing is raised, and nothing else is left anywhere.

    Printed is a copy without its links, which a browser would write out with every folder's name; the PDF keeps the
    day on which it was made and not the moment, so that the same page gives the same bytes.
    """
    part = pdf.with_name(f".{pdf.name}.part")
    with suppress(OSError), own_temporary() as folder:
        copy, printed = folder / "page.html", folder / "printed.pdf"
        copy.write_text(_without_links(page.read_text(encoding="utf-8")), encoding="utf-8")
        browse(copy, folder, *BARE, f"--print-to-pdf={printed}")
        part.write_bytes(_without_moment(printed.read_bytes()))
        os.replace(part, pdf)
        return True
    with suppress(OSError):
        part.unlink(missing_ok=True)
    return False


def print_pages(revision: Path) -> str:
    """Print page and sheet of a revision, each beside itself; returns a sentence on what came of it.

    No PDF is left of a page that could not be printed: an older one would say something else. Raises OSError where one
    is there that cannot be removed.
    """
    pages = [revision / page for page in PRINTED]
    left = [page for page in pages if not print_pdf(page, pdf_of(page))]
    for page in left:
        pdf_of(page).unlink(missing_ok=True)
    if not left:
        return "Page and sheet are printed as PDF"
    return NO_BROWSER if chromium() is None else NOT_PRINTED


def pdf_of(page: Path) -> Path:
    """Where the PDF of a page lies: beside it."""
    return page.with_suffix(".pdf")


def _without_links(page: str) -> str:
    return re.sub(r"<a\s[^>]*>", "<a>", page)


def _without_moment(pdf: bytes) -> bytes:
    """The PDF without hours, minutes and seconds; the places of all else stay. Raises OSError where it is not whole."""
    if not (pdf.startswith(b"%PDF-") and pdf.rstrip().endswith(b"%%EOF")):
        raise OSError(NOT_PRINTED)
    return re.sub(rb"(/(?:Creation|Mod)Date \(D:\d{8})\d{6}[+-]\d\d'\d\d'", lambda moment: moment[1] + MIDNIGHT, pdf)


def browse(page: Path, folder: Path, *options: str) -> str:
    """What Chromium writes while it opens a page; its profile and all it lays beside it stay in `folder`, and go after.

    Raises OSError where there is no browser, where it fails, or where it takes longer than a minute.
    """
    browser = chromium()
    if browser is None:
        raise OSError(NO_BROWSER)
    own, written = folder / "browser", folder / "written.txt"
    own.mkdir(exist_ok=True)
    command = [str(browser), *ALONE, *_as_root(), f"--user-data-dir={own / 'profile'}", *options]
    quiet = {"stdin": subprocess.DEVNULL, "stderr": subprocess.DEVNULL, "env": _surroundings(own)}
    with written.open("wb") as out:  # not a pipe, whose end would wait for all that the browser started
        child = subprocess.Popen([*command, page.resolve().as_uri()], stdout=out, **quiet, **_GROUP)
    try:
        failed = child.wait(PATIENCE)
    except subprocess.TimeoutExpired:
        raise OSError(NOT_PRINTED) from None
    finally:
        with undisturbed():
            _end(child)
            _remove(own)
    if failed:
        raise OSError(NOT_PRINTED)
    return written.read_text(encoding="utf-8", errors="replace")


def _as_root() -> list[str]:
    """Chromium's own fence does not start for root."""
    return ["--no-sandbox"] if getattr(os, "geteuid", lambda: 1)() == 0 else []


def _surroundings(folder: Path) -> dict[str, str]:
    """On Linux whatever a browser lays beside its profile goes to the folder too."""
    own = ("HOME", "TMPDIR", "XDG_CONFIG_HOME", "XDG_CACHE_HOME", "XDG_DATA_HOME", "XDG_RUNTIME_DIR")
    return {**os.environ, **(dict.fromkeys(own, str(folder)) if sys.platform == "linux" else {})}


def _end(child: subprocess.Popen) -> None:
    """The browser and all that it started are gone; where the system has no groups, they go with their parent."""
    with suppress(OSError):
        os.killpg(child.pid, signal.SIGKILL) if os.name != "nt" else child.kill()
    child.wait()


def _remove(own: Path) -> None:
    """What has just been ended may still hold a file, or have made one."""
    for _ in range(TRIES):
        shutil.rmtree(own, ignore_errors=True)
        if not own.exists():
            break
        time.sleep(0.1)
