"""The one way a notebook shows anything: escaped HTML, and nothing beside it."""

from __future__ import annotations

import base64
import html
import io
import textwrap
from collections.abc import Callable

import pandas as pd
from matplotlib import rc_context
from matplotlib.figure import Figure

from kit.words import label, spoken

PIXELS = 84  # of an inch on screen, so that lettering has one size in every figure
NOTHING = "Nothing to show"  # heads a table without columns
LONGEST = 90  # characters of the name of a table without caption
MARK = {"kit": "shown"}  # outputs without this mark never reach a report


def show(thing: str | pd.DataFrame | Figure, says: str = "") -> None:
    """Show a sentence, a table or a figure in a notebook; words of several lines stand as they are written.

    `says` is the caption of a table, or the description of a figure for those who cannot see it (needed there).
    Everything is escaped; only text/html is emitted, so that no copy of the rows travels beside it.
    """
    from IPython.display import display  # a notebook's own library: nothing else in the kit needs it

    display({"text/html": as_html(thing, says)}, raw=True, metadata={"text/html": MARK})


def as_html(thing: str | pd.DataFrame | Figure, says: str = "") -> str:
    """The HTML of a sentence, table or figure. Raises TypeError for anything else, ValueError for a figure unsaid."""
    if isinstance(thing, str) and "\n" in thing:
        return f'<pre class="kit-text"{_reached_by_keys(says or thing.splitlines()[0])}>{html.escape(thing)}</pre>'
    if isinstance(thing, str):
        return f'<p class="kit-says">{html.escape(thing)}</p>'
    if isinstance(thing, pd.DataFrame):
        return table_html(thing, says)
    if isinstance(thing, Figure):
        return figure_html(thing, says)
    raise TypeError("show takes a sentence, a table or a figure")


def table_html(frame: pd.DataFrame, caption: str = "") -> str:
    """A table with labelled headings; numbers right, words left, blanks as a dash. The first column heads its row.

    It stands in a box of its own that scrolls where the screen is narrower, with the keyboard too (WCAG 2.2, 1.4.10).
    """
    if not len(frame.columns):
        frame = pd.DataFrame(columns=[NOTHING])
    names = [str(name) for name in frame.columns]
    numeric = [pd.api.types.is_numeric_dtype(kind) and not pd.api.types.is_bool_dtype(kind) for kind in frame.dtypes]
    head = "".join(
        f'<th scope="col"{_side(number)}>{html.escape(label(name))}</th>'
        for name, number in zip(names, numeric, strict=True)
    )
    body = "".join(_row_html(row, numeric) for row in frame.itertuples(index=False, name=None))
    above = f"<caption>{html.escape(caption)}</caption>" if caption else ""
    table = f'<table class="kit-table">{above}<thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>'
    return f'<div class="scrolls"{_reached_by_keys(caption or _told_by_heads(frame))}>{table}</div>'


def _told_by_heads(frame: pd.DataFrame) -> str:
    """What a table without caption is of: its first heading and what stands below, so that no two are called alike."""
    below = ", ".join(_cell(value) for value in frame.iloc[:, 0]) or "no row"
    return textwrap.shorten(f"{label(str(frame.columns[0]))}: {below}", LONGEST, placeholder=" …")


def _reached_by_keys(name: str) -> str:
    return f' tabindex="0" role="region" aria-label="{html.escape(name)}"'


def _side(number: bool) -> str:
    return ' class="number"' if number else ""


def _row_html(row: tuple, numeric: list[bool]) -> str:
    cells = [(html.escape(_cell(value)), _side(number)) for value, number in zip(row, numeric, strict=True)]
    first, *rest = cells
    return f'<tr><th scope="row"{first[1]}>{first[0]}</th>' + "".join(f"<td{c}>{v}</td>" for v, c in rest) + "</tr>"


def _cell(value: object) -> str:
    if value is None or value is pd.NA or value != value:
        return "–"
    if pd.api.types.is_bool(value):  # numpy's own too, which a column with blanks holds
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:.0f}" if value.is_integer() else f"{value:.2f}"
    return spoken(str(value))


def figure_html(figure: Figure, says: str) -> str:
    """A figure as an inline picture with its description. Raises ValueError where the description is missing."""
    if not says:
        raise ValueError("a figure needs a description for those who cannot see it")
    picture = base64.b64encode(png(figure)).decode()
    width = round(figure.get_figwidth() * PIXELS)
    return f'<figure><img alt="{html.escape(says)}" width="{width}" src="data:image/png;base64,{picture}"></figure>'


def png(figure: Figure, dots: int = 160) -> bytes:
    """The figure as PNG, without the metadata that would make two runs differ."""
    return _saved(figure, lambda out: figure.savefig(out, format="png", dpi=dots, metadata={"Software": None}))


def svg(figure: Figure) -> bytes:
    """The figure as SVG, without date and with the same names inside at every run."""
    with rc_context({"svg.hashsalt": "kit"}):
        return _saved(figure, lambda out: figure.savefig(out, format="svg", metadata={"Date": None}))


def _saved(figure: Figure, save: Callable[[io.BytesIO], None]) -> bytes:
    out = io.BytesIO()
    save(out)
    return out.getvalue()
