"""Which site first, and every other question to a finished run: orders, groups, programs, comparisons."""
