-- The ranking in groups: where each strategy pays, by climate and kind of building.
--
-- Grain: one row per climate_zone, building_type and best_strategy that occurs.
-- Tables: ranking, one row per site.
-- Parameters: none.

select
    coalesce(climate_zone, 'not known') as climate_zone,
    building_type,
    best_strategy,
    count(*) as sites,
    count(*) filter (where net_savings > 0) as sites_with_savings,
    sum(current_dehumidification_kwh) as current_dehumidification_kwh,
    sum(best_dehumidification_kwh) as best_dehumidification_kwh,
    sum(electricity_saved_kwh) as electricity_saved_kwh,
    sum(fuel_saved_kwh) as fuel_saved_kwh,
    sum(cost_saved) as cost_saved,
    sum(emissions_saved_kg) as emissions_saved_kg,
    sum(investment) as investment,
    sum(net_savings) as net_savings
from ranking
group by all
order by climate_zone, building_type, best_strategy
