"""`python -m screener`: the same as the `screener` command."""

from screener.commands import main

main()
