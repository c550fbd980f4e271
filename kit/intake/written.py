"""Cells that tell several things at once: a size with its state, a site with its side, a treatment with its set-up."""

from __future__ import annotations

import numpy as np
import pandas as pd

from kit.intake.cells import Cells
from kit.intake.places import Site, read_sites
from kit.intake.size_words import read_sizes
from kit.intake.treatments import TOLD, read_treatment
from kit.intake.values import pointed, refuse_unread

Told = tuple[pd.DataFrame, dict[str, pd.Series]]


def read_size_words(cells: Cells) -> Told:
    """Length, width, depth, undermining, tunnelling and state, after the grammar of sizes; the map's words come first.

    A word that cannot be read has no size, and counts as open: a slip must never heal a wound. What says that the wound
    was not looked at costs the row. Raises ExportError where too many words cannot be read.
    """
    words = pointed(cells.words, cells.raw.decimal)
    sizes = read_sizes(words.mask(cells.not_known, ""), (cells.place.unit or "cm").lower())
    state = cells.folded.map(cells.meant).astype(object).fillna(sizes["state"])
    unread = state.isna() & ~cells.not_known
    refuse_unread(cells, unread, "a size that can be read")
    seen_open = (state == "open") & ~unread
    told = sizes.assign(state=state.mask(unread, "open").where(state != "unseen", None), seen_open=seen_open)
    return told, {"unseen": state == "unseen"}  # what was not read is told once, where no other cell gives a size


def read_site_words(cells: Cells) -> Told:
    """Site and side, and a second of each where a cell names two; the map's own words come first."""
    name = cells.column.name
    read = [(Site(cells.meant[word]),) if word in cells.meant else read_sites(word) for word in cells.folded]
    first = [sites[0] if sites else Site(None) for sites in read]
    second = [sites[1] if len(sites) > 1 else Site(None) for sites in read]
    told = {name: [site.site for site in first], _side(name): [site.side for site in first]}
    if name == "site":
        told |= {"also_site": [site.site for site in second], "also_side": [site.side for site in second]}
    unread = np.array([not sites for sites in read], dtype=bool) & ~cells.not_known.to_numpy()
    return pd.DataFrame(told, index=cells.words.index, dtype=object), {"unknown": pd.Series(unread)}


def read_treatment_words(cells: Cells) -> Told:
    """Modality, and what else of a treatment its cell tells; the closed list and the map's own words come first.

    Raises ExportError where too many words cannot be read.
    """
    listed = {value: value for value in cells.column.allowed} | cells.meant
    read = [{"modality": listed[word]} if word in listed else read_treatment(word) for word in cells.folded]
    told = pd.DataFrame(read, index=cells.words.index, columns=list(TOLD), dtype=object)
    unread = told["modality"].isna() & ~cells.not_known
    refuse_unread(cells, unread, f"in the list ({', '.join(cells.column.allowed)}) or the map")
    return told.where(told.notna(), None), {"unknown": unread}


def _side(site: str) -> str:
    return site.replace("site", "side")
