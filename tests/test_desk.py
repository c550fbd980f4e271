"""What the desk keeps on the disk: answers that are the same to the last byte, no row of a person, never a report's."""

import json
import os
import shutil
import stat
import threading
import time
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pandas as pd
import pytest

import kit.study
from kit import kept
from kit.__main__ import main
from kit.compared import compared, other_ways
from kit.followed import slopes_of
from kit.kept import AT_THE_DESK, OF_RUN, forget, known_as, of_facility
from kit.pages.findings import findings
from kit.pages.kernel import _blank
from kit.pages.report import Request, report
from kit.region import mixed_of
from kit.study import read_study
from kit.warned import answers_of, shown_of
from tests.conftest import LIFELIKE

HOME = "Tarnwick"
MODES = pytest.mark.skipif(os.name == "nt", reason="Windows keeps a person's own folder by itself")


@pytest.fixture
def desk(tmp_path, monkeypatch):
    """The folder of what is kept, at the desk."""
    home = tmp_path / "kept" / "answers"
    monkeypatch.setattr(kept, "folder", lambda: home)
    monkeypatch.setenv(AT_THE_DESK, "1")
    return home


def one_facility():
    """The study of a facility as a new kernel reads it: nothing is known of it yet."""
    kit.study._read_once.cache_clear()
    return read_study(LIFELIKE).at(HOME)


def everything(study):
    """All that pages say of a study, and the tables that are longest in the making, as bytes."""
    found, _ = findings(study, HOME)
    slopes = slopes_of(study)
    frames = [shown_of(study), slopes.pace, slopes.change, slopes.ahead, slopes.ways, pd.DataFrame(slopes.log.drawn)]
    frames += [answers_of(study).told, compared(study).course, other_ways(study), mixed_of(study)]
    return json.dumps([found, *(frame.to_csv() for frame in frames)], default=str).encode()


def never(*given, **named):
    raise AssertionError("made, though it was kept")


# --- the study itself ---


@pytest.fixture(scope="module")
def filled(tmp_path_factory):
    """What is kept of one facility, what was told of it away from the desk, and at the desk the first time and then."""
    home = tmp_path_factory.mktemp("kept") / "answers"
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(kept, "folder", lambda: home)
        away = everything(one_facility())
        assert not home.exists()
        patch.setenv(AT_THE_DESK, "1")
        first = everything(one_facility())
        for made in ("kit.compared.answer", "kit.compared.other_answers", "kit.followed.slopes", "kit.region.case_mix"):
            patch.setattr(made, never)
        for made in ("kit.sensitivity.specifications._answered", "kit.context.program._program", "kit.warned.warnings"):
            patch.setattr(made, never)
        again = everything(one_facility())
    return home, away, first, again


def test_answers_that_were_kept_are_those_computed_anew_to_the_last_byte(filled):
    _, away, first, again = filled
    assert first == away
    assert again == away


def test_seven_answers_are_kept_of_a_study(filled):
    names = {file.name.split(".")[0].split("-")[0] for file in filled[0].rglob("*.json")}
    assert names == {"compared", "mixed", "other_ways", "program", "slopes", "specifications", "warnings"}


def words_kept(home):
    """Every text in the files of a folder, and every value of their tables as text."""
    tables = [pd.read_parquet(file) for file in home.rglob("*.parquet")]
    words = {str(value) for table in tables for column in table for value in table[column].unique()}
    words |= {str(name) for table in tables for name in [*table.columns, *table.index]}
    return " ".join([*words, *(file.read_text(encoding="utf-8") for file in home.rglob("*.json"))])


def persons_of(study):
    """Every pseudonym of a person, a wound, or someone who treated or measured."""
    frames = (study.residents["resident"], study.wounds["wound"], study.sessions["therapist"])
    return set(pd.concat([*frames, study.measurements["assessor"]]).dropna())


def test_no_pseudonym_lies_in_what_is_kept(filled, tmp_path):
    people = persons_of(read_study(LIFELIKE))
    assert len(people) > 700
    assert not [name for name in people if name in words_kept(filled[0])]
    pd.DataFrame({"planted": [sorted(people)[0]]}).to_parquet(tmp_path / "planted.parquet")
    assert [name for name in people if name in words_kept(tmp_path)] == sorted(people)[:1]


@MODES
def test_only_its_owner_reads_what_is_kept(filled):
    modes = {stat.S_IMODE(path.stat().st_mode) for path in filled[0].rglob("*") if path.is_file()}
    folders = {stat.S_IMODE(path.stat().st_mode) for path in [filled[0], *filled[0].rglob("*")] if path.is_dir()}
    assert (modes, folders) == ({0o600}, {0o700})


def test_a_report_never_reads_or_keeps(desk, tmp_path, monkeypatch):
    seen = []

    def stop(reports):
        seen.extend([os.environ.get(AT_THE_DESK), os.path.isdir(os.environ[OF_RUN]), os.environ[OF_RUN]])
        raise ZeroDivisionError

    monkeypatch.setattr("kit.pages.report._tidy", stop)
    with pytest.raises(ZeroDivisionError):
        report(Request(LIFELIKE, tmp_path / "reports"))
    assert seen[:2] == [None, True]
    assert not os.path.exists(seen[2])
    assert (os.environ[AT_THE_DESK], os.environ.get(OF_RUN)) == ("1", None)


