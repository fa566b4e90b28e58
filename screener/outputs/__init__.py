"""The run folder: every table of a run in a file, described, and either complete or not there at all.

`layout` says which tables there are, `describing` puts them in the words of their contracts, `writing` writes a folder,
`reading` opens one again and `scratch` keeps what an unfinished run has so far.
"""

from screener.outputs.describing import sha256
from screener.outputs.layout import INPUT_NAMES, INPUTS, OUTPUTS, Output
from screener.outputs.reading import RunFolder, Verified, left_out, open_run, verify
from screener.outputs.scratch import Scratch, forget, scratch
from screener.outputs.writing import (
    Table,
    add_files,
    check_free,
    conformed,
    digests,
    fingerprint,
    neutralised,
    provenance,
    staged,
    today,
    write_run,
    writing_in_words,
)

__all__ = [
    "INPUTS",
    "INPUT_NAMES",
    "OUTPUTS",
    "Output",
    "RunFolder",
    "Scratch",
    "Table",
    "Verified",
    "add_files",
    "check_free",
    "conformed",
    "digests",
    "fingerprint",
    "forget",
    "left_out",
    "neutralised",
    "open_run",
    "provenance",
    "scratch",
    "sha256",
    "staged",
    "today",
    "verify",
    "write_run",
    "writing_in_words",
]
