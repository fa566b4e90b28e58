-- Where better dehumidification saves most: the sites of a portfolio, each with its best strategy.
--
-- Grain: one row per site, every site of `sites` once.
-- Tables: strategies, one row per site_id and strategy with costs and economics; best_changes, of the sites that may be
-- advised a change, the row of the best (best_changes.sql); sites, one row per site_id.
-- Parameters:
--   $note_h        from how many hours a year above the limit a note says so [h]
--   $held_h        up to how many hours a year above the limit a strategy is said to hold it, and short of cooling to cool [h]
--   $bought_kwh    from how much bought reheat a year a note says so [kWh]
--   $bill_share    from what share of the electricity bill a note says so [1]
--   $uncontrolled  the strategy that controls no humidity
--   $recovering    a strategy that recovers heat beside drying
--   $plain         the same without recovery
--   $wheel         heat recovery alone, beside today's control
--   $placeholder   the basis of an investment that is a placeholder
--   $currency      what money is counted in, for the notes
--
-- The best strategy is that of the best change; where none may be advised it is the current one. The holding strategy is
-- the cheapest over the study period that holds the limit in all but a few hours, today's among them; where none does, the one
-- that comes closest.

with current_strategy as (
    select * from strategies where is_current
),

best as (
    select * from best_changes
    union all by name
    select * from current_strategy where site_id not in (select site_id from best_changes)
),

-- For sites that control no humidity today: the cheapest way to hold the limit, or else the one that comes closest.
cheapest_control as (
    select
        strategies.site_id,
        strategies.strategy,
        strategies.hours_above_limit,
        strategies.refrigeration_saved_kwh,
        (strategies.annual_cost - current_strategy.annual_cost)
        + (strategies.upkeep_per_year - current_strategy.upkeep_per_year) as extra_cost
    from strategies
    inner join current_strategy using (site_id)
    where current_strategy.strategy = $uncontrolled
        and strategies.strategy <> $uncontrolled
        and strategies.candidate
        and strategies.unavailable is null
        and strategies.annual_cost is not null
    qualify 1 = row_number() over (
        partition by strategies.site_id
        order by
            strategies.hours_above_limit > $note_h,
            case when strategies.hours_above_limit > $note_h then strategies.hours_above_limit end,
            extra_cost,
            strategies.strategy
    )
),

-- The cheapest strategy that holds the limit in nearly all hours and cools the space as well as today, or comes closest.
holder as (
    select
        strategies.site_id,
        strategies.strategy,
        strategies.is_current,
        strategies.hours_above_limit,
        strategies.investment,
        strategies.net_savings
    from strategies
    inner join current_strategy using (site_id)
    where (strategies.candidate or strategies.is_current)
        and strategies.unavailable is null
        and strategies.net_savings is not null
        and strategies.hours_cooling_not_met <= current_strategy.hours_cooling_not_met + $held_h
        and strategies.hours_in_fog <= current_strategy.hours_in_fog + $held_h
    qualify 1 = row_number() over (
        partition by strategies.site_id
        order by
            strategies.hours_above_limit > $held_h,
            case when strategies.hours_above_limit > $held_h then strategies.hours_above_limit end,
            strategies.net_savings desc,
            strategies.is_current desc,
            strategies.strategy
    )
),

-- The change without equipment that saves most and holds its own limit.
first_step as (
    select
        site_id,
        strategy,
        cost_saved + upkeep_saved + case_credit as saved,
        net_savings,
        note
    from strategies
    where without_equipment
        and unavailable is null
        and holds_limit
        and not unreconciled
        and net_savings > 0
    qualify 1 = row_number() over (partition by site_id order by net_savings desc, strategy)
),

-- Of a site that is not reconciled with its bill the change that saves most beyond it.
beyond as (
    select site_id, strategy, share_of_bill
    from strategies
    where unreconciled and candidate and not is_current and holds_limit and net_savings > 0
    qualify 1 = row_number() over (partition by site_id order by share_of_bill desc, strategy)
),