def test_a_run_keeps_its_answers_apart_and_only_while_its_folder_is_there(desk, tmp_path):
    calls, home = [], tmp_path / "run"
    ask(make_known(), [])
    at_the_desk = sorted(desk.rglob("*"))
    home.mkdir(mode=0o700)
    with kept.of_one_run(home):
        ask(make_known(), calls)
        ask(make_known(), calls)
        assert calls == [1]
        assert list(home.rglob("answer.json")) and sorted(desk.rglob("*")) == at_the_desk
        shutil.rmtree(home)
        ask(make_known(), calls)
        assert (calls, home.exists()) == ([1, 1], False)
    ask(make_known(), calls)
    assert calls == [1, 1]


def test_a_kernel_that_outlives_a_run_is_told_where_the_next_one_keeps_its_answers(monkeypatch):
    monkeypatch.setenv(OF_RUN, "C:\\users\\o'neill")
    reset, told = _blank().splitlines()
    monkeypatch.setenv(OF_RUN, "elsewhere")
    exec(told, {})
    assert (reset, os.environ[OF_RUN]) == ("%reset -f", "C:\\users\\o'neill")


# --- anything kept ---


class Asked:
    """Stands for a study."""


FRAME = pd.DataFrame({"name": ["a", None], "share": [0.1, np.nan], "told": [True, False]})


def make_known(files="files", facility=""):
    study = Asked()
    known_as(study, files, facility)
    return study


def ask(study, calls, frame=FRAME, value=0.1):
    """What `kept` hands back; every time it has to be made, `calls` grows by one."""

    def make():
        calls.append(1)
        return {"frame": frame, "value": value}

    return kept.kept(study, "answer", make, lambda made: made, lambda parts: parts)


def test_an_answer_is_made_once(desk):
    calls = []
    first, again = ask(make_known(), calls), ask(make_known(), calls)
    assert len(calls) == 1
    pd.testing.assert_frame_equal(first["frame"], again["frame"], check_exact=True)
    assert first["value"] == again["value"]


def test_an_answer_that_is_being_worked_out_is_waited_for(desk):
    begun, calls = threading.Event(), []

    def make():
        calls.append(1)
        begun.set()
        time.sleep(0.3)
        return {"value": 0.1}

    def asked():
        return kept.kept(make_known(), "answer", make, lambda made: made, lambda parts: parts)

    with ThreadPoolExecutor(2) as both:
        first = both.submit(asked)
        assert begun.wait(20)
        assert both.submit(asked).result() == first.result() == {"value": 0.1}
    assert len(calls) == 1
    assert not list(desk.rglob("*.lock"))


def test_one_that_fails_lets_the_next_try(desk):
    def fails():
        raise ValueError("no number")

    with pytest.raises(ValueError, match="no number"):
        kept.kept(make_known(), "answer", fails, lambda made: made, lambda parts: parts)
    assert ask(make_known(), [])["value"] == 0.1


def test_where_there_can_be_no_lock_an_answer_is_made_all_the_same(desk, monkeypatch):
    def refused(lock):
        raise OSError("no locks here")

    monkeypatch.setattr(kept, "take", refused)
    assert ask(make_known(), [])["value"] == 0.1


@pytest.mark.parametrize(("files", "facility"), [("other files", ""), ("files", "Tarnwick")])
def test_other_files_or_another_facility_are_asked_anew(desk, files, facility):
    calls = []
    ask(make_known(), calls)
    ask(make_known(files, facility), calls)
    assert len(calls) == 2


def test_a_facility_of_a_study_that_is_known_is_known(desk):
    calls, whole, part, stranger = [], make_known(), Asked(), Asked()
    of_facility(whole, part, "Tarnwick")
    of_facility(Asked(), stranger, "Tarnwick")
    ask(part, calls)
    ask(make_known("files", "Tarnwick"), calls)
    assert len(calls) == 1
    ask(stranger, calls)
    ask(stranger, calls)
    assert len(calls) == 3


@pytest.mark.parametrize("changed", ["code", "version"])
def test_another_line_of_code_or_version_asks_anew(desk, tmp_path, monkeypatch, changed):
    calls = []
    (tmp_path / "code").mkdir()
    (tmp_path / "code" / "one.py").write_text("1\n")
    monkeypatch.setattr(kept, "KIT", tmp_path / "code")
    for turn in range(2):
        kept._makers.cache_clear()
        ask(make_known(), calls)
        if turn == 0 and changed == "code":
            (tmp_path / "code" / "one.py").write_text("2\n")
        if turn == 0 and changed == "version":
            monkeypatch.setattr(kept, "__version__", "another")
    kept._makers.cache_clear()
    assert len(calls) == 2


