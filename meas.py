import polars as pl, sys
from screener import engine, climate, ledger, loads
from screener.strategies import REFERENCE, REGISTRY
from screener.tables import shipped
from tests.engine_cases import *
types=shipped.building_types().values["building_type"].to_list()
AREA={"supermarket":4000.,"convenience_store":300.,"restaurant":400.}
rows=[{"building_type":t,"floor_area_m2":AREA.get(t,2500.),"station":STATIONS[c],"site_id":f"{t}|{c}"} for t in types for c in ("Miami","Houston","Atlanta","Chicago","Phoenix","Seattle")]
if len(sys.argv)>1: rows=[r|{"cooling_units":int(sys.argv[1])} for r in rows]
sites=filled(rows); full=sized(sites)
zero=dict(air_storage_w_k=pl.lit(0.0),mass_exchange_w_k=pl.lit(0.0),moisture_storage_kg_s=pl.lit(0.0))
hours=engine.years(climate.hours(sites["weather_id"].unique().sort().to_list()))
def tot(s):
    b=list(engine.simulate(s,hours))
    t=ledger.totals(pl.concat([x.years for x in b]),tuple(REGISTRY),REFERENCE.name)
    return t.with_columns(pl.col("site_id").str.split("|").list.get(0).alias("type"))
z,f=tot(full.with_columns(**zero)),tot(full)
t=lambda d,c,s: d.filter(strategy=s).group_by("type").agg(pl.col(c).sum()).sort("type")[c]
names=sorted(types)
cols={"type":names}
for s in ("overcool_electric_reheat","standalone_dehumidifier","overcool_condenser_reheat","outdoor_air_dehumidifier"):
    a,b=t(z,"dehumidification_kwh",s),t(f,"dehumidification_kwh",s); cols[s[:18]+" dehum %"]=((b/a-1)*100).round(1)
for c in ("reheat_electricity_kwh",):
    a,b=t(z,c,"overcool_electric_reheat"),t(f,c,"overcool_electric_reheat"); cols[c+" %"]=((b/a-1)*100).round(1)
a,b=t(z,"peak_kw","overcool_electric_reheat"),t(f,"peak_kw","overcool_electric_reheat"); cols["peak %"]=((b/a-1)*100).round(1)
for c in ("hours_in_fog","hours_above_90_rh","hours_above_limit"):
    cols["ref "+c]=t(f,c,"temperature_only")/6; 
cols["ref fog before"]=t(z,"hours_in_fog","temperature_only")/6
a,b=t(z,"electricity_kwh","temperature_only"),t(f,"electricity_kwh","temperature_only"); cols["ref kwh %"]=((b/a-1)*100).round(1)
pl.Config.set_tbl_cols(30); pl.Config.set_tbl_width_chars(250); pl.Config.set_tbl_rows(20); print(pl.DataFrame(cols))
m=f.filter(pl.col("site_id").str.contains("Miami"),pl.col("strategy")=="temperature_only").select("site_id","hours_in_fog","hours_above_90_rh","hours_above_limit","dew_point_p95_c"); print(m)
