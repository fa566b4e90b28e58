"""Moist air, coils and machines as Polars expressions: expressions in, expressions out, every formula cited.

Nothing in this package knows of tables, sites or money.
"""
