"""Makes the kit's environment beside this file, then runs one of its jobs. Standard library only."""

import collections
import difflib
import hashlib
import importlib.util
import os
import shutil
import signal
import subprocess
import sys
import time
from functools import partial
from pathlib import Path

HELP = """Run one of these from any folder (on Windows: py start.py ...):

  python3 start.py report [options]   the quarter's report; without options, on the invented export
  python3 start.py issue reports/A/2026-Q2/r1
                                      freeze a draft report: its pages say ISSUED
  python3 start.py verify reports/A/2026-Q2/r1
                                      whether an issued report is as it was issued
  python3 start.py draft my-export    a column map, where headers are the facility's own
  python3 start.py check my-export    what the report would read, and what to fix next
  python3 start.py template new.xlsx  an empty workbook to fill in, where there is no export
  python3 start.py documentation my-export check.xlsx
                                      what it shows of what US NCD 270.1 asks, for the compliance officer
  python3 start.py invent             the invented exports again
  python3 start.py dictionary         the keys of the plan and the columns that are read
  python3 start.py forget             remove the answers that the lab keeps on this computer
  python3 start.py test [options]     every check; options go to pytest
  python3 start.py lab [options]      the notebooks in JupyterLab, on a copy that you may change; options go to
                                      JupyterLab (--no-browser: print the address instead of opening it)

Each has its own help: python3 start.py report --help. Ends with 0 done, 1 stopped (one line says why), 2 not
understood, 130 interrupted.
"""
ROOT = Path(__file__).resolve().parent
VENV, DESK = ROOT / ".venv", ROOT / "desk"
PYTHON = VENV / ("Scripts/python.exe" if os.name == "nt" else "bin/python")
STAMP = VENV / "installed.txt"
SURROUNDINGS = {**os.environ, "PYTHONUTF8": "1"}
AT_THE_DESK = {"WOUND_OUTCOMES_DESK": "1"}  # notebooks opened in the lab keep answers that took long: kit/kept.py
SURROUNDINGS.pop("WOUND_OUTCOMES_DESK", None)  # what is started from a terminal inside the lab is no part of the desk
KITS = ("report", "issue", "verify", "draft", "check", "template", "documentation", "invent", "dictionary", "forget")
ASKS_HELP = ("help", "--help", "-h")
# On Python 3.15 some versions in constraints.txt have no ready-made build: pip would look for a compiler.
OLDEST, NEWEST = (3, 11), (3, 14)
# A file stays whole, so that a notebook is never split between two kernels.
TWO_CORES = ["-n", "2", "--dist", "loadfile"]


class Stop(Exception):
    """A failure that was to be expected, in one line with its cure."""


def main(words):
    jobs = {name: partial(kit, name) for name in KITS} | {"test": test, "lab": lab}
    if not words or words[0] in ASKS_HELP:
        print(HELP, end="", file=sys.stdout if words else sys.stderr)
        return 0 if words else 2
    if words[0] not in jobs:
        print(not_understood(words[0], jobs), file=sys.stderr)
        return 2
    try:
        demand_python(sys.version_info)
        return jobs[words[0]](words[1:])
    except Stop as stop:
        print(stop, file=sys.stderr)
        return 1
    except KeyboardInterrupt:
        return 130


def not_understood(word, jobs):
    """One line; the word itself is repeated only where it is letters, since it may be the name of a file."""
    named = word if word.isascii() and word.isalpha() and word.islower() else "of that name"
    near = difflib.get_close_matches(word.lower(), jobs, n=1, cutoff=0.5)
    meant = f" (did you mean {near[0]}?)" if near else ""
    return f"Not understood: there is no command {named}{meant}. What there is: python3 start.py --help"


def kit(command, options):
    install("")
    return run([str(PYTHON), "-m", "kit", command, *options])


def test(options):
    install("test")
    failed = {name: status for name, status in timed_checks(options) if status}
    print("\nFailed: " + ", ".join(failed) if failed else "\nEvery check passed.")
    return next(iter(failed.values()), 0)


def lab(options):
    install("")
    if any(option in ASKS_HELP for option in options):
        return run([str(PYTHON), "-m", "jupyterlab", *options])
    for name in lay_desk(ROOT / "notebooks", DESK):
        print(f"desk/{name} differs from the kit's own and was left alone; delete it to get a fresh copy.")
    for sentence in synced_said(DESK):
        print(sentence)
    print("Answers that take long are kept on this computer for the next time: python3 start.py forget removes them.")
    print("Starting JupyterLab on desk/ (about 10 seconds). Press Ctrl-C here to end it.")
    return run([str(PYTHON), "-m", "jupyterlab", *lab_settings(DESK), *options], cwd=DESK, more=AT_THE_DESK)


def synced_said(desk):
    """What is to be said where a service copies the desk to other computers; nothing of the kit's is heavy here."""
    from kit.synced import synced_said as said

    return said(("desk/", desk))


