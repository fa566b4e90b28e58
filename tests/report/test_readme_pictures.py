"""The pictures that README.md shows are those of the example portfolio as it is worked out today."""

import re
from pathlib import Path

from screener import report
from tests.report.conftest import ROOT


def test_pictures_are_drawn_from_the_present_run(example: Path, tmp_path: Path) -> None:
    shown = re.findall(r"!\[[^\]]+\]\(([^)]+\.svg)\)", (ROOT / "README.md").read_text(encoding="utf-8"))
    assert len(shown) == 2
    drawn = {file.name: file for file in report.write(example, tmp_path, pictures=True)}
    for picture in map(Path, shown):
        assert (ROOT / picture).read_text(encoding="utf-8") == drawn[picture.name].read_text(encoding="utf-8"), (
            f"draw {picture} anew: screener report RUN --pictures --out FOLDER, of the example's run"
        )
