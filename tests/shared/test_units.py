"""Conversions, against pint and the figures printed in leaflets."""

import pint
import pytest

from shared import units

REGISTRY: pint.UnitRegistry[float] = pint.UnitRegistry()


@pytest.mark.parametrize(
    ("ours", "one", "si"),
    [
        (units.M_PER_FT, "foot", "meter"),
        (units.M_PER_IN, "inch", "meter"),
        (units.M2_PER_FT2, "foot**2", "meter**2"),
        (units.M3_PER_FT3, "foot**3", "meter**3"),
        (units.M3_PER_YD3, "yard**3", "meter**3"),
        (units.L_PER_GAL, "US_liquid_gallon", "liter"),
        (units.KG_PER_LB, "pound", "kilogram"),
        (units.KG_PER_SHORT_TON, "US_ton", "kilogram"),
        (units.KG_M3_PER_LB_YD3, "pound/yard**3", "kilogram/meter**3"),
        (units.MM_PER_IN, "inch", "millimeter"),
        (units.BUCKET_L, "5 * US_liquid_gallon", "liter"),
    ],
)
def test_each_factor_agrees_with_pint(ours: float, one: str, si: str) -> None:
    """Every factor equals that of an independent unit library."""
    assert ours == pytest.approx(REGISTRY.parse_expression(one).to(si).magnitude, rel=1e-12)


@pytest.mark.parametrize("celsius", [-40.0, 0.0, 37.0, 55.0, 66.0, 71.0, 77.0, 100.0])
def test_temperatures_agree_with_pint_and_come_back(celsius: float) -> None:
    """Fahrenheit and back is the same temperature, and the library's."""
    fahrenheit = REGISTRY.Quantity(celsius, "degC").to("degF").magnitude

    assert units.f_from_c(celsius) == pytest.approx(fahrenheit)
    assert units.c_from_f(units.f_from_c(celsius)) == pytest.approx(celsius)


def test_the_lines_of_the_rules_meet_in_both_units() -> None:
    """131 °F is 55 °C and 160 °F is 71 °C, as the organic rule and the trade print them."""
    assert units.c_from_f(131) == pytest.approx(55.0)
    assert units.c_from_f(160) == pytest.approx(71.1, abs=0.05)


def test_a_cubic_yard_is_202_gallons() -> None:
    """1 yd³ = 27 ft³ = 0.764555 m³ = 201.974 US gal (conversions of the trade)."""
    assert pytest.approx(0.764555, abs=5e-7) == units.M3_PER_YD3
    assert pytest.approx(201.974, abs=5e-4) == units.M3_PER_YD3 * 1000 / units.L_PER_GAL


def test_the_bucket_procedure_gives_the_printed_densities() -> None:
    """CHK-3.6: pounds in a five-gallon bucket times 40.395 are lb/yd³."""
    one_pound_kg_m3 = units.KG_PER_LB / units.BUCKET_L * units.L_PER_M3
    assert one_pound_kg_m3 / units.KG_M3_PER_LB_YD3 == pytest.approx(40.395, abs=5e-4)


@pytest.mark.parametrize(
    ("lb_yd3", "kg_m3"), [(259, 153.7), (350, 207.6), (450, 267.0), (445, 264.0), (620, 367.8)]
)
def test_handbook_densities_convert_as_the_alberta_manual_prints_them(lb_yd3: float, kg_m3: float) -> None:
    """CHK-1.2 to 1.4: cardboard, sawdust and wood chips of NRAES-54 in Agdex 400/27-1's kg/m³."""
    assert lb_yd3 * units.KG_M3_PER_LB_YD3 == pytest.approx(kg_m3, abs=0.05)
