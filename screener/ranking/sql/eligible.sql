-- The changes that a site may be advised to make: what the ranking takes its best from, and a program its parts.
--
-- Grain: one row per site_id and strategy, in that order, of those that are candidates, can be had, save money over the
-- study period and hold the humidity limit at least as well as the site's current strategy.
-- Tables: strategies, one row per site_id and strategy with costs and economics.
-- Parameters:
--   $tolerance_h  how many hours a year more above its limit still count as holding it as well as today [h]

with current_strategy as (
    select site_id, hours_above_limit from strategies where is_current
)

select strategies.*
from strategies
inner join current_strategy using (site_id)
where strategies.candidate
    and not strategies.is_current
    and strategies.unavailable is null
    and strategies.net_savings > 0
    and strategies.hours_above_limit <= current_strategy.hours_above_limit + $tolerance_h
order by strategies.site_id, strategies.strategy
