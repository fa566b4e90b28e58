-- Rows in the order a person asked for, and what the ones down to each would save together.
--
-- Grain: one row per row of `listed`, in order.
-- Tables: listed, sites or groups with cost_saved, investment and net_savings, a `sort_key` (rows without one come last)
-- and a `tie_key` that no two rows share.
-- Parameters:
--   $descending  whether the greatest sort key comes first

with placed as (
    select
        row_number() over (
            order by
                sort_key is null,
                case when $descending then sort_key end desc,
                case when not $descending then sort_key end asc,
                tie_key
        ) as position,
        * exclude (sort_key, tie_key)
    from listed
)

select
    *,
    sum(cost_saved) over running as cumulative_cost_saved,
    sum(investment) over running as cumulative_investment,
    sum(net_savings) over running as cumulative_net_savings
from placed
window running as (order by position rows unbounded preceding)
order by position
