"""The command line: `python -m kit report` and its few companions."""

from __future__ import annotations

import argparse
import errno
import sys
import time
import traceback
import warnings
from collections.abc import Callable
from pathlib import Path

from kit.command_words import START, Shown, Words, command, described, left_over, not_understood, unknown

HERE = Path(__file__).resolve().parents[1]
CURES = {
    (errno.ENOSPC, errno.EDQUOT, errno.EFBIG): "make room where reports and temporary files lie, and run again",
    (errno.EROFS, errno.EACCES, errno.EPERM): "see who may write there and whether another program has it open",
    (errno.EEXIST, errno.ENOTDIR): "a file is in the way of a folder; move it, or name another place",
    (errno.ENOMEM, errno.EAGAIN): "close other programs and run again",
}
STARTING = "Starting"
INVENTED = HERE / "data" / "synthetic" / "lifelike"


def main(given: list[str] | None = None) -> int:
    """Run one command: 0 done, 1 stopped by the input, 2 not understood, 3 stopped by a fault of the kit itself.

    An end from outside gives the status that other programs expect: 130 after Ctrl-C, 143 after SIGTERM.
    """
    from kit.endings import heeding, status_of

    try:
        with heeding():
            return _understood(list(sys.argv[1:] if given is None else given))
    except KeyboardInterrupt as ended:
        print("Stopped: interrupted; nothing unfinished was kept", file=sys.stderr)
        return status_of(ended)


def _understood(given: list[str]) -> int:
    parser = _parser()
    if not given:
        parser.print_help(sys.stderr)
        return 2
    if why := unknown(given):
        return not_understood(why)
    asked, left = parser.parse_known_args(given)
    if left or asked.command is None:
        options = list(parser.by_name[asked.command]._option_string_actions) if asked.command else ["--help"]
        return not_understood(left_over(left, options), f"{START} {asked.command or ''}".rstrip())
    return _done(asked)


def _done(asked: argparse.Namespace) -> int:
    from kit.faults import ExportError
    from kit.plan import PlanError

    try:
        return asked.run(asked)
    except (ExportError, PlanError) as stopped:
        return _stop(str(stopped))
    except OSError as stopped:
        return _stop(_refused(stopped))
    except MemoryError:
        return _stop("memory ran out; close other programs and run again")
    except Exception as fault:  # a traceback may quote what stands in the export
        told = f"{type(fault).__name__}, {_where(fault)}"
        print(f"Stopped by a fault of the kit itself ({told}); please report this line", file=sys.stderr)
        return 3


def _refused(stopped: OSError) -> str:
    """What the system refused, as one line: the file's name, its reason, and the cure where one is known."""
    from kit.intake.naming import file_said

    name = f"{file_said(Path(stopped.filename))}: " if stopped.filename else ""
    reason = stopped.strerror or type(stopped).__name__
    cure = next((cure for kinds, cure in CURES.items() if stopped.errno in kinds), "")
    return f"{name}{reason}{cure and f'; {cure}'}"


def _where(fault: Exception) -> str:
    """The innermost line of the kit that a fault passed through: file and line, no content."""
    ours = HERE / "kit"
    lines = [frame for frame in traceback.extract_tb(fault.__traceback__) if Path(frame.filename).is_relative_to(ours)]
    return f"{Path(lines[-1].filename).name} line {lines[-1].lineno}" if lines else "outside it"


def _say(*lines: str) -> None:
    """Lines for the terminal, at once; names in them may come from an export."""
    from kit.words import plain

    print(*(plain(line) for line in lines), sep="\n", flush=True)


def _stop(why: str) -> int:
    from kit.words import plain

    print(f"Stopped: {plain(why)}", file=sys.stderr)
    return 1


