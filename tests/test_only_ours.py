"""What others put into a folder stays there: `--force` and unfinished runs remove only files that this program wrote."""

import hashlib
import json
import os
import shutil
import stat
import subprocess
import sys
from pathlib import Path

import pytest

from screener import outputs
from screener.errors import UsageError
from screener.outputs import add_files, scratch, write_run
from tests.test_outputs import a_run

ROOT = Path(__file__).parents[1]


def made(folder: Path, force: bool = False) -> Path:
    write_run(folder, a_run(), {"settings": {"currency": "USD"}}, force, files={"report.html": "page\n"})
    return folder


def everything(folder: Path) -> set[str]:
    return {path.relative_to(folder).as_posix() for path in folder.rglob("*")}


@pytest.fixture
def run(tmp_path: Path) -> Path:
    return made(tmp_path / "run")


def test_force_keeps_files_folders_and_links_of_others_and_the_mode(run: Path, tmp_path: Path) -> None:
    before = everything(run)
    (tmp_path / "elsewhere").mkdir()
    (tmp_path / "elsewhere" / "ledger.parquet").write_text("mine")
    (run / "notes.txt").write_text("mine")
    (run / "photos").mkdir()
    (run / "photos" / "roof.jpg").write_text("mine")
    (run / "inputs").mkdir(exist_ok=True)
    (run / "inputs" / "quotes.pdf").write_text("mine")
    (run / "to").symlink_to(tmp_path / "elsewhere")
    run.chmod(0o750)
    made(run, force=True)
    others = {"notes.txt", "photos", "photos/roof.jpg", "inputs", "inputs/quotes.pdf", "to"}
    assert everything(run) == before | others
    assert {(run / name).read_text() for name in ("notes.txt", "photos/roof.jpg", "inputs/quotes.pdf")} == {"mine"}
    assert (run / "to").is_symlink()
    assert (tmp_path / "elsewhere" / "ledger.parquet").read_text() == "mine"
    assert stat.S_IMODE(run.stat().st_mode) == 0o750
    assert [path.name for path in tmp_path.iterdir() if path.name.startswith(".")] == []


def test_tables_of_another_version_go_with_its_run(run: Path) -> None:
    """They are in the description that the run holds a digest of; a description that was changed names nothing."""
    for change, gone in ((True, True), (False, False)):
        package = json.loads((run / "datapackage.json").read_text())
        package["resources"].append({"path": "peaks.csv"} if gone else {"path": "mine.csv"})
        (run / "datapackage.json").write_text(json.dumps(package))
        (run / package["resources"][-1]["path"]).write_text("x")
        if change:
            info = json.loads((run / "run.json").read_text())
            info["datapackage_sha256"] = hashlib.sha256((run / "datapackage.json").read_bytes()).hexdigest()
            (run / "run.json").write_text(json.dumps(info))
        made(run, force=True)
    assert not (run / "peaks.csv").exists()
    assert (run / "mine.csv").read_text() == "x"


def test_what_a_report_added_goes_with_the_run_and_nothing_that_looks_like_it(run: Path) -> None:
    add_files(run, {"ranking.xlsx": b"x", "site-A.html": "x"})
    (run / "site-B.html").write_text("mine")
    assert set(json.loads((run / "files.json").read_text())["files"]) == {"ranking.xlsx", "report.html", "site-A.html"}
    made(run, force=True)
    assert not (run / "ranking.xlsx").exists()
    assert not (run / "site-A.html").exists()
    assert (run / "site-B.html").read_text() == "mine"


def test_a_link_under_the_name_of_a_table_is_told_and_not_followed(run: Path, tmp_path: Path) -> None:
    (tmp_path / "mine.parquet").write_text("mine")
    (run / "ledger.parquet").unlink()
    (run / "ledger.parquet").symlink_to(tmp_path / "mine.parquet")
    with pytest.raises(UsageError, match=r"has ledger.parquet, which no run wrote; move it elsewhere"):
        made(run, force=True)
    assert (tmp_path / "mine.parquet").read_text() == "mine"
    assert outputs.removing.added(run) != {}


