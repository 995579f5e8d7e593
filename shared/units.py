"""The one place of conversion factors. Inside, everything is SI; people speak in what they are used to.

Exact by definition (international yard and pound, 1959; US gallon of 231 cubic inches) unless a line says
otherwise.
"""

M_PER_FT = 0.3048
M_PER_IN = 0.0254
M2_PER_FT2 = M_PER_FT**2
M3_PER_FT3 = M_PER_FT**3
M3_PER_YD3 = 27 * M3_PER_FT3
L_PER_M3 = 1000.0
L_PER_GAL = 3.785411784
MM_PER_IN = 25.4
KG_PER_LB = 0.45359237
KG_PER_SHORT_TON = 2000 * KG_PER_LB
KG_M3_PER_LB_YD3 = KG_PER_LB / M3_PER_YD3

BUCKET_L = 5 * L_PER_GAL
"""The household measure of the trade in the US: a five-gallon bucket. [L]"""


def c_from_f(fahrenheit: float) -> float:
    """Degrees Celsius."""
    return (fahrenheit - 32.0) / 1.8


def f_from_c(celsius: float) -> float:
    """Degrees Fahrenheit."""
    return celsius * 1.8 + 32.0