def _parser() -> Words:
    parser = Words(prog=START, formatter_class=Shown, allow_abbrev=False)
    commands = described(parser)
    parser.by_name = commands.choices
    report = command(commands, "report")
    report.add_argument(
        "export", nargs="?", type=Path, default=INVENTED, help="folder or workbook (default: the invented export)"
    )
    _add_plan_and_map(report)
    report.add_argument("--facility", default="", help="report on one facility of the export (default: all together)")
    report.add_argument(
        "--reports", type=Path, default=HERE / "reports", help="where reports are kept (default: reports/)"
    )
    _add_each(report)
    report.add_argument("--no-pdf", action="store_true", help="do not print page and sheet as PDF, browser or not")
    issuing = command(commands, "issue")
    issuing.add_argument("revision", type=Path, help="its folder, like reports/<facility>/<quarter>/r1")
    verifying = command(commands, "verify")
    verifying.add_argument("revision", type=Path, help="its folder, like reports/<facility>/<quarter>/r1")
    draft = command(commands, "draft")
    draft.add_argument("export", type=Path, help="folder or workbook")
    draft.add_argument("--columns", default="", help="where the map goes (default: columns.toml with the export)")
    check = command(commands, "check")
    check.add_argument("export", type=Path, help="folder or workbook")
    _add_plan_and_map(check)
    template = command(commands, "template")
    template.add_argument("workbook", type=Path, help="what it is to be called (.xlsx)")
    documentation = command(commands, "documentation")
    documentation.add_argument("export", type=Path, help="folder or workbook")
    documentation.add_argument("workbook", type=Path, help="what the check is to be called (.xlsx); not among reports")
    _add_plan_and_map(documentation)
    documentation.add_argument("--facility", default="", help="which facility, where the export holds several")
    invent = command(commands, "invent")
    invent.add_argument("folder", nargs="?", type=Path, default=HERE / "data" / "synthetic", help="where they go")
    command(commands, "forget")
    command(commands, "dictionary")
    does = (_report, _issue, _verify, _draft, _check, _template, _documentation, _invent, _forget, _dictionary)
    for run in does:
        commands.choices[run.__name__.lstrip("_")].set_defaults(run=run)
    return parser


def _add_each(report: argparse.ArgumentParser) -> None:
    report.add_argument(
        "--each", action="store_true", help="a report for each facility and one for the group, side by side"
    )
    report.add_argument(
        "--at-once", type=int, default=0, metavar="N", help="with --each: how many at a time (default: all cores)"
    )
    report.add_argument(
        "--cluster", default="", metavar="ADDRESS", help="with --each: on the workers of a running Dask scheduler"
    )


def _add_plan_and_map(command: argparse.ArgumentParser) -> None:
    command.add_argument("--plan", default="", help="study plan (default: study-plan.toml with the export)")
    command.add_argument("--columns", default="", help="column map (default: columns.toml with the export, if there)")


def _timed() -> Callable[[str], None]:
    """A way to say what happens, each line with the seconds since the command began."""
    began = time.monotonic()
    return lambda sentence: _say(f"  {time.monotonic() - began:5.1f} s  {sentence}")


def _report(asked: argparse.Namespace) -> int:
    say = _timed()
    say(STARTING)
    from kit.pages.kernel import NotebookError
    from kit.pages.report import Request, report

    request = Request(asked.export, asked.reports, asked.plan, asked.columns, asked.facility, pdf=not asked.no_pdf)
    if asked.each or asked.cluster or asked.at_once:
        return _each(asked, request, say)
    try:
        folder = report(request, say=say)
    except NotebookError as stopped:
        return _stop(str(stopped))
    _say(f"The page is {folder / 'internal' / 'page.html'}")
    _say(f"For handing on: {folder / 'shareable' / 'sheet.html'}")
    _say(f'A draft until: {START} issue "{folder}"')
    return 0


def _each(asked: argparse.Namespace, request, say: Callable[[str], None]) -> int:
    from kit.faults import ExportError
    from kit.pages.many import many

    if not asked.each or asked.facility:
        raise ExportError("--cluster and --at-once go with --each, and --facility does not; leave one of them out")
    if asked.at_once < 0:
        raise ExportError("--at-once: how many reports at a time, 1 or more")
    made = many(request, asked.cluster, asked.at_once, say)
    missing = [one.name for one in made if one.why]
    _say(f"{len(made) - len(missing)} of {len(made)} reports were made")
    return _stop(f"not made: {', '.join(missing)}") if missing else 0


def _issue(asked: argparse.Namespace) -> int:
    from kit.pages.issuing import fingerprint, issue

    revision = _revision(asked)
    _say(issue(revision))
    _say(f"Its fingerprint, to be written down elsewhere: {fingerprint(revision)}")
    _say(f"For handing on: {revision / 'shareable' / 'sheet.html'}")
    return 0


