"""How the data that ship with the package were made. Not part of the package: run from a checkout."""
