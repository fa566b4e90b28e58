-- What moved between two runs, site by site, and why.
--
-- Grain: one row per site of either run, in the order of site_id; rows of sites that did not move have no reason.
-- Tables: first_ranking and second_ranking, one row per site; first_strategies and second_strategies, one row per
-- site_id and strategy with costs and economics.
-- Parameters:
--   $cent         changes of money below it are none [currency]
--   $kwh          changes of energy below this share of it are none [1]
--   $beyond       what to call a change of net savings that no yearly amount and no investment accounts for
--
-- Of the reasons, a site that stands in one run only comes first, then another current strategy, another best strategy,
-- other energy, other money, and last that only the sites around it moved.

with paired as (
    select
        site_id,
        coalesce(second_ranking.name, first_ranking.name) as name,
        first_ranking.rank as rank_before,
        second_ranking.rank as rank_after,
        first_ranking.current_strategy as current_before,
        second_ranking.current_strategy as current_after,
        first_ranking.best_strategy as best_before,
        second_ranking.best_strategy as best_after,
        first_ranking.cost_saved as cost_saved_before,
        second_ranking.cost_saved as cost_saved_after,
        first_ranking.net_savings as net_savings_before,
        second_ranking.net_savings as net_savings_after,
        coalesce(second_ranking.net_savings, 0) - coalesce(first_ranking.net_savings, 0) as net_savings_change
    from first_ranking
    full join second_ranking using (site_id)
),

-- What changing to a strategy would save at its site in each run, part by part, and what stands in its way.
saved as (
    select
        run,
        strategies.site_id,
        strategies.strategy,
        current_strategy.energy_cost - strategies.energy_cost as energy_charges_saved,
        current_strategy.demand_cost - strategies.demand_cost as demand_charges_saved,
        current_strategy.fuel_cost - strategies.fuel_cost as fuel_charges_saved,
        current_strategy.upkeep_per_year - strategies.upkeep_per_year as upkeep_saved,
        strategies.investment,
        strategies.net_savings,
        strategies.electricity_kwh + strategies.fuel_kwh as energy_kwh,
        current_strategy.electricity_kwh + current_strategy.fuel_kwh as current_kwh,
        strategies.is_current,
        case
            when strategies.unavailable is not null then 'cannot work there (' || strategies.unavailable || ')'
            when strategies.is_current then 'today''s'
            when not strategies.candidate then 'no candidate'
            when strategies.net_savings is null then 'no known cost'
            when strategies.unreconciled then 'unreconciled with the bill'
            when not strategies.holds_limit
                then 'does not hold the limit as today''s does'
        end as hindrance
    from (
        select 'first' as run, * from first_strategies
        union all by name
        select 'second' as run, * from second_strategies
    ) as strategies
    inner join (
        select 'first' as run, * from first_strategies where is_current
        union all by name
        select 'second' as run, * from second_strategies where is_current
    ) as current_strategy using (run, site_id)
),

-- The best strategy of the second run as it stood in both.
both_runs as (
    select
        paired.site_id,
        after.energy_charges_saved - before.energy_charges_saved as energy_charges_saved,
        after.demand_charges_saved - before.demand_charges_saved as demand_charges_saved,
        after.fuel_charges_saved - before.fuel_charges_saved as fuel_charges_saved,
        after.upkeep_saved - before.upkeep_saved as upkeep_saved,
        after.investment - before.investment as investment,
        abs(after.energy_kwh - before.energy_kwh) > $kwh * before.energy_kwh
            or abs(after.current_kwh - before.current_kwh) > $kwh * before.current_kwh as other_energy
    from paired
    inner join saved as before
        on before.run = 'first' and before.site_id = paired.site_id and before.strategy = paired.best_after
    inner join saved as after
        on after.run = 'second' and after.site_id = paired.site_id and after.strategy = paired.best_after
),

parts as (
    select
        site_id,
        string_agg(
            replace(part, '_', ' ') || ' ' || format('{:,.0f}', abs(change))
                || case when change > 0 then ' more' else ' less' end
                || case when part = 'investment' then '' else ' a year' end,
            ', ' order by abs(change) desc, part
        ) as account
    from (
        unpivot both_runs
        on energy_charges_saved, demand_charges_saved, fuel_charges_saved, upkeep_saved, investment
        into name part value change
    )
    where abs(change) >= $cent
    group by site_id
),

-- How the two best strategies stood before and after, unless it is today's.
other_best as (
    select
        paired.site_id,
        string_agg(
            before.strategy || ': '
                || coalesce(before.hindrance, 'net savings ' || format('{:,.0f}', before.net_savings)) || ', now '
                || coalesce(
                    after.hindrance,
                    case when before.hindrance is null then '' else 'net savings ' end
                        || format('{:,.0f}', after.net_savings)
                ),
            '; ' order by before.strategy = paired.best_after, before.strategy
        ) as account
    from paired
    inner join saved as before
        on before.run = 'first' and before.site_id = paired.site_id
            and before.strategy in (paired.best_before, paired.best_after)
    inner join saved as after
        on after.run = 'second' and after.site_id = paired.site_id and after.strategy = before.strategy
    where paired.best_before <> paired.best_after and not (before.is_current and after.is_current)
    group by paired.site_id
)

select
    paired.* exclude (current_before, current_after),
    case
        when rank_before is null then 'not in the first run'
        when rank_after is null then 'not in the second run'
        when current_before <> current_after
            then 'today''s strategy was ' || current_before || ', now ' || current_after
        when best_before <> best_after then coalesce(other_best.account, 'another strategy is known')
        when both_runs.other_energy then 'its energy differs' || coalesce(': ' || parts.account, '')
        when abs(net_savings_change) >= $cent
            then coalesce(parts.account, $beyond)
                || case when sign(net_savings_change) = sign(rank_after - rank_before) then '; others moved more' else '' end
        when parts.account is not null then parts.account
        when rank_before <> rank_after then 'other sites moved'
    end as reason
from paired
left join both_runs using (site_id)
left join parts using (site_id)
left join other_best using (site_id)
order by site_id
