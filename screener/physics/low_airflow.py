"""A supply fan slowed down to let the coil run colder."""

FLOW_SHARE = 0.7  # of the rated flow, common practice, no source
FAN_EXPONENT = (
    2.5  # of fan power against flow: the cube of the fan law, less what drive and static pressure lose (practice)
)
FAN_SHARE: float = FLOW_SHARE**FAN_EXPONENT
