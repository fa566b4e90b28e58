"""No file takes more memory or time than its table is worth: 1 GB and 20 s at most, and a sentence [limits of our own]."""

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from tests.tables.hostile_files import HOSTILE

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def found(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    """What a process of its own says of all the files, and what it took."""
    folder = tmp_path_factory.mktemp("hostile")
    for what in ("make", "read"):  # a process of its own each: what makes a large file takes more than what refuses it
        command = [sys.executable, "-m", "tests.tables.hostile_files", what, str(folder)]
        done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=True)
    answer: dict[str, Any] = json.loads(done.stdout)
    return answer


@pytest.mark.parametrize("case", HOSTILE)
def test_a_hostile_file_gets_a_sentence(case: str, found: dict[str, Any]) -> None:
    _, words = HOSTILE[case]
    said, seconds = found["told"][case]
    assert words in said if words else said == ""
    assert len(said) < 4_000
    assert seconds < 20


def test_all_of_them_together_stay_below_a_gigabyte(found: dict[str, Any]) -> None:
    assert found["peak_mb"] < 1_000
