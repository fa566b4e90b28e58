"""Every public formula shows one worked value, and it is what the formula gives."""

import doctest
import importlib
import inspect
import pkgutil
from types import ModuleType

import pytest

import screener.physics

MODULES = [
    importlib.import_module(f"screener.physics.{m.name}") for m in pkgutil.iter_modules(screener.physics.__path__)
]


def public(module: ModuleType) -> set[str]:
    """The public functions and methods that the module itself defines."""
    own = {name: it for name, it in vars(module).items() if getattr(it, "__module__", None) == module.__name__}
    found = {name for name, it in own.items() if inspect.isfunction(inspect.unwrap(it))}
    for name, it in own.items():
        if inspect.isclass(it):
            found |= {f"{name}.{method}" for method, function in vars(it).items() if inspect.isroutine(function)}
    return {name for name in found if not name.rpartition(".")[2].startswith("_")}


@pytest.mark.parametrize("module", MODULES, ids=lambda module: module.__name__.rpartition(".")[2])
def test_each_public_function_shows_a_worked_value(module: ModuleType) -> None:
    examples = {test.name.removeprefix(f"{module.__name__}."): test for test in doctest.DocTestFinder().find(module)}
    shown = {name for name, test in examples.items() if any(example.want for example in test.examples)}
    assert public(module) <= shown
    for name, test in examples.items():
        told: list[str] = []
        result = doctest.DocTestRunner().run(test, out=told.append)
        assert result.failed == 0, (name, "".join(told))