-- What would pay better than the best, but does not hold the limit as today's does.
dropped as (
    select
        strategies.site_id,
        string_agg(
            format('{} would save {:,.0f} {} more but {}', strategies.strategy,
                strategies.net_savings - best.net_savings, $currency,
                case
                    when strategies.hours_above_limit > current_strategy.hours_above_limit
                        and strategies.hours_above_limit - current_strategy.hours_above_limit
                        >= strategies.hours_cooling_not_met - current_strategy.hours_cooling_not_met
                        then format('is above the limit {:,.0f} h a year, today {:,.0f} h',
                            strategies.hours_above_limit, current_strategy.hours_above_limit)
                    when strategies.hours_cooling_not_met > current_strategy.hours_cooling_not_met
                        then format('leaves the space too warm {:,.0f} h a year, today {:,.0f} h',
                            strategies.hours_cooling_not_met, current_strategy.hours_cooling_not_met)
                    else format('is in fog {:,.0f} h a year, today {:,.0f} h',
                        strategies.hours_in_fog, current_strategy.hours_in_fog)
                end),
            '; ' order by strategies.net_savings desc, strategies.strategy
        ) as note
    from strategies
    inner join current_strategy using (site_id)
    inner join best using (site_id)
    where strategies.candidate
        and not strategies.is_current
        and strategies.unavailable is null
        and not strategies.holds_limit
        and not strategies.unreconciled
        and strategies.net_savings > greatest(best.net_savings, 0)
    group by strategies.site_id
),

-- Own prices that a best strategy with a placeholder is held against.
mixed_prices as (
    select
        strategies.site_id,
        string_agg(strategies.strategy || ' (' || strategies.investment_basis || ')', ', ' order by strategies.strategy)
            as note
    from strategies
    inner join best using (site_id)
    where best.investment_basis = $placeholder
        and not best.is_current
        and strategies.candidate
        and strategies.unavailable is null
        and strategies.investment_basis <> $placeholder
    group by strategies.site_id
),

-- Where the best change reheats with energy that is bought, the best that does not.
bought_heat as (
    select
        best.site_id,
        format('{} reheats with bought energy, {:,.0f} kWh a year', best.strategy,
            best.reheat_electricity_kwh + best.reheat_fuel_kwh)
        || case
            when other.strategy is null then '; no change that pays and holds the limit does without'
            else format('; {} does without and brings {:,.0f} {} less', other.strategy,
                best.net_savings - other.net_savings, $currency)
        end as note
    from best
    left join (
        select strategies.*
        from strategies
        where strategies.candidate
            and not strategies.is_current
            and strategies.unavailable is null
            and strategies.holds_limit
            and strategies.net_savings > 0
            and strategies.reheat_electricity_kwh + strategies.reheat_fuel_kwh = 0
        qualify 1 = row_number() over (
            partition by strategies.site_id order by strategies.net_savings desc, strategies.strategy
        )
    ) as other using (site_id)
    where not best.is_current
        and best.reheat_electricity_kwh + best.reheat_fuel_kwh > $bought_kwh
),

-- What of the saving is of drying. With recovery: what the plain unit would save. Of a wheel alone: what reheat, regeneration and
-- devices take less, at what a kilowatt-hour costs today on the average (that the coil has less water to take is counted
-- as recovery). Of any other: all of it. The rest is of heat recovery.
split as (
    select
        best.site_id,
        case
            when best.is_current then 0
            when best.strategy = $recovering then coalesce(current_strategy.annual_cost - plain.annual_cost, 0)
            when best.strategy = $wheel
                then coalesce(
                    (
                        (current_strategy.reheat_electricity_kwh + current_strategy.dehumidifier_kwh)
                        - (best.reheat_electricity_kwh + best.dehumidifier_kwh)
                    )
                    * (current_strategy.energy_cost + current_strategy.demand_cost)
                    / nullif(current_strategy.electricity_kwh, 0),
                    0
                )
                + coalesce(
                    (
                        (current_strategy.reheat_fuel_kwh + current_strategy.regeneration_fuel_kwh)
                        - (best.reheat_fuel_kwh + best.regeneration_fuel_kwh)
                    )
                    * current_strategy.fuel_cost / nullif(current_strategy.fuel_kwh, 0),
                    0
                )
            else best.cost_saved
        end as drying_saved,
        case
            when best.is_current then null
            when best.strategy = $recovering and plain.net_savings < 0
                then format('{} alone would lose {:,.0f} {} over the study period: what pays is heat recovery, not drying',
                    $plain, -plain.net_savings, $currency)
            when best.strategy = $recovering and plain.net_savings is null
                then format('{} alone cannot be had here or has no price: how much of the saving is drying is not known',
                    $plain)
            when best.strategy = $wheel then 'its saving is heat recovery: humidity is controlled as today'
        end as note
    from best
    inner join current_strategy using (site_id)
    left join (select * from strategies where strategy = $plain) as plain using (site_id)
),

