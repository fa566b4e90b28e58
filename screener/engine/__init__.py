"""The year of a site: sized, every hour of every strategy, added up; a batch of sites at a time."""

from screener.engine.year import HOURLY, WEATHER, compiled_year, plan, prepare, simulate, size, years

__all__ = ["HOURLY", "WEATHER", "compiled_year", "plan", "prepare", "simulate", "size", "years"]
