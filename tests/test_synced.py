"""Folders that a service copies elsewhere are told by path, by surroundings, and by what the service lays there."""

import sys
from pathlib import Path

import pytest

from kit.__main__ import main
from kit.synced import TOLD_BY, synced, synced_said


@pytest.fixture(autouse=True)
def no_service(monkeypatch):
    """The person's own surroundings name none."""
    for variables in TOLD_BY.values():
        for variable in variables:
            monkeypatch.delenv(variable, raising=False)


@pytest.mark.parametrize(
    ("folder", "service"),
    [
        ("OneDrive/wounds", "OneDrive"),
        ("OneDrive - Invented Homes/wounds", "OneDrive"),
        ("onedrive/wounds", "OneDrive"),
        ("Library/CloudStorage/OneDrive-SharedLibraries-InventedHomes/wounds", "SharePoint"),
        ("SharePoint/Invented Homes - Documents", "SharePoint"),
        ("Dropbox/wounds", "Dropbox"),
        ("Dropbox (Personal)/wounds", "Dropbox"),
        ("Google Drive/wounds", "Google Drive"),
        ("Library/CloudStorage/GoogleDrive-somebody/My Drive/wounds", "Google Drive"),
        ("Library/Mobile Documents/com~apple~CloudDocs/wounds", "iCloud Drive"),
        ("iCloudDrive/wounds", "iCloud Drive"),
        ("Box/wounds", "Box"),
        ("Library/CloudStorage/Box-Box/wounds", "Box"),
        ("Nextcloud/wounds", "Nextcloud"),
        ("Nextcloud2/wounds", "Nextcloud"),
        ("Library/CloudStorage/Another/wounds", "a synced drive"),
    ],
)
def test_a_folder_below_that_of_a_service_is_synced(tmp_path, folder, service):
    assert synced(tmp_path / folder) == service  # it need not exist


@pytest.mark.parametrize(
    "folder", ["wounds", "box/wounds", "Boxes", "sandbox", "one drive", "dropboxes", "my drives", "OneDriver", "cloud"]
)
def test_a_folder_with_a_like_name_is_not(tmp_path, folder):
    assert synced(tmp_path / folder / "export") == ""


@pytest.mark.parametrize(
    ("mark", "service"),
    [(".dropbox", "Dropbox"), (".nextcloudsync.log", "Nextcloud"), (".owncloudsync.log", "Nextcloud")],
)
def test_a_file_that_a_service_lays_there_tells(tmp_path, mark, service):
    (tmp_path / "home" / "wounds").mkdir(parents=True)
    assert synced(tmp_path / "home" / "wounds") == ""
    (tmp_path / "home" / mark).write_text("")
    assert synced(tmp_path / "home" / "wounds" / "export.xlsx") == service


def test_the_settings_of_a_service_in_a_home_are_no_sign(tmp_path):
    (tmp_path / ".dropbox").mkdir()
    assert synced(tmp_path / "wounds") == ""


def test_a_folder_that_a_service_lays_there_tells(tmp_path):
    (tmp_path / ".tmp.drivedownload").mkdir()
    assert synced(tmp_path / "wounds") == "Google Drive"


def test_surroundings_that_name_the_folder_tell(tmp_path, monkeypatch):
    monkeypatch.setenv("OneDriveCommercial", str(tmp_path / "Homes"))
    assert synced(tmp_path / "Homes" / "wounds") == "OneDrive"
    assert synced(tmp_path / "Homes of others") == ""


@pytest.mark.skipif(sys.platform == "win32", reason="links need rights there")
def test_a_link_into_a_synced_folder_is_followed(tmp_path):
    (tmp_path / "Dropbox").mkdir()
    (tmp_path / "wounds").symlink_to(tmp_path / "Dropbox")
    assert synced(tmp_path / "wounds" / "export.xlsx") == "Dropbox"


def test_a_sentence_names_the_place_and_the_service_and_no_path(tmp_path):
    away = tmp_path / "Dropbox" / "wounds"
    [said] = synced_said(("wounds", away), ("reports/", tmp_path / "reports"))
    assert said.startswith("wounds lies in a folder that Dropbox copies to other computers; ")
    assert "\n" not in said and str(tmp_path) not in said


@pytest.mark.parametrize("command", ["check", "report"])
def test_check_and_report_say_so_once_and_go_on(tmp_path, capsys, command):
    export = tmp_path / "OneDrive - Jane Doe" / "wounds"
    export.mkdir(parents=True)
    more = ["--reports", str(tmp_path / "reports")] if command == "report" else []
    assert main([command, str(export), *more]) == 1  # it is empty
    said = capsys.readouterr().out
    assert said.count("copies to other computers") == 1
    assert "wounds lies in a folder that OneDrive copies" in said
    assert "Jane" not in said.split("Fix next")[0]


def test_check_says_nothing_of_a_folder_that_is_not_synced(tmp_path, capsys):
    main(["check", str(tmp_path)])
    assert "other computers" not in capsys.readouterr().out


def test_the_module_needs_nothing_but_python(tmp_path):
    source = (Path(__file__).parents[1] / "kit" / "synced.py").read_text(encoding="utf-8")
    imported = [line.split()[1] for line in source.splitlines() if line.startswith(("import ", "from "))]
    assert set(imported) == {"__future__", "os", "re", "pathlib"}  # start.py asks it before anything is loaded
