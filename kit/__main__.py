"""The command line: `python -m kit report` and its few companions."""

from __future__ import annotations

import argparse
import errno
import sys
import time
import traceback
import warnings
from pathlib import Path

HERE = Path(__file__).resolve().parents[1]
CURES = {
    (errno.ENOSPC, errno.EDQUOT, errno.EFBIG): "make room where reports and temporary files lie, and run again",
    (errno.EROFS, errno.EACCES, errno.EPERM): "see who may write there and whether another program has it open",
    (errno.EEXIST, errno.ENOTDIR): "a file is in the way of a folder; move it, or name another place",
    (errno.ENOMEM, errno.EAGAIN): "close other programs and run again",
}
INVENTED = HERE / "data" / "synthetic" / "lifelike"
EXAMPLES = """examples:
  python -m kit report
      the report on the invented export
  python -m kit report my-export
      on a folder of CSV files that use the kit's own column names and hold a study-plan.toml
  python -m kit draft export.xlsx
      write columns.toml, a column map, beside a workbook whose sheets and headers are its own
  python -m kit check export.xlsx
      read map, plan and export, and say what to fix next
  python -m kit report export.xlsx --facility Tarnwick
      on that workbook, for one facility
  python -m kit template our-wounds.xlsx
      an empty workbook to fill in, where there is no export at all
  python -m kit issue reports/Tarnwick/2026-Q2/r1
      freeze that draft: its pages say ISSUED, and what was issued before is superseded
  python -m kit documentation export.xlsx check.xlsx --facility Tarnwick
      what the export shows of what US NCD 270.1 asks; send it to the compliance officer first
"""


def main(given: list[str] | None = None) -> int:
    """Run one command: 0 done, 1 stopped by the input, 2 asked wrongly, 3 stopped by a fault of the kit itself.

    An end from outside gives the status that other programs expect: 130 after Ctrl-C, 143 after SIGTERM.
    """
    from kit.pages.endings import heeding, status_of

    try:
        with heeding():
            return _done(_parser().parse_args(given))
    except KeyboardInterrupt as ended:
        print("Stopped: interrupted; nothing unfinished was kept", file=sys.stderr)
        return status_of(ended)


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


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="kit", description="Quarterly outcome reports for wound-healing modality programs.",
        epilog=EXAMPLES, formatter_class=argparse.RawDescriptionHelpFormatter,
    )  # fmt: skip
    commands = parser.add_subparsers(required=True, metavar="command")
    report = commands.add_parser("report", help="make the quarter's report from an export")
    report.add_argument(
        "export", nargs="?", type=Path, default=INVENTED, help="folder or workbook (default: the invented export)"
    )
    _add_plan_and_map(report)
    report.add_argument("--facility", default="", help="report on one facility of the export (default: all together)")
    report.add_argument(
        "--reports", type=Path, default=HERE / "reports", help="where reports are kept (default: reports/)"
    )
    report.add_argument("--no-pdf", action="store_true", help="do not print page and sheet as PDF, browser or not")
    report.set_defaults(run=_report)
    issuing = commands.add_parser("issue", help="freeze a draft report: status issued, superseding the one before")
    issuing.add_argument("revision", type=Path, help="its folder, like reports/<facility>/<quarter>/r1")
    issuing.set_defaults(run=_issue)
    draft = commands.add_parser("draft", help="draft a column map from the headers and cells of an export")
    draft.add_argument("export", type=Path, help="folder or workbook")
    draft.add_argument("--columns", default="", help="where the map goes (default: columns.toml with the export)")
    draft.set_defaults(run=_draft)
    check = commands.add_parser("check", help="check map, plan and export without a report, and say what to fix next")
    check.add_argument("export", type=Path, help="folder or workbook")
    _add_plan_and_map(check)
    check.set_defaults(run=_check)
    template = commands.add_parser("template", help="write an empty workbook to fill in")
    template.add_argument("workbook", type=Path, help="what it is to be called (.xlsx)")
    template.set_defaults(run=_template)
    documentation = commands.add_parser(
        "documentation", help="write what an export shows of what US NCD 270.1 asks, for the compliance officer"
    )
    documentation.add_argument("export", type=Path, help="folder or workbook")
    documentation.add_argument("workbook", type=Path, help="what the check is to be called (.xlsx); not among reports")
    _add_plan_and_map(documentation)
    documentation.add_argument("--facility", default="", help="which facility, where the export holds several")
    documentation.set_defaults(run=_documentation)
    invent = commands.add_parser("invent", help="make the invented exports again")
    invent.add_argument("folder", nargs="?", type=Path, default=HERE / "data" / "synthetic", help="where they go")
    invent.set_defaults(run=_invent)
    dictionary = commands.add_parser("dictionary", help="print the keys of the plan and the data dictionary")
    dictionary.set_defaults(run=_dictionary)
    return parser


