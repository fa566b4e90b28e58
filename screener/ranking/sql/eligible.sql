-- The changes that a site may be advised to make: what the ranking takes its best from, and a program its parts.
--
-- Grain: one row per site_id and strategy, in that order, of those that are candidates, can be had, save money over the
-- study period and hold the humidity limit at least as well as the site's current strategy.
-- Tables: strategies, one row per site_id and strategy with costs and economics.
-- Parameters: none

select strategies.*
from strategies
where strategies.candidate
    and not strategies.is_current
    and strategies.unavailable is null
    and strategies.net_savings > 0
    and strategies.holds_limit
    and not strategies.unreconciled
order by strategies.site_id, strategies.strategy
