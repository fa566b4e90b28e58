"""`python -m screener.contracts schemas/README.md`: the contracts in words, as the page beside them."""

import sys

from screener.contracts.in_words import main

sys.exit(main(sys.argv[1:]))
