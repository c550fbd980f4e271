"""Where in an export each table lies: files of a folder, one file, or sheets of a workbook, one or several."""

from __future__ import annotations

import os
import re
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, ExitStack, contextmanager
from pathlib import Path

from kit.faults import ExportError
from kit.intake.files import Sheet, parquet_sheet, readable, text_sheet, workbook_sheet
from kit.intake.mapping import TableMap
from kit.intake.naming import file_said, said
from kit.intake.texts import Hits
from kit.intake.workbooks import open_workbook
from kit.vocabulary import Table

WORKBOOKS = (".xlsx", ".xlsm")
FILES = {".csv": text_sheet, ".tsv": text_sheet, ".txt": text_sheet, ".parquet": parquet_sheet}
OWN = (".csv", ".parquet")  # what a file with our own name for a table may end in
AS_MAPPED = "as the map says"
OLDER = (".xls", ".xlsb", ".ods")
Find = Callable[[Table, TableMap | None, Hits], list[tuple[Path, Sheet]]]


def opened(export: Path) -> AbstractContextManager[Find]:
    """What finds the files or sheets of a table in a folder, a single file or a workbook, until the end of a block."""
    if not export.is_file():
        return _in_folder(export, "")
    return _in_workbook(export) if export.suffix.lower() in WORKBOOKS else _in_folder(export.parent, export.name)


@contextmanager
def _in_workbook(workbook: Path) -> Iterator[Find]:
    def find(table: Table, mapped: TableMap | None, hits: Hits) -> list[tuple[Path, Sheet]]:
        named = mapped.sheet if mapped else None
        name = named or table.name
        sheets = [workbook_sheet(book, found, hits) for found in (book.called(named) if named else book.own(name))]
        if not sheets and (table.required or mapped):
            raise _not_there(
                workbook,
                table,
                f"a sheet called {said(name, AS_MAPPED)}",
                bool(mapped and mapped.file and not mapped.sheet),
            )
        return [(workbook, sheet) for sheet in sheets]

    with ExitStack() as opened:
        with readable(file_said(workbook)):  # only what is wrong with the file is said of the file
            book = opened.enter_context(open_workbook(workbook))
        yield find


@contextmanager
def _in_folder(folder: Path, alone: str) -> Iterator[Find]:
    """`alone` is the name of the single file that is the export, where it is one."""

    def find(table: Table, mapped: TableMap | None, hits: Hits) -> list[tuple[Path, Sheet]]:
        named = mapped.file if mapped and mapped.file else alone or None
        files = _called(folder, named) if named else _own(folder, table.name)
        if not files and (table.required or mapped):
            _refuse_folder_around_workbook(folder)
            expected = f"a file called {said(named or table.name + OWN[0], AS_MAPPED)}"
            raise _not_there(folder, table, expected, bool(mapped and mapped.sheet and not named))
        return [(file, _file_sheet(file, hits)) for file in files]

    yield find


def _own(folder: Path, table: str) -> list[Path]:
    """The one file with our own name for a table, in capitals or not."""
    names = [table + ending for ending in OWN]
    with readable(file_said(folder)):
        alike = sorted(file.name for file in folder.iterdir() if file.name.lower() in names)
    if len(alike) > 1:
        raise ExportError(f"{file_said(folder)}: {table} stands there twice, as {' and as '.join(alike)}; keep one")
    return [file for name in alike for file in _called(folder, name)]


def _called(folder: Path, name: str) -> list[Path]:
    """The files of that name, or of names like `week-*.csv`, in the order of the numbers in their names.

    Raises ExportError where a folder, a pipe or a link that leads nowhere has that name.
    """
    alone = folder / name
    with readable(said(name, AS_MAPPED)):
        if alone.is_file():
            return [alone]
        if alone.is_symlink() or alone.exists():
            raise ExportError(
                f"{file_said(alone)}: is no file but a folder or a link that leads nowhere; put the file in its place"
            )
        return sorted(filter(Path.is_file, folder.glob(name)), key=_by_number)


def _by_number(file: Path) -> list[tuple[int, str]]:
    """`Wk of 2-5` goes before `Wk of 10-1`."""
    return [(int(part), "") if part.isdigit() else (0, part) for part in re.split(r"(\d+)", file.name)]


def refuse_no_export(export: Path, has_map: bool) -> None:
    """Stops where there is nothing, or a file that is no workbook and of which no map says what it holds."""
    if not os.path.exists(export):  # also where a name is longer than any file's
        raise ExportError(f"{file_said(export)}: there is no such export; give a folder of CSV files or a workbook")
    ending = export.suffix.lower()
    if export.is_file() and ending in OLDER:
        raise _older(export)
    if export.is_file() and ending not in WORKBOOKS and (not has_map or ending not in FILES):
        raise ExportError(
            f"{file_said(export)}: not a workbook (.xlsx); put single CSV files into a folder and name that, or give a "
            "column map that says which tables this one file holds"
        )


def _not_there(export: Path, table: Table, expected: str, misnamed: bool) -> ExportError:
    """`misnamed` where the map gives a file for a workbook or a sheet for a folder."""
    why = "needed" if table.required else "mapped"
    cure = "; in a workbook write sheet = ..., in a folder file = ..." if misnamed else ""
    return ExportError(f"{file_said(export)}: {table.name} is {why} and not there; expected {expected}{cure}")


def _refuse_folder_around_workbook(folder: Path) -> None:
    endings = [file.suffix.lower() for file in folder.iterdir() if not file.name.startswith("~$")]
    if not set(endings) & set(FILES) and sum(ending in WORKBOOKS for ending in endings) == 1:
        raise ExportError(f"{file_said(folder)}: this folder holds a workbook; name the workbook itself as the export")


def _older(file: Path) -> ExportError:
    return ExportError(
        f"{file_said(file)}: a workbook of another kind; open it in a spreadsheet program and save it as .xlsx"
    )


def _file_sheet(file: Path, hits: Hits) -> Sheet:
    if file.suffix.lower() in OLDER:
        raise _older(file)
    if file.suffix.lower() in WORKBOOKS:
        raise ExportError(f"{file_said(file)}: a workbook must hold all tables; name it as the export, not its folder")
    return FILES.get(file.suffix.lower(), text_sheet)(file, hits)
