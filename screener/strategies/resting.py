"""What temperature control alone does in an hour, as the other strategies meet it: the installed coil at rest from drying.

The reference works the hour out and hands it on as a `Resting`; strategies read its fields, never the names of its steps.
"""

from dataclasses import MISSING, dataclass, fields

from screener.contracts.hour import REFERENCE
from screener.formula import Formula, Number, Truth, col, when
from screener.physics import psychrometrics as air
from screener.physics.cooling_coil import CoilState
from screener.strategies.installed import RunningCoil
from screener.strategies.strategy import NOTHING, Outcome


@dataclass(frozen=True)
class Resting:
    """An hour of temperature control alone.

    `coil` is solved at `first_humidity_ratio`, a first guess of where the space settles; it runs for `run_fraction` of the
    hour and keeps the water of `latent_fraction` of one: `removal_kg_s` there, `removal_slope` more per unit of humidity.
    `held_humidity_ratio` is where the space settles, no damper than fog. `cooling_w` it delivers, `heating_needed_w` to
    hold the heating set point. `outcome` has the columns of the hour itself.
    """

    coil: RunningCoil
    first_humidity_ratio: Number
    held_humidity_ratio: Number
    run_fraction: Number
    latent_fraction: Number
    removal_kg_s: Number
    removal_slope: Number
    cooling_w: Number
    heating_needed_w: Number

    @property
    def outcome(self) -> dict[str, Formula]:
        """The fields of the hour's outcome that temperature control alone has, as columns."""
        return {field.name: col(f"{REFERENCE}.{field.name}") for field in fields(Outcome) if field.default is MISSING}

    @property
    def space_c(self) -> Formula:
        """Where the space settles [degC]."""
        return self.outcome["space_c"]

    @property
    def heating_w(self) -> Formula:
        """Heat the site's heating gives."""
        return self.outcome["heating_w"]

    def drier(self, humidity_ratio: Number) -> Truth:
        """Whether this is drier than at rest, by more than the last bits of two ways to the same figure."""
        return humidity_ratio < self.outcome["humidity_ratio"] * (1 - 1e-9)

    def unless(self, acting: Truth, outcome: Outcome) -> Outcome:
        """`outcome` in the hours `acting`, in the others what temperature control alone does."""
        own = {field.name: getattr(outcome, field.name) for field in fields(Outcome)}
        return Outcome(
            **{
                name: when(acting).then(value).otherwise(self.outcome.get(name, NOTHING))
                for name, value in own.items()
                if name in self.outcome or value is not NOTHING
            }
        )


def _columns() -> Resting:
    coil = {field.name: col(f"{REFERENCE}.coil.{field.name}") for field in fields(CoilState)}
    state = CoilState(**coil)
    own = (
        "first_humidity_ratio",
        "held_humidity_ratio",
        "removal_kg_s",
        "removal_slope",
        "cooling_w",
        "heating_needed_w",
    )
    return Resting(
        coil=RunningCoil(
            entering_c=col(f"{REFERENCE}.coil.entering_c"),
            entering_humidity_ratio=col(f"{REFERENCE}.coil.entering_humidity_ratio"),
            state=state,
            sensible_w=col(f"{REFERENCE}.coil.net_sensible_w"),
            moisture_kg_s=state.moisture_kg_s,
            moisture_slope=col(f"{REFERENCE}.coil.moisture_slope_in_space"),
            latent_w=state.moisture_kg_s * air.EVAPORATION_J_KG,
        ),
        run_fraction=col(f"{REFERENCE}.run_fraction"),
        latent_fraction=col(f"{REFERENCE}.latent_fraction"),
        **{name: col(f"{REFERENCE}.{name}") for name in own},
    )


RESTING = _columns()
