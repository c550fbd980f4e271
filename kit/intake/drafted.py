"""A drafted map as the TOML file that a person reads, corrects and keeps."""

from __future__ import annotations

import json
import re

from kit.intake.drafting import Draft
from kit.intake.mapping import Across, Place, TableMap, meanings
from kit.vocabulary import TABLES

HEAD = """\
# A column map, drafted from the export. Read every line against it before you use it: what stands here decides what
# is counted. Lines that begin with # are for you alone. What the draft doubts or lacks stands behind "# ?".
"""


def as_toml(draft: Draft) -> str:
    """The text of a column map with every doubt beside what it is about.

    It holds headers, names of files and sheets, and our own words; no cell of the export. Of columns that are not read
    it tells letters alone.
    """
    blocks = [HEAD, *(_block(name, mapped, _beside(draft, name)) for name, mapped in draft.mapping.items())]
    blocks += [f"# ? {doubt.table}: {doubt.says}\n" for doubt in draft.missing if doubt.table not in draft.mapping]
    if draft.unplaced:
        lines = [f"#   {_line(label)}: {letters}" for label, letters in draft.unplaced.items()]
        blocks.append("\n".join(["# Columns that hold something and are not read:", *lines]) + "\n")
    return "\n".join(blocks)


def _beside(draft: Draft, name: str) -> dict[str, list[str]]:
    """What there is to say about each column of a table."""
    told: dict[str, list[str]] = {}
    for doubt in (*draft.missing, *draft.doubts):
        if doubt.table == name:
            told.setdefault(doubt.column, []).append(doubt.says)
    return told


def _block(name: str, mapped: TableMap, told: dict[str, list[str]]) -> str:
    lines = [f"[{name}]"]
    lines += [f"{key} = {_text(getattr(mapped, key))}" for key in ("file", "sheet") if getattr(mapped, key)]
    if mapped.decimal != "point":
        lines.append(f"decimal = {_text(mapped.decimal)}")
    if mapped.only:
        lines.append(f"only = {{ column = {_text(mapped.only.column)}, words = {_list(mapped.only.words)} }}")
    if mapped.across:
        lines += [*(f"# ? day: {_line(says)}" for says in told.pop("day", ())), f"across = {_across(mapped.across)}"]
    lines.append(f"[{name}.columns]")
    names = [column.name for column in TABLES[name].columns]
    for column in sorted({*mapped.columns, *told}, key=names.index):
        lines += [f"# ? {column}: {_line(says)}{_listed(name, column, says)}" for says in told.get(column, ())]
        if column in mapped.columns:
            lines.append(f"{column} = {_place(mapped.columns[column])}")
    return "\n".join(lines) + "\n"


def _listed(table: str, column: str, says: str) -> str:
    """Our own words, where the person has to say which of theirs means which."""
    if "under values" not in says:
        return ""
    allowed = meanings(TABLES[table].column(column))
    return f', as in values = {{ "theirs" = "{allowed[0]}" }}; ours are {", ".join(allowed)}, unknown'


def _place(place: Place) -> str:
    plain = place.column and not (place.unit or place.format or place.year or place.values)
    if plain:
        return _text(place.column)
    parts = [f"column = {_text(place.column)}"] if place.column else []
    parts += [f"join = {_list(place.join)}"] if place.join else []
    parts += ["sheet_name = true"] if place.sheet_name else []
    parts += [f"{key} = {_text(getattr(place, key))}" for key in ("unit", "format") if getattr(place, key)]
    parts += [f"year = {place.year}"] if place.year else []
    if place.values:
        words = ", ".join(f"{_text(theirs)} = {_text(ours)}" for theirs, ours in place.values.items())
        parts.append(f"values = {{ {words} }}")
    return f"{{ {', '.join(parts)} }}"


def _across(across: Across) -> str:
    parts = [f"headers = {_text(across.headers)}", f"format = {_text(across.format)}"]
    parts += [f"year = {across.year}"] if across.year else []
    parts += [f"unit = {_text(across.unit)}"] if across.unit else []
    parts += [f"holds = {_text(across.holds)}"] if across.holds != "dimensions" else []
    return f"{{ {', '.join(parts)} }}"


def _line(text: str) -> str:
    """A text that stays in its comment, though a file may be called by a name with a line break."""
    return re.sub(r"[\x00-\x1f\x7f\x85\u2028\u2029]", " ", text)


def _list(texts: tuple[str, ...]) -> str:
    return f"[{', '.join(map(_text, texts))}]"


def _text(text: str) -> str:
    """A TOML string. JSON writes the same escapes, but for the one character that TOML will not have bare."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def summary(draft: Draft) -> list[str]:
    """What was drafted, for the person at the desk: placed, in doubt, not found, left alone."""
    lines = [*draft.told]
    for name, mapped in draft.mapping.items():
        places = len(mapped.columns) + (1 if mapped.across else 0)
        doubts = len({doubt.column for doubt in draft.doubts if doubt.table == name})
        where = mapped.sheet or mapped.file or "the file"
        lines.append(f"{name}: {places} columns placed, from {where}" + (f"; {doubts} to look at" if doubts else ""))
    lines += [f"{doubt.table}{'.' * bool(doubt.column)}{doubt.column}: {doubt.says}" for doubt in draft.missing]
    lines += [f"not read in {label}: columns {letters}" for label, letters in draft.unplaced.items()]
    return lines
