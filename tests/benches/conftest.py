"""Benches stand in files named `bench_*.py`, which the ordinary suite does not look for."""

from pathlib import Path

import pytest


def pytest_collect_file(file_path: Path, parent: pytest.Collector) -> pytest.Module | None:
    """Collect them, unless the file was named on the command line, when pytest does it by itself."""
    named = [Path(str(a).split("::")[0]).resolve() for a in parent.config.args]
    if file_path.match("bench_*.py") and file_path not in named:
        return pytest.Module.from_parent(parent, path=file_path)
    return None
