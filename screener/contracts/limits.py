"""The humidity limit of a site: the two columns it may stand in, when it counts as passed, and when as held."""

LIMIT_COLUMNS = ("humidity_limit_dew_point_c", "humidity_limit_rh_pct")  # a site has one of the two
OVER_LIMIT = 1.005  # above the limit counts from half a percent of humidity ratio, about 0.07 K of dew point
NOTEWORTHY_H = (
    100.0  # hours a year above the limit that deserve a note, about one in a hundred: common practice, no source
)
# How much worse than today still holds a limit as well: the hours of a year, 0.4 %, that equipment is not sized for [ASHRAE
# Fundamentals 2017 ch. 14]; the dew point that humidity sensors tell apart at best, common practice, no source.
HOLDING_H, HOLDING_K = 35.0, 0.3
