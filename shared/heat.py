"""What a pile's warmth does: humid air, heat capacity, conduction to the outside, natural draught.

Temperatures in °C, heat in MJ, time in days. 1 W = 0.0864 MJ/day.
"""

from math import pi

from shared.compiled import compiled, cube_root, exponential

MJ_PER_DAY_PER_W = 0.0864
AIR_PRESSURE_KPA = 101.325
CONDUCTIVITY_W_PER_M_K = 0.40  # moist home mix; 0.3-0.5 out of Ahn et al. 2009
FILM_W_PER_M2_K = 10.0  # light wind; 5 still, 20 windy
DRAUGHT_BASE_KG_PER_DAY = 6.0  # natural draught of 1 m³ without a rise, then 1.0 more for each K of rise
DRAUGHT_PER_K = 1.0
DRAUGHT_SLOPE_PER_K = DRAUGHT_PER_K / DRAUGHT_BASE_KG_PER_DAY
RADIUS_OF_CUBE = (3.0 / (4.0 * pi)) ** (1.0 / 3.0)  # of the sphere as large as a cube of side 1


@compiled
def saturation_kpa(temp_c: float) -> float:
    """Vapour pressure of saturated air [kPa]. Source: FAO-56 eq. 11."""
    return 0.6108 * exponential(17.27 * temp_c / (temp_c + 237.3))


@compiled
def humidity(vapour_kpa: float) -> float:
    """Humidity ratio of air at sea level [kg water/kg dry air]; capped where air would boil."""
    vapour = min(vapour_kpa, 0.8 * AIR_PRESSURE_KPA)
    return 0.622 * vapour / (AIR_PRESSURE_KPA - vapour)


@compiled
def enthalpy_mj(temp_c: float, humidity_ratio: float) -> float:
    """Enthalpy of moist air over that of dry air and water at 0 °C [MJ/kg dry air]."""
    return 1e-3 * (1.006 * temp_c + humidity_ratio * (2501.0 + 1.86 * temp_c))


@compiled
def enthalpy_slope_mj_per_k(temp_c: float, humidity_ratio: float) -> float:
    """Rise of the enthalpy with warmth, of air that stays as near to saturation [MJ/kg K]."""
    more_humid = (
        humidity_ratio
        * (1.0 + humidity_ratio * (1.0 / 0.622))
        * 4098.0
        / ((temp_c + 237.3) * (temp_c + 237.3))
    )
    return 1e-3 * (1.006 + more_humid * (2501.0 + 1.86 * temp_c) + 1.86 * humidity_ratio)


@compiled
def air_leaving(temp_c: float, damp: float) -> tuple[float, float, float]:
    """Humidity [kg/kg], enthalpy [MJ/kg] and its slope [MJ/kg K] of air brought so near to saturation."""
    ratio = humidity(damp * saturation_kpa(temp_c))
    return ratio, enthalpy_mj(temp_c, ratio), enthalpy_slope_mj_per_k(temp_c, ratio)


@compiled
def heat_capacity_mj_per_k(water_kg: float, dry_kg: float) -> float:
    """Heat capacity of wet matter [MJ/K]: water 4.184, dry solids 1.046 kJ/kg K (Haug 1993)."""
    return 1e-3 * (4.184 * water_kg + 1.046 * dry_kg)


@compiled
def conductances_w_per_k(
    side_m: float, shell_share: float, conductivity: float, film: float
) -> tuple[float, float]:
    """From mean core to mean shell, and from there to the air outside [W/K].

    A sphere that heats evenly, as large as a cube of `side_m` and with its six faces, split at the shell's
    inner face; half the shell conducts, then the film. Together the mean rise is that of
    U = 1/(R/5k + 1/h).
    """
    radius_m, area_m2 = RADIUS_OF_CUBE * side_m, 6.0 * side_m * side_m
    inner_radius = cube_root(1.0 - shell_share)
    # mean rise over the surface, the centre being 1: the parabola of an even source
    core = 1.0 - 0.6 * inner_radius * inner_radius
    shell = (0.4 - (1.0 - shell_share) * core) / shell_share
    inner = 2.0 * conductivity * area_m2 * (1.0 - shell_share) / (radius_m * (core - shell))
    return inner, area_m2 / (shell * radius_m / (2.0 * conductivity) + 1.0 / film)


@compiled
def still_draught_kg_per_day(side_m: float, free_air: float) -> float:
    """Natural draught through a pile as warm as the air [kg dry air/day], less where pores close."""
    return DRAUGHT_BASE_KG_PER_DAY * side_m * side_m * min(1.0, max(0.05, free_air / 0.4))


@compiled
def draught_share(rise_k: float) -> float:
    """Draught at a rise over the air, relative to none: (6 + 1.0 ΔT)/6 [-]."""
    return 1.0 + DRAUGHT_SLOPE_PER_K * max(0.0, rise_k)