def _revision(asked: argparse.Namespace) -> Path:
    """The folder that was named, where the person stands or where reports lie if none was asked for elsewhere."""
    beside = HERE / asked.revision
    return beside if beside.exists() and not asked.revision.exists() else asked.revision


def _verify(asked: argparse.Namespace) -> int:
    from kit.pages.issuing import verify

    _say(verify(_revision(asked)))
    return 0


def _draft(asked: argparse.Namespace) -> int:
    say = _timed()
    say(STARTING)
    from kit.faults import ExportError
    from kit.intake.drafted import as_toml, summary
    from kit.intake.drafting import draft
    from kit.intake.naming import file_said
    from kit.study import MAP_NAME, folder_of

    to = Path(asked.columns) if asked.columns else folder_of(asked.export) / MAP_NAME
    if to.exists():
        raise ExportError(
            f"{file_said(to)}: there is one already; it may hold your work, so move it or name another place"
        )
    say("Looking for what each sheet and column holds")
    drafted = draft(asked.export)
    to.write_text(as_toml(drafted), encoding="utf-8")
    _say(*summary(drafted), f"The map is {_shown(to)}")
    named = f' --columns "{_shown(to)}"' if asked.columns else ""
    _say(f'Read it, correct it, then: {START} check "{_shown(asked.export)}"{named}')
    return 0


def _shown(path: Path) -> str:
    """A path as it was given, or what a message calls the file where its own or its folder's name tells who it is."""
    from kit.intake.naming import file_said, looks_like

    return f"({file_said(path)})" if any(map(looks_like, path.parts[-2:])) else str(path)


def _check(asked: argparse.Namespace) -> int:
    say = _timed()
    say(STARTING)
    from kit.checking import check
    from kit.intake.naming import file_said
    from kit.synced import synced_said

    for sentence in synced_said((file_said(asked.export), asked.export)):
        _say(sentence)
    say("Reading map, plan and export")
    found = check(asked.export, asked.plan, asked.columns)
    others = found.stops if len(found.stops) > 1 else []
    for title, lines in (("Read", found.read), ("Stops the report", others), ("Worth mending", found.mends[1:])):
        if lines:
            _say(f"{title}:", *(f"  {line}" for line in lines))
    _say(found.next)
    return 1 if found.stops else 0


def _template(asked: argparse.Namespace) -> int:
    from kit.intake.template import write_template

    written = write_template(asked.workbook)
    _say(f"The workbook is {written}")
    _say(f'Fill it in, lay a study-plan.toml beside it, then: {START} check "{_shown(written)}"')
    return 0


def _documentation(asked: argparse.Namespace) -> int:
    say = _timed()
    say(STARTING)
    from kit.pages.documentation import FIRST_LINE, refuse_place, write_documentation
    from kit.study import read_study

    refuse_place(asked.workbook)
    say("Reading and cleaning the export")
    study = read_study(asked.export, asked.plan, asked.columns)
    say("Writing the workbook")
    written = write_documentation(study, asked.workbook, asked.facility)
    _say(FIRST_LINE, f"The check is {written}")
    return 0


def _invent(asked: argparse.Namespace) -> int:
    say = _timed()
    say(STARTING)
    from kit.synthetic.export import write_all

    say("Inventing people, wounds and charts, and writing three exports")
    write_all(asked.folder)
    _say(f"The invented exports are in {asked.folder}")
    return 0


def _forget(asked: argparse.Namespace) -> int:
    from kit.kept import forget

    gone = forget()
    folder = _from_home(gone.folder)
    if not gone.studies:
        _say(f"Nothing is kept in {folder}")
        return 0
    many = "1 study" if gone.studies == 1 else f"{gone.studies} studies"
    _say(f"Removed the answers of {many} ({gone.size / 1024**2:.1f} MB) from {folder}")
    return 0


def _from_home(path: Path) -> str:
    """A path as a person writes it, without the name of the person."""
    home = Path.home()
    return str(Path("~") / path.relative_to(home)) if path.is_relative_to(home) else str(path)


def _dictionary(asked: argparse.Namespace) -> int:
    from kit.plan import plan_keys
    from kit.vocabulary import dictionary

    print(plan_keys(), dictionary(), sep="\n", end="")
    return 0


if __name__ == "__main__":
    warnings.showwarning = lambda *_: None  # what a library warns of may quote what stands in an export
    sys.exit(main())