-- Why a candidate was passed over that might have been expected, one line per site and reason.
passed_over as (
    select site_id, string_agg(strategy, ', ' order by strategy) || ': ' || reason as note
    from (
        select
            site_id,
            strategy,
            coalesce(unavailable, case when annual_cost is null then 'no price for a fuel it uses' end) as reason
        from strategies
        where candidate and not is_current
    )
    where reason is not null
    group by site_id, reason
),

passed_over_notes as (
    select site_id, string_agg(note, '; ' order by note) as note
    from passed_over
    group by site_id
),

notes as (
    select
        sites.site_id,
        case
            when current_strategy.site_id is null
                then 'current strategy ' || sites.current_strategy || ' has no results: nothing to compare with'
            when current_strategy.unavailable is not null
                then 'current strategy cannot work here (' || current_strategy.unavailable
                    || '): nothing to compare with'
            when current_strategy.annual_cost is null
                then 'current strategy has no known cost (no price for a fuel it uses): nothing to compare with'
        end as no_reference,
        case
            when current_strategy.strategy = $uncontrolled and current_strategy.hours_above_limit <= $note_h
                then format('humidity is not controlled today and is above the limit only {:,.0f} h a year',
                    current_strategy.hours_above_limit)
            when current_strategy.strategy = $uncontrolled
                then format('humidity is not controlled today and is above the limit {:,.0f} h a year',
                    current_strategy.hours_above_limit)
                    || case
                        when cheapest_control.site_id is null then '; no candidate could hold it here'
                        else format('; {} would cost {:,.0f} {} a year {} than today, before investment',
                            case
                                when cheapest_control.hours_above_limit <= $note_h
                                    then 'holding it with ' || cheapest_control.strategy
                                else format('coming closest ({:,.0f} h) with {}',
                                    cheapest_control.hours_above_limit, cheapest_control.strategy)
                            end,
                            abs(cheapest_control.extra_cost),
                            $currency,
                            case when cheapest_control.extra_cost < 0 then 'less' else 'more' end)
                    end
            when best.hours_above_limit > $note_h
                then format('above the humidity limit {:,.0f} h a year with {}', best.hours_above_limit, best.strategy)
                    || case
                        when holder.strategy = best.strategy or holder.strategy is null then ''
                        else format('; {} ({:,.0f} h) would bring {:,.0f} {} {} over the study period',
                            case when holder.hours_above_limit <= $held_h then 'holding it with ' || holder.strategy
                                else 'coming closest with ' || holder.strategy end,
                            holder.hours_above_limit,
                            abs(best.net_savings - holder.net_savings),
                            $currency,
                            case when holder.net_savings < best.net_savings then 'less' else 'more' end)
                    end
        end as humidity,
        case when cheapest_control.refrigeration_saved_kwh >= 1
            then format('drier air would spare its display cases {:,.0f} kWh a year besides',
                cheapest_control.refrigeration_saved_kwh)
        end as cases,
        case when best.strategy <> current_strategy.strategy then best.strategy || ' ' || best.note end as equipment,
        dropped.note as dropped,
        passed_over_notes.note as passed_over,
        case
            when best.investment_basis = $placeholder and best.size_assumed
                then 'investment is a placeholder, not a quotation, and its size assumed'
            when best.investment_basis = $placeholder then 'investment is a placeholder, not a quotation'
            when best.size_assumed then 'investment by ' || best.investment_basis || ', size assumed'
        end as placeholder,
        'a placeholder is compared with own prices here: ' || mixed_prices.note as mixed,
        case when best.priced_below is not null
            then best.strategy || ' is priced below ' || best.priced_below || ', which is a part of it: check the prices'
        end as disorder,
        bought_heat.note as bought_heat,
        case
            when current_strategy.unreconciled
                then format('unreconciled: {} would save more electricity ({:.0f} %) than the whole bill; nothing is advised '
                    || 'until loads, hours, efficiency and bill are checked', beyond.strategy, 100 * beyond.share_of_bill)
            when best.share_of_bill > $bill_share
                then format('saves {:.0f} % of the electricity bill: more than usual, check loads and bill',
                    100 * best.share_of_bill)
        end as bill,
        split.note as recovery,
        sites.climate_note,
        sites.figures_note
    from sites
    left join current_strategy using (site_id)
    left join best using (site_id)
    left join cheapest_control using (site_id)
    left join passed_over_notes using (site_id)
    left join dropped using (site_id)
    left join beyond using (site_id)
    left join mixed_prices using (site_id)
    left join bought_heat using (site_id)
    left join split using (site_id)
    left join holder using (site_id)
),

