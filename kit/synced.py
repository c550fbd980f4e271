"""Whether a folder is one that a service copies to other computers: by its path, and by what the service lays there."""

from __future__ import annotations

import os
import re
from pathlib import Path

# A part of a path that a service gives to its own folder. SharePoint comes before OneDrive, whose folder it lies in.
PARTS = (
    ("SharePoint", r"(?i)sharepoint( - .*)?|onedrive-sharedlibraries.*"),
    ("OneDrive", r"(?i)onedrive([ -].*)?"),
    ("Dropbox", r"(?i)dropbox([ -].*)?|dropbox \(.*\)"),
    ("Google Drive", r"(?i)google ?drive([ -].*)?|my drive|shared drives|drivefs"),
    ("iCloud Drive", r"(?i)mobile documents|icloud ?drive.*|com~apple~clouddocs"),
    ("Box", r"Box|Box Sync|Box-Box|Box-\S+"),  # in small letters it is a word like any other
    ("Nextcloud", r"(?i)nextcloud([ -]?\d+|[ -].*)?"),
    ("a synced drive", r"CloudStorage"),  # where macOS keeps those of every service
)
MARKERS = (
    ("Dropbox", (".dropbox",)),  # a file; the folder of that name in a home holds settings
    ("Nextcloud", (".nextcloudsync.log", ".owncloudsync.log")),
)
FOLDERS = (("Dropbox", (".dropbox.cache",)), ("Google Drive", (".tmp.drivedownload", ".tmp.driveupload")))
TOLD_BY = {"OneDrive": ("OneDrive", "OneDriveConsumer", "OneDriveCommercial")}  # surroundings that name its folder
SAYS = (
    "{} lies in a folder that {} copies to other computers; keep exports, reports and the desk where nothing is synced"
)


def synced(path: str | Path) -> str:
    """The name of the service that syncs the folder in which a path lies; empty where none is known to.

    The path need not exist, and links are followed. A service that leaves no sign in path, surroundings or folder is
    not seen.
    """
    ways = {os.path.abspath(path), os.path.realpath(path)}
    return next((name for way in sorted(ways) if (name := _by_parts(way) or _told(way) or _marked(way))), "")


def synced_said(*places: tuple[str, str | Path]) -> list[str]:
    """A sentence for each place that lies in a synced folder; `places` are what a sentence calls each, and its path."""
    found = [(name, synced(path)) for name, path in places]
    return [SAYS.format(name, service) for name, service in found if service]


def _by_parts(path: str) -> str:
    parts = Path(path).parts
    return next((name for name, pattern in PARTS if any(re.fullmatch(pattern, part) for part in parts)), "")


def _told(path: str) -> str:
    for name, variables in TOLD_BY.items():
        homes = [os.path.abspath(os.environ[one]) for one in variables if os.environ.get(one)]
        if any(Path(path).is_relative_to(home) for home in homes):
            return name
    return ""


def _marked(path: str) -> str:
    for folder in (Path(path), *Path(path).parents):
        for kinds, lies in ((MARKERS, os.path.isfile), (FOLDERS, os.path.isdir)):
            for name, marks in kinds:
                if any(lies(folder / mark) for mark in marks):
                    return name
    return ""
