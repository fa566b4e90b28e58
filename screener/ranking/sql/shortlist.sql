-- How the candidates fared: why a strategy is, or is not, the best one.
--
-- Grain: one row per candidate strategy.
-- Tables: strategies, one row per site_id and strategy with costs and economics; ranking, one row per site.
-- Parameters: none
--
-- Each count is among the sites of the one before it: sites that do not have the strategy today; that can have it; where
-- it holds the limit as well as the current one; where it saves more than it costs; where it is best.

with compared as (
    select
        strategies.strategy,
        strategies.unavailable is null as available,
        strategies.holds_limit as holding,
        strategies.net_savings > 0 and not strategies.unreconciled as paying,
        ranking.best_strategy = strategies.strategy as best
    from strategies
    inner join ranking using (site_id)
    where strategies.candidate and not strategies.is_current
)

select
    strategy,
    count(*) as sites,
    count(*) filter (where available) as available,
    count(*) filter (where available and holding) as holding,
    count(*) filter (where available and holding and paying) as paying,
    count(*) filter (where available and holding and paying and best) as best
from compared
group by strategy
order by best desc, paying desc, holding desc, strategy
