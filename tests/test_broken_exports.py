"""A corpus of broken exports: a clear line, a counted set-aside, or the same study; never a traceback, nothing lost."""

import os
import re

import pytest

from kit.__main__ import main
from kit.checking import check
from kit.study import read_study
from kit.vocabulary import TABLES
from tests.broken_exports import CORPUS, COUNTED, FINE, MARK, STOPS, lay, valid


def of(comes):
    return [name for name, one in CORPUS.items() if one.comes == comes]


def lying(folder):
    """Every path below a folder with its size and time: what a command that only reads leaves as it was."""
    return {
        (os.path.join(at, name), os.lstat(os.path.join(at, name)).st_mtime_ns)
        for at, folders, files in os.walk(folder)
        for name in [*folders, *files]
    }


def is_line(text):
    return text.isprintable() and text.strip() == text and len(text) < 2000 and MARK not in text


def test_the_corpus_is_large_and_every_entry_has_a_name_of_its_own():
    assert len(CORPUS) >= 200
    assert min(len(of(comes)) for comes in (STOPS, COUNTED, FINE)) >= 40
    assert sum(one.holds_mark for one in CORPUS.values()) >= 10


@pytest.mark.parametrize("name", of(STOPS))
def test_what_cannot_be_used_stops_in_one_line_that_quotes_nothing(name, tmp_path, capsys):
    export = lay(name, tmp_path / "export")
    before = lying(tmp_path)
    assert main(["report", str(export), "--reports", str(tmp_path / "reports")]) == 1
    said = capsys.readouterr()
    assert re.fullmatch(r"Stopped: [^\n]+\n", said.err)
    assert is_line(said.err.removesuffix("\n"))
    assert "fault of the kit" not in said.err
    found = check(export)
    assert found.stops and all(map(is_line, [*found.stops, *found.read]))
    assert lying(tmp_path) == before


@pytest.mark.parametrize("name", [*of(COUNTED), *of(FINE)])
def test_what_can_be_read_is_kept_or_set_aside_and_nothing_is_lost(name, tmp_path):
    export = lay(name, tmp_path / "export")
    whole = read_study(valid(tmp_path / "valid")).account
    before = lying(tmp_path)
    study = read_study(export)
    account = study.account
    if CORPUS[name].comes == FINE:  # what a reader passes over never comes to the account
        assert account["rows_in"].tolist() == whole["rows_in"].tolist()
    assert (account["kept"] + account["set_aside"]).tolist() == account["rows_in"].tolist()
    assert bool(len(study.faults)) is (CORPUS[name].comes == COUNTED)
    assert not any(MARK in str(getattr(study, table).to_numpy().tolist()) for table in TABLES)
    assert lying(tmp_path) == before


LEADS_OUT = r"a map (that (climbs|looks)|that names a (drive|place|folder)|that names nothing|with a nought byte)"


@pytest.mark.parametrize("name", [name for name in CORPUS if re.match(LEADS_OUT, name)])
def test_a_map_leads_nowhere_but_into_the_export_s_own_folder(name, tmp_path):
    found = check(lay(name, tmp_path / "export"))
    assert len(found.stops) == 1
    assert found.stops[0].startswith("columns.toml: measurements: file must be the bare name of a file")


def test_the_export_that_all_are_made_of_has_no_fault(tmp_path):
    study = read_study(valid(tmp_path / "export"))
    assert study.faults.empty
    assert study.account.set_index("table")["kept"][["wounds", "measurements", "sessions"]].tolist() == [2, 5, 3]


@pytest.mark.parametrize("facility", ["../../elsewhere", "..", "/etc", "C:\\Windows", "a/../../b", ".", "nul"])
def test_no_facility_s_name_leads_out_of_the_reports(facility, tmp_path, capsys):
    export = valid(tmp_path / "export")
    before = lying(tmp_path)
    assert main(["report", str(export), "--facility", facility, "--reports", str(tmp_path / "reports")]) == 1
    assert capsys.readouterr().err.startswith("Stopped: no resident belongs to that facility")
    assert lying(tmp_path) == before
