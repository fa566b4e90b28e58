"""Benches run only when asked for, and no test fails because the machine is busy."""

import os

import pytest
from hypothesis import settings

os.environ.pop("COLUMNS", None)  # which a runner on several cores sets; tables would fit themselves to it
settings.register_profile("untimed", deadline=None)
settings.load_profile("untimed")


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    if "bench" in (config.getoption("-m") or ""):
        return
    skip = pytest.mark.skip(reason="a bench: run with -m bench -s tests/benches")
    for item in items:
        if "bench" in item.keywords:
            item.add_marker(skip)
