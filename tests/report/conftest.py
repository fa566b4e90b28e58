"""Two runs to report on: the example portfolio, and one whose owner types what would do harm on a careless page."""

import shutil
from pathlib import Path

import pytest

from screener import odds, pipeline, report

ROOT = Path(__file__).parents[2]
EXAMPLE = ROOT / "portfolios" / "oddlebrook_foods"
HARM = '<script>document.title="owned"</script><img src=x onerror=alert(1)>"\' & =1+1'


@pytest.fixture(scope="session")
def example(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The run folder of the example portfolio."""
    out = tmp_path_factory.mktemp("report") / "run"
    pipeline.run(EXAMPLE, out)
    return out


@pytest.fixture(scope="session")
def hostile(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The run folder of sites and a portfolio with names that try to be markup, script or formula."""
    folder = tmp_path_factory.mktemp("hostile") / "portfolio"
    shutil.copytree(EXAMPLE, folder)
    quoted = HARM.replace('"', '""')
    sites = (folder / "sites.csv").read_text(encoding="utf-8").splitlines()
    changed = [f'{line.split(",")[0]},"{quoted}",{line.split(chr(34))[2][1:]}' for line in sites[1:8]]
    (folder / "sites.csv").write_text("\n".join([sites[0], *changed]) + "\n", encoding="utf-8")
    settings = (folder / "portfolio.toml").read_text(encoding="utf-8").splitlines()
    (folder / "portfolio.toml").write_text("\n".join([f"name = '''{HARM}'''", *settings[1:]]), encoding="utf-8")
    pipeline.run(folder, folder.parent / "run")
    return folder.parent / "run"


@pytest.fixture(scope="session")
def likely(example: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The run of the example portfolio with odds, and its report made anew."""
    folder = tmp_path_factory.mktemp("likely") / "run"
    shutil.copytree(example, folder)
    odds.odds(folder, 12)
    report.write(folder, pictures=True)
    return folder
