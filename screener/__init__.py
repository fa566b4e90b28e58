"""Rank a portfolio of buildings by what better dehumidification would save at each of them.

    portfolio ─▶ tables ─▶ filling ─▶ climate ─▶ loads ─▶ sizing ─▶ strategies ─▶ ledger ─▶ price ─▶ rank ─▶ outputs

Each arrow is a Polars frame whose columns a contract in `schemas/` defines. `pipeline.py` tells the flow as a story, one
line a stage; `physics/` holds the formulas, which know of neither tables nor sites.
"""

__version__ = "0.1.0"
