"""The run folder: every table of a run in a file, described, and either complete or not there at all.

`layout` says which tables there are, `describing` puts them in the words of their contracts, `writing` writes a folder
and `reading` opens one again.
"""

from screener.outputs.describing import sha256
from screener.outputs.layout import INPUT_NAMES, INPUTS, OUTPUTS, Output
from screener.outputs.reading import RunFolder, open_run
from screener.outputs.writing import Table, add_files, check_free, neutralised, provenance, staged, write_run

__all__ = [
    "INPUTS",
    "INPUT_NAMES",
    "OUTPUTS",
    "Output",
    "RunFolder",
    "Table",
    "add_files",
    "check_free",
    "neutralised",
    "open_run",
    "provenance",
    "sha256",
    "staged",
    "write_run",
]
