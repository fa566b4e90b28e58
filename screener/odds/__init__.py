"""How sure a run is: every figure that may be off is drawn again and again, and the engine asked what comes of it.

    run ─▶ drawing ─▶ working (the engine, some days) ─▶ money ─▶ summary, information ─▶ odds.parquet beside the run

P10 is the tenth percentile, exceeded with 90 %; P90 is exceeded with 10 %.
"""

from screener.odds.asking import DRAWS, FIRST, SEED, Odds, odds

__all__ = ["DRAWS", "FIRST", "SEED", "Odds", "odds"]
