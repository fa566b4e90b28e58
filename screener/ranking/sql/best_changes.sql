-- The change each site is best advised to make.
--
-- Grain: one row per site that may be advised a change, in the order of site_id.
-- Tables: eligible, one row per site_id and strategy (eligible.sql).
-- Parameters: none
--
-- The best strategy is the eligible one with the highest net savings. Ties go to the higher yearly saving, the lower
-- investment, then the name.

select *
from eligible
qualify 1 = row_number() over (
    partition by site_id order by net_savings desc, cost_saved desc, investment asc, strategy asc
)
order by site_id