compared as (
    select
        sites.site_id,
        sites.name,
        sites.building_type,
        sites.climate_zone,
        sites.station,
        sites.current_strategy,
        coalesce(best.strategy, sites.current_strategy) as best_strategy,
        current_strategy.dehumidification_kwh as current_dehumidification_kwh,
        best.dehumidification_kwh as best_dehumidification_kwh,
        current_strategy.dehumidification_electricity_kwh as current_dehumidification_electricity_kwh,
        current_strategy.dehumidification_fuel_kwh as current_dehumidification_fuel_kwh,
        best.dehumidification_electricity_kwh as best_dehumidification_electricity_kwh,
        best.dehumidification_fuel_kwh as best_dehumidification_fuel_kwh,
        coalesce(best.electricity_saved_kwh, 0) as electricity_saved_kwh,
        coalesce(best.fuel_saved_kwh, 0) as fuel_saved_kwh,
        coalesce(best.cost_saved, 0) as cost_saved,
        coalesce(split.drying_saved, 0) as drying_saved,
        coalesce(best.cost_saved, 0) - coalesce(split.drying_saved, 0) as recovery_saved,
        coalesce(current_strategy.energy_cost - best.energy_cost, 0) as energy_charges_saved,
        coalesce(current_strategy.demand_cost - best.demand_cost, 0) as demand_charges_saved,
        coalesce(current_strategy.fuel_cost - best.fuel_cost, 0) as fuel_charges_saved,
        coalesce(best.case_savings, 0) as case_savings,
        best.emissions_saved_kg,
        coalesce(best.investment, 0) as investment,
        best.investment_basis,
        best.published_low,
        best.published_high,
        coalesce(best.net_savings, 0) as net_savings,
        best.share_of_bill,
        coalesce(current_strategy.unreconciled, false) as unreconciled,
        best.simple_payback_years,
        best.savings_to_investment,
        best.adjusted_rate_of_return,
        best.discounted_payback_years,
        best.hours_above_limit,
        holder.strategy as holding_strategy,
        holder.hours_above_limit as holding_hours_above_limit,
        holder.investment as holding_investment,
        holder.net_savings as holding_net_savings,
        coalesce(best.net_savings, 0) - holder.net_savings as holding_price,
        first_step.strategy as without_equipment_strategy,
        first_step.saved as without_equipment_saved,
        first_step.net_savings as without_equipment_net_savings,
        first_step.note as without_equipment_condition,
        sites.assumed_share,
        nullif(
            concat_ws(
                '; ', notes.no_reference, notes.bill, notes.humidity, notes.cases, notes.dropped, notes.equipment, notes.passed_over,
                notes.recovery, notes.bought_heat, notes.placeholder, notes.mixed, notes.disorder, notes.climate_note,
                notes.figures_note
            ),
            ''
        ) as notes
    from sites
    left join current_strategy using (site_id)
    left join best using (site_id)
    left join holder using (site_id)
    left join split using (site_id)
    left join first_step using (site_id)
    left join notes using (site_id)
)

select
    row_number() over (order by net_savings desc, cost_saved desc, site_id asc) as rank,
    *
from compared
order by rank
