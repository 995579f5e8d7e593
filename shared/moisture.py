"""Water and air in a pile: moisture, free air space, what it can hold, how it settles.

Moisture is kg water/kg wet; free air space m³/m³. Source marks stand beside each constant.
"""

from shared.compiled import compiled, exponential

WATER_KG_PER_M3 = 1000.0
ORGANIC_KG_PER_M3 = 1600.0  # Richard et al. 2004; Haug's 1,000 gives less air space
ASH_KG_PER_M3 = 2500.0
HOLDING_MOISTURE = 0.70  # leafy mixes hold 0.65-0.75; the rest drains off
SHELL_EXCHANGE_PER_DAY = 0.05  # water creeping between core and shell; a guess, low
ET_FACTOR = 0.23  # of reference evapotranspiration; 0.3-0.5 of a moist top, less once a crust has dried


@compiled
def moisture_of(water_kg: float, dry_kg: float) -> float:
    """Moisture, wet basis [kg/kg]."""
    return water_kg / max(water_kg + dry_kg, 1e-9)


@compiled
def free_air_space(volume_m3: float, water_kg: float, organic_kg: float, ash_kg: float) -> float:
    """Free air space [m³/m³], not below 0. Source: Agnew and Leonard 2003, form of Richard et al. 2004."""
    filled = water_kg / WATER_KG_PER_M3 + organic_kg / ORGANIC_KG_PER_M3 + ash_kg / ASH_KG_PER_M3
    return max(0.0, 1.0 - filled / volume_m3)


@compiled
def settled_air(free_air: float, settling: float, settling_days: float, matting_days: float) -> float:
    """Free air space after so many moist days since the last turn [m³/m³]; a turn opens it again."""
    return free_air * (1.0 - settling * (1.0 - exponential(-matting_days / settling_days)))


@compiled
def holding_kg(dry_kg: float, holding_moisture: float) -> float:
    """Water that dry matter holds before it drains [kg]."""
    return dry_kg * holding_moisture / (1.0 - holding_moisture)
