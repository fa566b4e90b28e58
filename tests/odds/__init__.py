"""Tests of the odds of a run."""
