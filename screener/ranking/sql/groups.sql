-- The ranking in groups: counts and totals.
--
-- Grain: one row per `group_key` that occurs, spread into its parts, in order.
-- Tables: grouped, the ranking with a struct `group_key`.
-- Parameters:
--   $placeholder  the basis of an investment that is a placeholder

select
    unnest(group_key),
    count(*) as sites,
    count(*) filter (where net_savings > 0) as sites_with_savings,
    count(*) filter (where investment_basis = $placeholder) as sites_with_placeholders,
    sum(current_dehumidification_kwh) as current_dehumidification_kwh,
    sum(best_dehumidification_kwh) as best_dehumidification_kwh,
    sum(electricity_saved_kwh) as electricity_saved_kwh,
    sum(fuel_saved_kwh) as fuel_saved_kwh,
    sum(cost_saved) as cost_saved,
    sum(drying_saved) as drying_saved,
    sum(recovery_saved) as recovery_saved,
    sum(emissions_saved_kg) as emissions_saved_kg,
    sum(investment) as investment,
    sum(net_savings) as net_savings
from grouped
group by group_key
order by group_key
