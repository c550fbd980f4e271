"""Words of the trade in several languages: what charts write for a value of ours, kept as data beside this module."""

from __future__ import annotations

import csv
import re
import unicodedata
from functools import cache
from importlib.resources import files

from kit.vocabulary import TABLES

DOUBTED = re.compile(r"[?<>~≈]")  # healed?, ~closed, <100% epithelialized: a mark that plain text loses


def plain(text: str) -> str:
    """Lower case, without accents, one space between words: `Fußulkus (li.)` becomes `fussulkus li`."""
    folded = unicodedata.normalize("NFKD", str(text).casefold())
    bare = "".join(letter for letter in folded if not unicodedata.combining(letter))
    return " ".join(re.findall(r"[a-z0-9]+", bare))


@cache
def words_for(column: str) -> dict[str, str]:
    """The words of a column, plain, and the value that each means."""
    return {word: row["value"] for row in _rows("words.csv") if row["column"] == column for word in _words(row)}


@cache
def site_words() -> dict[str, str]:
    """The words of sites of the body, plain, and the site that each means."""
    return {word: row["site"] for row in _rows("sites.csv") for word in _words(row)}


@cache
def header_words(table: str, column: str) -> frozenset[tuple[str, ...]]:
    """The headers under which a column of ours stands, each as its words; `*` for those that serve every table.

    `state=closed` names headers that ask, and what yes means below them; they are headers of `state` as well.
    """
    named = {tuple(column.split("_"))} if table != "*" and "=" not in column else set()
    rows = [
        row
        for row in _rows("headers.csv")
        if row["table"] == table and column in (row["column"], row["column"].split("=")[0])
    ]
    return frozenset(named | {tuple(words.split()) for row in rows for words in _words(row)})


def idle_words(kind: str) -> frozenset[str]:
    """Words that stand in headers beside those that matter: filler, around, number, date."""
    return frozenset(
        word for row in _rows("headers.csv") if (row["table"], row["column"]) == ("-", kind) for word in _words(row)
    )


@cache
def trade_words() -> frozenset[str]:
    """Every single word that stands in the lists, plain, and those of our own columns and values."""
    listed = [word for name in ("words.csv", "headers.csv", "sites.csv") for row in _rows(name) for word in _words(row)]
    ours = [name for table in TABLES.values() for column in table.columns for name in (column.name, *column.allowed)]
    return frozenset(word for phrase in (*listed, *map(plain, (*ours, *TABLES))) for word in phrase.split())


def _words(row: dict[str, str]) -> list[str]:
    return [plain(word) for word in row["words"].split("|")]


@cache
def _rows(name: str) -> list[dict[str, str]]:
    text = files("kit.intake").joinpath(name).read_text(encoding="utf-8")
    return list(csv.DictReader(text.splitlines()))
