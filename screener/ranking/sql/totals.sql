-- The whole portfolio in one line.
--
-- Grain: one row, also for an empty ranking.
-- Tables: ranking, one row per site.
-- Parameters:
--   $placeholder  the basis of an investment that is a placeholder

select
    count(*) as sites,
    count(*) filter (where net_savings > 0) as sites_with_savings,
    count(*) filter (where unreconciled) as sites_unreconciled,
    count(*) filter (where investment_basis = $placeholder) as sites_with_placeholders,
    count(*) filter (where published_low is not null) as sites_with_published,
    coalesce(sum(published_low), 0) as published_low,
    coalesce(sum(published_high), 0) as published_high,
    coalesce(sum(current_dehumidification_kwh), 0) as current_dehumidification_kwh,
    coalesce(sum(best_dehumidification_kwh), 0) as best_dehumidification_kwh,
    coalesce(sum(electricity_saved_kwh), 0) as electricity_saved_kwh,
    coalesce(sum(fuel_saved_kwh), 0) as fuel_saved_kwh,
    coalesce(sum(cost_saved), 0) as cost_saved,
    coalesce(sum(drying_saved), 0) as drying_saved,
    coalesce(sum(recovery_saved), 0) as recovery_saved,
    count(*) filter (where without_equipment_strategy is not null) as sites_without_equipment,
    coalesce(sum(without_equipment_saved), 0) as without_equipment_saved,
    coalesce(sum(emissions_saved_kg), 0) as emissions_saved_kg,
    coalesce(sum(investment), 0) as investment,
    coalesce(sum(net_savings), 0) as net_savings
from ranking
