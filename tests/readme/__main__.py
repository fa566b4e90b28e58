"""`python -m tests.readme`: the sessions and pictures of README.md made anew."""

import os
import re
import shutil
import tempfile
from pathlib import Path

from tests import readme


def main() -> None:
    """Run every session in its order and write what it prints; draw every picture."""
    os.chdir(readme.ROOT)
    with tempfile.TemporaryDirectory() as folder:
        runs = Path(folder) / "runs"

        def again(found: re.Match[str]) -> str:
            return f"$ screener {found[1]}\n{readme.printed(found[1], runs)}"

        text = readme.SESSION.sub(again, readme.README.read_text(encoding="utf-8"))
        readme.README.write_text(text, encoding="utf-8", newline="\n")
        for shown, drawn in readme.pictures(runs / "oddlebrook_foods", Path(folder)):
            shutil.copyfile(drawn, shown)


if __name__ == "__main__":
    main()
