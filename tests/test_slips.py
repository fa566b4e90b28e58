"""The places of the slips that `python -m tests.slips` plants. In none of its areas: every slip would be noticed here."""

import pytest

from tests import slips


@pytest.mark.parametrize("number", range(len(slips.SLIPS)))
def test_a_slip_has_one_place(number: int) -> None:
    slip = slips.SLIPS[number]
    text = (slips.ROOT / "screener" / slip.file).read_text(encoding="utf-8")
    assert text.count(slip.old) == 1, (
        f"{slip.file} has {slip.old!r} {text.count(slip.old)} times; plant the slip elsewhere"
    )
    assert slip.new != slip.old


def test_there_are_sixty() -> None:
    assert len(slips.SLIPS) == len({(slip.file, slip.old) for slip in slips.SLIPS}) == 60
