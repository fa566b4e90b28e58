"""The pictures that README.md shows are those of the example portfolio as it is worked out today."""

from pathlib import Path

from tests import readme


def test_pictures_are_drawn_from_the_present_run(example: Path, tmp_path: Path) -> None:
    pictures = list(readme.pictures(example, tmp_path))
    assert len(pictures) == 2
    for shown, drawn in pictures:
        assert shown.read_text(encoding="utf-8") == drawn.read_text(encoding="utf-8"), f"{shown.name}: {readme.AGAIN}"