def test_away_from_the_desk_nothing_is_kept(desk, monkeypatch):
    calls = []
    monkeypatch.delenv(AT_THE_DESK)
    ask(make_known(), calls)
    ask(make_known(), calls)
    assert (len(calls), desk.exists()) == (2, False)


def test_a_study_that_was_not_read_from_files_is_not_kept(desk):
    ask(Asked(), [])
    assert not desk.exists()


def spoil_frame(home):
    file = next(home.rglob("*.parquet"))
    file.write_bytes(file.read_bytes()[:-9] + b"x" * 9)


def cut_frame(home):
    next(home.rglob("*.parquet")).write_bytes(b"")


def lose_frame(home):
    next(home.rglob("*.parquet")).unlink()


def spoil_list(home):
    next(home.rglob("*.json")).write_text('{"values": {"value": 0.')


def change_value(home):
    file = next(home.rglob("*.json"))
    file.write_text(file.read_text().replace('"value": 0.1', '"value": 0.2'))


def empty_list(home):
    next(home.rglob("*.json")).write_text("[]")


@pytest.mark.parametrize("damage", [spoil_frame, cut_frame, lose_frame, spoil_list, change_value, empty_list])
def test_what_is_damaged_is_computed_anew_and_mended(desk, damage):
    calls = []
    ask(make_known(), calls)
    damage(desk)
    assert ask(make_known(), calls)["value"] == 0.1
    assert len(calls) == 2
    ask(make_known(), calls)
    assert len(calls) == 2


@MODES
def test_what_others_could_have_written_is_not_read(desk):
    calls = []
    ask(make_known(), calls)
    next(desk.rglob("*.json")).chmod(0o644)
    ask(make_known(), calls)
    assert len(calls) == 2


@MODES
def test_a_link_in_the_place_of_the_folder_is_not_followed(desk, tmp_path):
    (tmp_path / "elsewhere").mkdir(mode=0o700)
    desk.parent.mkdir()
    desk.symlink_to(tmp_path / "elsewhere")
    ask(make_known(), [])
    forget()
    assert (list((tmp_path / "elsewhere").iterdir()), desk.is_symlink()) == ([], True)


def test_where_nothing_can_be_written_it_is_computed(desk):
    calls = []
    desk.parent.write_text("a file in the way")
    assert ask(make_known(), calls)["value"] == 0.1
    assert calls == [1]


def test_a_synced_folder_is_not_used(tmp_path, monkeypatch, desk):
    home = tmp_path / "Dropbox" / "answers"
    monkeypatch.setattr(kept, "folder", lambda: home)
    ask(make_known(), [])
    assert not home.exists()


@pytest.mark.parametrize(
    ("frame", "value"),
    [
        (FRAME.assign(name=[(1, 2), None]), 0.1),  # comes back as a list
        (FRAME.assign(name=[np.str_("a"), None]), 0.1),
        (FRAME, np.float64(0.1)),
        (FRAME, {1: "a"}),  # a key that is no text
        (FRAME, (1, 2)),
    ],
)
def test_what_does_not_come_back_as_it_went_is_not_kept(desk, frame, value):
    calls = []
    ask(make_known(), calls, frame, value)
    ask(make_known(), calls, frame, value)
    assert len(calls) == 2


def test_the_studies_used_last_are_kept_and_no_unfinished_file_of_long_ago(desk):
    ask(make_known("0"), [])
    [first] = desk.iterdir()
    stray, young = first / ".answer.json.1.part", first / ".answer.json.2.part"
    for number in range(1, 4):
        ask(make_known(str(number)), [])
    for age, folder in enumerate(sorted(desk.iterdir(), key=lambda path: path == first)):
        os.utime(folder, (age, age))
    stray.write_text("")
    young.write_text("")
    os.utime(stray, (1, 1))
    os.utime(first, (9, 9))
    calls = []
    ask(make_known("4"), [])
    assert len(list(desk.iterdir())) == 4
    assert (stray.exists(), young.exists()) == (False, True)
    ask(make_known("0"), calls)
    assert calls == []


def test_reading_counts_as_use(desk):
    ask(make_known(), [])
    [home] = desk.iterdir()
    os.utime(home, (1, 1))
    ask(make_known(), [])
    assert time.time() - home.stat().st_mtime < 3600


# --- forgetting ---


def test_forget_removes_everything_and_says_what_and_where(desk, capsys):
    ask(make_known("one"), [])
    ask(make_known("two"), [])
    assert main(["forget"]) == 0
    assert capsys.readouterr().out == f"Removed the answers of 2 studies (0.0 MB) from {desk}\n"
    assert not desk.exists()
    assert main(["forget"]) == 0
    assert capsys.readouterr().out == f"Nothing is kept in {desk}\n"


def test_forget_names_no_home(desk, capsys, monkeypatch, tmp_path):
    monkeypatch.setattr("kit.__main__.Path.home", lambda: tmp_path)
    assert main(["forget"]) == 0
    assert str(tmp_path) not in capsys.readouterr().out