def _add_plan_and_map(command: argparse.ArgumentParser) -> None:
    command.add_argument("--plan", default="", help="study plan (default: study-plan.toml with the export)")
    command.add_argument("--columns", default="", help="column map (default: columns.toml with the export, if there)")


def _report(asked: argparse.Namespace) -> int:
    from kit.pages.kernel import NotebookError
    from kit.pages.report import Request, report

    request = Request(asked.export, asked.reports, asked.plan, asked.columns, asked.facility, pdf=not asked.no_pdf)
    began = time.monotonic()
    try:
        folder = report(request, say=lambda sentence: _say(f"  {time.monotonic() - began:5.1f} s  {sentence}"))
    except NotebookError as stopped:
        return _stop(str(stopped))
    _say(f"The page is {folder / 'internal' / 'page.html'}")
    _say(f"For handing on: {folder / 'shareable' / 'sheet.html'}")
    _say(f'A draft until: python3 start.py issue "{folder}"')
    return 0


def _issue(asked: argparse.Namespace) -> int:
    from kit.pages.issuing import issue

    _say(issue(asked.revision))
    return 0


def _draft(asked: argparse.Namespace) -> int:
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
    drafted = draft(asked.export)
    to.write_text(as_toml(drafted), encoding="utf-8")
    _say(*summary(drafted), f"The map is {_shown(to)}")
    named = f' --columns "{_shown(to)}"' if asked.columns else ""
    _say(f'Read it, correct it, then: python3 start.py check "{_shown(asked.export)}"{named}')
    return 0


def _shown(path: Path) -> str:
    """A path as it was given, or what a message calls the file where its own or its folder's name tells who it is."""
    from kit.intake.naming import file_said, looks_like

    return f"({file_said(path)})" if any(map(looks_like, path.parts[-2:])) else str(path)


def _check(asked: argparse.Namespace) -> int:
    from kit.checking import check

    found = check(asked.export, asked.plan, asked.columns)
    others = found.stops if len(found.stops) > 1 else []
    for title, lines in (("Read", found.read), ("Stops the report", others), ("Worth mending", found.mends[1:])):
        if lines:
            _say(f"{title}:", *(f"  {line}" for line in lines))
    _say(found.next)
    return 1 if found.stops else 0


def _template(asked: argparse.Namespace) -> int:
    from kit.intake.template import write_template

    _say(f"The workbook is {write_template(asked.workbook)}")
    return 0


def _documentation(asked: argparse.Namespace) -> int:
    from kit.pages.documentation import FIRST_LINE, refuse_place, write_documentation
    from kit.study import read_study

    refuse_place(asked.workbook)
    study = read_study(asked.export, asked.plan, asked.columns)
    written = write_documentation(study, asked.workbook, asked.facility)
    _say(FIRST_LINE, f"The check is {written}")
    return 0


def _invent(asked: argparse.Namespace) -> int:
    from kit.synthetic.export import write_all

    write_all(asked.folder)
    _say(f"The invented exports are in {asked.folder}")
    return 0


def _dictionary(asked: argparse.Namespace) -> int:
    from kit.plan import plan_keys
    from kit.vocabulary import dictionary

    print(plan_keys(), dictionary(), sep="\n", end="")
    return 0


if __name__ == "__main__":
    warnings.showwarning = lambda *_: None  # what a library warns of may quote what stands in an export
    sys.exit(main())