def test_a_run_is_not_replaced_through_a_link(run: Path, tmp_path: Path) -> None:
    (tmp_path / "latest").symlink_to(run)
    with pytest.raises(
        UsageError, match=r"latest is a link; to replace the run that it leads to, name its folder: .*run"
    ):
        made(tmp_path / "latest", force=True)


def test_the_folder_where_one_stands_is_not_replaced(
    run: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    empty = tmp_path / "empty"
    empty.mkdir()
    for here, out in ((run, Path(".")), (empty, Path(".")), (run, Path("../run"))):
        monkeypatch.chdir(here)
        with pytest.raises(
            UsageError, match=r"is where you are, and would be replaced under your feet; name a new folder"
        ):
            made(out, force=True)
    assert Path.cwd() == run


def test_a_link_that_leads_nowhere(tmp_path: Path) -> None:
    (tmp_path / "run").symlink_to(tmp_path / "nowhere")
    with pytest.raises(UsageError, match="is a link that leads nowhere; name another folder"):
        made(tmp_path / "run")


def test_a_foreign_folder_under_the_name_of_an_unfinished_run_keeps_what_is_in_it(tmp_path: Path) -> None:
    foreign = tmp_path / ".run.unfinished"
    (foreign / "000000").mkdir(parents=True)
    (foreign / "000000" / "diary.txt").write_text("mine")
    (foreign / "000000" / "ledger.arrow").write_text("ours by name")
    (foreign / "2024").mkdir()
    (foreign / "2024" / "tax.parquet").write_text("mine")
    (foreign / "made_from.json.txt").write_text("mine")
    (tmp_path / "elsewhere").mkdir()
    (tmp_path / "elsewhere" / "ledger.arrow").write_text("mine")
    (foreign / "000001").symlink_to(tmp_path / "elsewhere")
    with scratch(tmp_path / "run", {"a": 1}) as work:
        assert not work.has(1)
    kept = {"000000", "000000/diary.txt", "000001", "2024", "2024/tax.parquet", "made_from.json.txt"}
    assert everything(foreign) == kept
    assert (tmp_path / "elsewhere" / "ledger.arrow").read_text() == "mine"


def test_an_unfinished_run_is_not_kept_through_a_link(tmp_path: Path) -> None:
    (tmp_path / "elsewhere").mkdir()
    (tmp_path / ".run.unfinished").symlink_to(tmp_path / "elsewhere")
    with (
        pytest.raises(UsageError, match="is a link, where an unfinished run would be kept"),
        scratch(tmp_path / "run", {}),
    ):
        pass
    assert everything(tmp_path / "elsewhere") == set()


def gone() -> int:
    return subprocess.Popen([sys.executable, "-c", ""]).wait() or os.getpid() + 10**7


def test_what_a_killed_process_put_aside_is_swept_but_for_files_of_others(run: Path, tmp_path: Path) -> None:
    for what in ("old", "part"):
        left = shutil.copytree(run, tmp_path / f".run.{what}-{gone()}")
        (left / f"{what}.txt").write_text("mine")
    made(run, force=True)
    assert (run / "old.txt").read_text() == "mine"
    assert everything(tmp_path / f".run.part-{gone()}") == {"part.txt"}
    assert not (tmp_path / f".run.old-{gone()}").exists()


def test_a_report_that_fails_leaves_nothing_behind(run: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    before = {name: (run / name).read_bytes() for name in everything(run)}
    (run / f".report.html.part-{gone()}").write_text("half")
    write, room = Path.write_bytes, [2]

    def full(self: Path, content: bytes) -> int:
        room[0] -= 1
        if room[0] < 0:
            raise OSError(28, "No space left on device")
        return write(self, content)

    monkeypatch.setattr(Path, "write_bytes", full)
    for folder in (run, tmp_path / "new"):
        room[0] = 2
        with pytest.raises(UsageError, match=r"cannot write to .* \(No space left on device\)"):
            add_files(folder, {"report.html": "new", "ranking.xlsx": b"new", "c.svg": "new"})
    assert {name: (run / name).read_bytes() for name in everything(run)} == before
    assert not (tmp_path / "new").exists()