def install(extra):
    """Bring .venv to what pyproject.toml and constraints.txt ask for; quick when it is there already."""
    done = STAMP.read_text().split() if STAMP.is_file() else []
    if stamp(ROOT, extra) in done and works(PYTHON):
        return
    STAMP.unlink(missing_ok=True)
    if not works(PYTHON):
        make_venv()
    print("Installing the kit and the packages it needs into .venv (2 to 5 minutes the first time).")
    target = f".[{extra}]" if extra else "."
    pip([str(PYTHON), "-m", "pip", "install", "--no-input", "-c", "constraints.txt", "-e", target])
    # What serves the tests serves a report too, so the plain stamp is always among those left.
    STAMP.write_text("\n".join({stamp(ROOT, ""), stamp(ROOT, extra)}))


def make_venv():
    demand_venv()
    print("Making an environment of its own in .venv (about 20 seconds).")
    if run([sys.executable, "-m", "venv", "--clear", str(VENV)]):
        raise Stop(f"Could not make {VENV}: is the folder writable, and the disk not full?")


def pip(command):
    last = collections.deque(maxlen=12)
    text = {"stdout": subprocess.PIPE, "stderr": subprocess.STDOUT, "encoding": "utf-8", "errors": "replace"}
    with subprocess.Popen(command, cwd=ROOT, env=SURROUNDINGS, **text) as child:
        for line in child.stdout:
            last.append(line)
            if line.startswith("Collecting"):
                print(".", end="", flush=True)
    print()
    if child.returncode:
        sys.stderr.writelines(last)
        raise Stop(
            "Installing failed; pip's last words are above. Mostly it is the network: see that this computer "
            "reaches the Python package index (behind a proxy, set HTTPS_PROXY) and run the command again."
        )


def stamp(root, extra):
    """A digest of what decides an install; of the folder too, since an editable install points at it."""
    parts = [str(root).encode(), extra.encode()]
    parts += [(root / name).read_bytes() for name in ("pyproject.toml", "constraints.txt")]
    return hashlib.sha256(b"\0".join(parts)).hexdigest()


def works(python):
    """Whether this interpreter starts, has pip and suits: one in a half-made or orphaned .venv does not."""
    probe = f"import sys, pip; sys.exit(not {OLDEST} <= sys.version_info[:2] <= {NEWEST})"
    return python.exists() and not subprocess.call([str(python), "-c", probe], stderr=subprocess.DEVNULL)


def demand_python(version):
    if not OLDEST <= tuple(version[:2]) <= NEWEST:
        span = " to ".join(".".join(map(str, end)) for end in (OLDEST, NEWEST))
        raise Stop(
            f"This is Python {version[0]}.{version[1]}, and the kit needs {span}: install one of these and run "
            "the same command with it (on Windows, for example: py -3.13 start.py report)."
        )


def demand_venv():
    if not all(map(importlib.util.find_spec, ("venv", "ensurepip"))):
        raise Stop(
            "This Python comes without venv or ensurepip, which make the kit's environment. "
            "On Debian or Ubuntu: sudo apt install python3-venv. Then run the same command again."
        )


def checks(options):
    """Each check's name and command; every notebook runs in a kernel of its own, in its folder."""
    python = [str(PYTHON), "-m"]
    notebooks = ["notebooks", "--nbval-lax", "-p", "no:cacheprovider"]
    return [
        ("ruff check", [*python, "ruff", "check", "."]),
        ("ruff format", [*python, "ruff", "format", "--check", "."]),
        ("pytest", [*python, "pytest", "-q", *TWO_CORES, *options]),
        ("notebooks", [*python, "pytest", "-q", *TWO_CORES, *notebooks]),
    ]


def timed_checks(options):
    for name, command in checks(options):
        print(f"\n== {name} ==")
        began = time.monotonic()
        status = run(command, cwd=ROOT)
        print(f"== {name}: {time.monotonic() - began:.0f} s ==")
        yield name, status


def lay_desk(source, desk):
    """Copy what is not on the desk yet, tutorials too; returns the names there that differ, none of them touched."""
    differing = []
    for file in [*sorted(source.glob("*.ipynb")), *sorted(source.glob("tutorial/*.ipynb"))]:
        copy = desk / file.relative_to(source)
        copy.parent.mkdir(parents=True, exist_ok=True)
        if not copy.exists():
            shutil.copyfile(file, copy)
        elif copy.read_bytes() != file.read_bytes():
            differing.append(file.relative_to(source).as_posix())
    return differing


def lab_settings(desk):
    """Unless told not to, JupyterLab fetches news and updates and talks to its kernels in clear."""
    return [
        f"--ServerApp.root_dir={desk}",
        "--LabApp.news_url=None",
        "--LabApp.check_for_updates_class=jupyterlab.NeverCheckForUpdate",
        "--LabApp.extension_manager=readonly",
        "--KernelManager.transport_encryption=auto",
    ]


def run(command, cwd=None, more=None):
    """The command's exit status. An interrupt is the command's to answer (it may tidy up): wait."""
    sys.stdout.flush()  # so that our lines and the command's keep their order in a log
    child = subprocess.Popen(command, cwd=cwd, env={**SURROUNDINGS, **(more or {})})
    before = signal.signal(signal.SIGTERM, lambda number, frame: child.terminate())
    interrupted = False
    while child.poll() is None:
        try:
            child.wait()
        except KeyboardInterrupt:
            interrupted = True
    signal.signal(signal.SIGTERM, before)
    if interrupted and child.returncode:
        raise KeyboardInterrupt
    return child.returncode


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
