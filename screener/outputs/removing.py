"""Taking away what this program wrote, and nothing else: never a file it does not know, never through a link.

What a run writes is known by name: its tables, its two descriptions, what the description lists of a run that another
version wrote, and the files that `files.json` lists, which is kept up whenever a report is added.
"""

import contextlib
import hashlib
import json
import os
from collections.abc import Iterator, Mapping, Set
from pathlib import Path, PurePosixPath
from typing import Any

from screener.errors import UsageError
from screener.outputs.layout import ADDED_FILE, DESCRIBED, INPUT_FOLDER, INPUTS, OUTPUTS, PACKAGE_FILE, RUN_FILE

TABLES = {output.path(format) for output in (*OUTPUTS, *INPUTS) for format in output.formats}
ALWAYS = {PurePosixPath(name) for name in (RUN_FILE, PACKAGE_FILE, ADDED_FILE)} | TABLES


def added(folder: Path) -> dict[str, str]:
    """The digests of the files of a run that are no tables, by name; none where nothing says so."""
    try:
        listed = json.loads((folder / ADDED_FILE).read_text(encoding="utf-8"))["files"]
        return {str(name): str(digest) for name, digest in listed.items() if PurePosixPath(name).name == name}
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return {}


def remembered(folder: Path, contents: Mapping[str, bytes]) -> dict[str, Any]:
    """What `files.json` should say when these files join those of a folder."""
    digests = {name: hashlib.sha256(content).hexdigest() for name, content in contents.items()}
    return {"files": dict(sorted((added(folder) | digests).items()))}


def described(folder: Path) -> set[PurePosixPath]:
    """The files that a run says it is made of, whatever version wrote it; none where its description is not as it left it."""
    try:
        package = (folder / PACKAGE_FILE).read_bytes()
        told = json.loads((folder / RUN_FILE).read_bytes())[DESCRIBED]
        if told != hashlib.sha256(package).hexdigest():
            return set()
        names = {PurePosixPath(str(each["path"])) for each in json.loads(package)["resources"]}
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return set()
    return {name for name in names if name in (PurePosixPath(name.name), PurePosixPath(INPUT_FOLDER, name.name))}


def own(folder: Path) -> set[PurePosixPath]:
    """The paths inside a run folder that this program writes."""
    return ALWAYS | described(folder) | {PurePosixPath(name) for name in added(folder)}


def foreign(folder: Path, names: Set[PurePosixPath]) -> Iterator[PurePosixPath]:
    """The paths inside a folder that are none of `names`, or that are links or folders where `names` are files: a folder
    that holds nothing known is one of them, whole."""
    parents = {parent for name in names for parent in name.parents} - {PurePosixPath()}
    for inside in (PurePosixPath(), *sorted(parents)):
        if inside.parts and ((folder / inside).is_symlink() or not (folder / inside).is_dir()):
            continue
        for item in sorted((folder / inside).iterdir()):
            name = inside / item.name
            if item.is_symlink() or not (name in names if item.is_file() else name in parents):
                yield name


def require_apart(folder: Path, names: Set[PurePosixPath]) -> None:
    """UsageError where what others put into a folder has a name that a run gives to one of its files."""
    parents = {parent for name in names for parent in name.parents}
    if taken := [str(name) for name in foreign(folder, own(folder)) if name in names | parents]:
        raise UsageError(
            f"{folder} has {', '.join(taken)}, which no run wrote; move it elsewhere, or name another folder"
        )


def discard(folder: Path, names: Set[PurePosixPath] | None = None) -> None:
    """Take away the files of a folder that are its own, or those of `names`, and the folder if nothing else is in it."""
    names = own(folder) if names is None else names
    left = set(foreign(folder, names)) if folder.is_dir() and not folder.is_symlink() else {PurePosixPath()}
    if PurePosixPath() in left:
        return
    for name in sorted(names - left):
        if not left & {*name.parents}:
            with contextlib.suppress(OSError):
                (folder / name).unlink()
    inner = {parent for name in names for parent in name.parents} | {PurePosixPath()}
    for inside in sorted(inner, key=lambda each: len(each.parts), reverse=True):
        if not left & {inside, *inside.parents}:
            with contextlib.suppress(OSError):
                (folder / inside).rmdir()


def replace(old: Path, new: Path) -> None:
    """Give `new` what others put into `old`, and take `old` away."""
    for name in foreign(old, own(old)):
        (new / name).parent.mkdir(parents=True, exist_ok=True)
        if not os.path.lexists(new / name):
            (old / name).rename(new / name)
    discard(old)
