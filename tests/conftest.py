"""Benches run only when asked for."""

import pytest


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    if "bench" in (config.getoption("-m") or ""):
        return
    skip = pytest.mark.skip(reason="a bench: run with -m bench -s tests/benches")
    for item in items:
        if "bench" in item.keywords:
            item.add_marker(skip)
