"""What the command line says of itself: each command's help, and one line for whatever was not understood."""

from __future__ import annotations

import argparse
import difflib
import re
import sys
from dataclasses import dataclass
from typing import NoReturn

START = "python3 start.py"
STATUSES = """ends with:
  0  done
  1  stopped, with one line that says why
  2  the command was not understood
  3  a fault of the kit itself; please report its line
  130 after Ctrl-C, 143 when the system ends it: nothing unfinished is kept, run it again
"""
HEAD = (
    "Quarterly outcome reports for wound-healing modality programs, from a de-identified export of charts. "
    "Every command has its own help: python3 start.py report --help. On Windows type py for python3."
)
QUIET_WORD = re.compile(r"--?[a-z][a-z-]{0,30}|[a-z]{2,20}")  # what may be repeated: no name, no number, no path


@dataclass(frozen=True)
class Command:
    """`short` stands in the list of commands, `long` in the command's own help; `examples`: words, what they do."""

    short: str
    long: str
    examples: tuple[tuple[str, str], ...]


COMMANDS = {
    "report": Command(
        "make the quarter's report from an export",
        "Reads and cleans the export, compares, runs the notebooks and lays a numbered draft into reports/, whole or "
        "not at all. Takes about a minute for four hundred wounds. It always computes anew.",
        (
            ("report my-export", "on a folder of CSV files that holds a study-plan.toml, and a columns.toml if needed"),
            ("report export.xlsx --facility Tarnwick", "on a workbook, for one facility"),
            ("report export.xlsx --each", "for each of its facilities and for the group, side by side"),
        ),
    ),
    "issue": Command(
        "freeze a draft report: status issued, superseding the one before",
        "Freezes a draft once it has been read: its pages say ISSUED, the ledger has a line, and what was issued "
        "before says by which it is superseded. Nothing that is issued is changed afterwards.",
        (("issue reports/Tarnwick/2026-Q2/r1", "freeze that draft"),),
    ),
    "verify": Command(
        "see that an issued report is as it was issued",
        "Looks at every file of an issued report, and at what the ledger says of it, and tells the fingerprint that "
        "was to be written down when it was issued.",
        (("verify reports/Tarnwick/2026-Q2/r1", "is that report still what was issued?"),),
    ),
    "draft": Command(
        "draft a column map from the headers and cells of an export",
        "Finds out which sheet and column holds what and writes it to columns.toml beside the data, never over one "
        "that is there. Read the map line by line: what is in doubt stands behind # ?.",
        (
            ("draft my-export", "of a folder"),
            ('draft "Skin report.xlsx" --columns skin.toml', "of a workbook, to a file of another name"),
        ),
    ),
    "check": Command(
        "check map, plan and export without a report, and say what to fix next",
        "Reads everything as a report would, says what stops it and what is worth mending, and ends with what to fix "
        "next. Ends with 1 as long as something stops the report.",
        (
            ("check my-export", "with the plan and the map that lie there"),
            ("check export.xlsx --plan next.toml", "with another plan"),
        ),
    ),
    "template": Command(
        "write an empty workbook to fill in",
        "Writes an empty workbook with a sheet a table, a line of help for every column and lists to choose from, for "
        "a facility that has no export at all.",
        (("template our-wounds.xlsx", "the empty workbook, which must not be there yet"),),
    ),
    "documentation": Command(
        "write what an export shows of what US NCD 270.1 asks, for the compliance officer",
        "Writes a workbook that says, week by week, what the export shows of what US NCD 270.1 asks of stimulation. It "
        "lies outside reports/; send it to the compliance officer first.",
        (("documentation export.xlsx check.xlsx --facility Tarnwick", "the check of one facility"),),
    ),
    "forget": Command(
        "remove the answers that the desk keeps on this computer",
        "Notebooks opened with python3 start.py lab keep answers that took long, so that they come back in seconds: "
        "numbers alone, no row of a person, readable by you alone. This removes them all, and says from where.",
        (("forget", "remove what is kept, of every export"),),
    ),
    "invent": Command(
        "make the invented exports again",
        "Writes the three invented exports (clean, lifelike, broken) with what was planted in them; the same bytes "
        "every time.",
        (("invent", "into data/synthetic"), ("invent somewhere", "into another folder")),
    ),
    "dictionary": Command(
        "print the keys of the plan and the data dictionary",
        "Prints every key of the study plan and every column that the kit reads, as they stand in the README.",
        (("dictionary", "on the screen"), ("dictionary > dictionary.md", "into a file")),
    ),
}


class Words(argparse.ArgumentParser):
    """A parser that answers with one line where it does not understand, and never repeats what may name a person."""

    def error(self, message: str) -> NoReturn:
        """Say what is lacking, and end with 2."""
        lacking = message.removeprefix("the following arguments are required: ")
        if lacking != message:
            message = f"it needs {lacking.replace(', ', ' and ')}"
        elif met := re.fullmatch(r"argument ([^:]+): expected one argument", message):
            message = f"{met[1]} needs a value after it"
        elif not re.fullmatch(r"[A-Za-z ,:-]{1,80}", message):
            message = "the words do not fit together"
        sys.exit(not_understood(message, self.prog))


def described(parser: Words) -> argparse._SubParsersAction:
    """The list of commands, to which `command` adds."""
    parser.description, parser.epilog = HEAD, STATUSES
    return parser.add_subparsers(metavar="command", dest="command")


def command(commands: argparse._SubParsersAction, name: str) -> argparse.ArgumentParser:
    """The parser of one command, with its paragraph, its examples and the statuses it ends with."""
    told = COMMANDS[name]
    lines = "".join(f"  {START} {words}\n      {does}\n" for words, does in told.examples)
    return commands.add_parser(
        name, help=told.short, description=told.long, epilog=f"examples:\n{lines}\n{STATUSES}", allow_abbrev=False,
        formatter_class=Shown,
    )  # fmt: skip


class Shown(argparse.RawDescriptionHelpFormatter):
    """The paragraph is filled to the width, examples and statuses stay as they are written."""

    def _fill_text(self, text: str, width: int, indent: str) -> str:
        if "\n" in text:
            return super()._fill_text(text, width, indent)
        return argparse.HelpFormatter._fill_text(self, text, width, indent)


def unknown(given: list[str]) -> str:
    """What is wrong with the first word, where it names no command: empty where it does."""
    word = next((word for word in given if not word.startswith("-")), "")
    return "" if not word or word in COMMANDS else f"there is no command {_named(word)}{_nearest(word, COMMANDS)}"


def left_over(left: list[str], options: list[str]) -> str:
    """What is wrong with words that no command takes."""
    left = [word for word in left if word != "--"]
    if not left:
        return "no command is named"
    option = next((word.split("=")[0] for word in left if word.startswith("-")), "")
    if option:
        return f"there is no option {_named(option)} here{_nearest(option, options)}"
    return "there is a word too many; put a name with spaces in quotes"


def not_understood(why: str, prog: str = START) -> int:
    """One line on the error stream; returns the status."""
    print(f"Not understood: {why}. What there is: {prog} --help", file=sys.stderr)
    return 2


def _named(word: str) -> str:
    return word if QUIET_WORD.fullmatch(word) else "of that name"


def _nearest(word: str, names: object) -> str:
    near = difflib.get_close_matches(word.lower(), list(names), n=1, cutoff=0.5)
    return f" (did you mean {near[0]}?)" if near else ""
