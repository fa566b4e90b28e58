"""A passive heat pipe around the installed coil: it precools the entering air and gives the same heat back behind the coil.

The coil then starts colder and takes more water for its sensible duty, so less surplus cooling has to be put back; what
remains is reheated the way the site reheats today. A valve opens it while water has to be removed; its air
resistance stays, and warms the air while the supply fan runs on. (In a dry hour of a cycling fan that heat, some 1 % of the
coil's, is left out.)
"""

from dataclasses import replace

from screener.contracts.hour import COIL
from screener.contracts.needs import AIR_SYSTEM
from screener.formula import Number, as_number, col, equal, when
from screener.physics import heat_pipe
from screener.physics.cooling_coil import CoilState
from screener.strategies import installed, overcool_condenser_reheat, overcool_electric_reheat, overcool_fuel_reheat
from screener.strategies.installed import RunningCoil
from screener.strategies.overcooling import Overcooler, condenser_reheat, overcool
from screener.strategies.resting import RESTING
from screener.strategies.strategy import Machine, Outcome, Strategy
from screener.worksheet import Process, Worksheet

NAME = "wrapped_coil_heat_pipe"


def rate(own: Worksheet, machine: Machine) -> None:
    """The pipe's effectiveness, and how the site reheats today: else by its heating source."""
    pipe = machine.figure_or("sensible_effectiveness", heat_pipe.EFFECTIVENESS)
    own.let("effectiveness", pipe, "of the heat pipe")
    today = col("current_strategy")
    by_resistance, burnt = equal(today, overcool_electric_reheat.NAME), equal(today, overcool_fuel_reheat.NAME)
    by_fuel = when(burnt).then(1 / col("fuel_efficiency")).otherwise(col("reheat_fuel_per_heat"))
    own.let("reheats_by_resistance", as_number(by_resistance), "1 where the site reheats so today")
    own.let("reheats_by_fuel", as_number(burnt), "1 where it reheats so today")
    own.let("reheat_fuel_per_heat", when(by_resistance).then(0.0).otherwise(by_fuel))
    own.let("reheats_by_condenser", equal(today, overcool_condenser_reheat.NAME), "and does so today")


def extra_fan_w() -> Number:
    """Power the supply fan needs for the pipe's resistance while it runs [W]."""
    return col("supply_l_s") * heat_pipe.FAN_W_L_S


def coil_at(sheet: Worksheet, space_c: Number, humidity_ratio: Number) -> RunningCoil:
    """The installed coil inside the pipe."""

    def inside(sheet: Worksheet, t_in: Number, w_in: Number) -> CoilState:
        effectiveness = col(f"{NAME}.effectiveness")
        return heat_pipe.run(sheet, COIL, effectiveness, t_in, w_in, col("outdoor_c"), col("pressure_pa"))

    return installed.coil_at(sheet, space_c, humidity_ratio, run=inside, fan_w=col("fan_w") + extra_fan_w())


def damp_hour(sheet: Worksheet) -> Outcome:
    """Overcool with the pipe; the remaining reheat as today, or by the site's heating where there is none today."""
    section = sheet.section(f"{NAME}.damp")
    running = Overcooler(f"{NAME}.damp", f"{NAME}.damp.at_limit", coil_at, coil_meets="precooled_c")
    cooled = overcool(sheet, running)
    show_pipe(sheet)
    warm_compressor, short = condenser_reheat(section.section("condenser"), cooled)
    by_condenser = col(f"{NAME}.reheats_by_condenser")
    rest = section.let("reheat_left_w", when(by_condenser).then(short).otherwise(cooled.reheat_w), "to be paid for")
    electric = when(col(f"{NAME}.reheats_by_fuel") > 0).then(0.0).otherwise(col("reheat_electric_per_heat"))
    electric = when(col(f"{NAME}.reheats_by_resistance") > 0).then(1.0).otherwise(electric)
    as_heated = (col(f"{NAME}.reheats_by_resistance") + col(f"{NAME}.reheats_by_fuel")) <= 0
    beyond = when(as_heated).then(installed.beyond_racks(rest, cooled.outcome.heating_w)).otherwise(0.0)
    runs = cooled.mixed(installed.fan_on(cooled.run_fraction), installed.fan_on(RESTING.run_fraction))
    runs = when(cooled.helps).then(runs).otherwise(installed.fan_on(RESTING.run_fraction))
    fans = cooled.outcome.fans_w + extra_fan_w() * runs
    return replace(
        cooled.outcome,
        compressor_w=when(by_condenser).then(warm_compressor).otherwise(cooled.outcome.compressor_w),
        fans_w=fans,
        reheat_electricity_w=rest * electric + beyond,
        reheat_fuel_w=rest * col(f"{NAME}.reheat_fuel_per_heat"),
    )


def show_pipe(sheet: Worksheet) -> None:
    """Note both halves of the pipe, for whoever wants to check the hour by hand."""
    coil = f"{NAME}.damp.coil"
    w_in, passed = col(f"{coil}.entering_humidity_ratio"), col(f"{coil}.passed_w")
    entering = sheet.show_state("heat pipe entering", col(f"{coil}.entering_c"), w_in)
    sheet.show(
        Process(
            "heat pipe, first half, at full run",
            entering,
            "coil entering",
            COIL.supply_kg_s,
            passed,
            0.0,
            0.0,
            "effectiveness x (entering - leaving the coil); given back behind the coil [heat_pipe]",
        )
    )


STRATEGY = Strategy(
    name=NAME,
    summary="a heat pipe around the coil precools and reheats; the rest is reheated as today",
    ventilation=None,
    own_fan=None,
    resists=extra_fan_w,
    rate=rate,
    damp_hour=damp_hour,
    standby=lambda _: {"fans_w": extra_fan_w() * installed.fan_on(RESTING.run_fraction)},
    device=None,
    needs=(AIR_SYSTEM,),
    unavailable=None,
    note=None,
    sets=None,
)
