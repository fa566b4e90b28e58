"""The contracts in words: for the terminal, and as `schemas/README.md` (`python -m screener.contracts schemas/README.md`)."""

import sys
import textwrap
from collections.abc import Iterator
from pathlib import Path

from screener import contracts
from screener.contracts import Contract, Field

WIDTH = 100
KINDS = {"array": "list", "string": "text", "number": "number", "integer": "whole number", "boolean": "true or false"}
HEAD = """\
# Tables

One file per table, in the open standard [Table Schema](https://datapackage.org/standard/table-schema/). This page is made
from them by `python -m screener.contracts schemas/README.md`; `screener schema TABLE` prints the same in a terminal.
"""


def names() -> list[str]:
    """The tables that have a contract."""
    return sorted(file.stem for file in contracts.path("sites").parent.glob("*.json"))


def summary(contract: Contract) -> str:
    """What a table holds: the first sentence of its description."""
    return contract.description.split(". ")[0].rstrip(".")


def in_words(contract: Contract) -> str:
    """A contract for people, a paragraph a column."""
    lines = [f"{contract.name}: {contract.title}", *_wrapped(contract.description, ""), ""]
    for field in contract.fields:
        lines += [f"{field.name}: {', '.join(facts(field))}", *_wrapped(field.description, "    ")]
    return "\n".join(lines)


def facts(field: Field, name: str | None = None) -> Iterator[str]:
    """What a column may hold: kind, unit, bounds, words, whether it is required, and its other names; in the unit of `name`,
    one of its names."""
    name = name or field.name
    unit, example = field.unit_in(name), field.example_in(name)
    others = [each for each in field.names if each != name]
    yield KINDS[field.kind] + (f" [{unit}]" if unit else "")
    if field.required:
        yield "required"
    if field.enum:
        yield f"one of {', '.join(field.enum)}"
    if span := field.span(name):
        yield span
    if field.pattern:
        yield f"of the form {field.pattern}"
    if others:
        yield f"or as {', '.join(others)}"
    if example is not None:
        yield f"such as {str(example).lower() if field.kind == 'boolean' else f'{example:g}' if name != field.name else example}"


def markdown() -> str:
    """All contracts on a page."""
    return "\n".join([HEAD, *(part for name in names() for part in _section(contracts.load(name)))])


def _section(contract: Contract) -> Iterator[str]:
    yield f"## `{contract.name}`: {contract.title}\n"
    yield f"{contract.description}\n"
    yield "| column | holds | meaning | source |\n|---|---|---|---|"
    for field in contract.fields:
        cells = (f"`{field.name}`", "; ".join(facts(field)), field.description, field.source or "")
        yield "| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |"
    for field in contract.fields:
        if field.synonyms:
            words = ", ".join(f"{word} ({meant})" for word, meant in field.synonyms.items())
            yield f"\nOther words for `{field.name}`: {words}."
    yield ""


def _wrapped(text: str, indent: str) -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=indent, subsequent_indent=indent)


def main(arguments: list[str]) -> int:
    """Command line of this module."""
    if len(arguments) != 1:
        print(__doc__, file=sys.stderr)
        return 2
    Path(arguments[0]).write_text(markdown(), encoding="utf-8", newline="\n")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
