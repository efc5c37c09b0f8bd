"""Lengths as they are written on a drawing: millimetres, or feet and inches with the millimetres beside them.

A fraction of an inch is a rounded number (1/16 in hides up to 0.8 mm), so it never stands alone: the millimetres are
always written with it, and nothing is computed from the rounded text.
"""

import math
from fractions import Fraction

from unfold.quantity import COVERAGE_FACTOR, Quantity
from unfold.settings.drawing import DrawingSettings

MM_PER_INCH = Fraction(254, 10)
NOT_MEASURED = "not measured"


def feet_and_inches(length_mm: float, denominator: int) -> str:
    """Write a length as feet, inches and a reduced fraction, rounded half to even: `6' 10 3/4"`, `1/8"`, `−2"`."""
    parts = round(Fraction(length_mm) / MM_PER_INCH * denominator)
    sign = "−" if parts < 0 else ""
    inches, part = divmod(abs(parts), denominator)
    feet, inches = divmod(inches, 12)
    words = [f"{feet}'"] if feet else []
    if inches or feet or not part:
        words.append(f"{inches}" if part else f'{inches}"')
    if part:
        words.append(f'{Fraction(part, denominator)}"')
    return sign + " ".join(words)


def decimals_for(expanded_uncertainty_mm: float) -> int:
    """Decimals that show two significant digits of the uncertainty (JCGM 100:2008, 7.2.6), at most two."""
    if not (math.isfinite(expanded_uncertainty_mm) and expanded_uncertainty_mm > 0.0):
        return 2
    return min(2, max(0, 1 - math.floor(math.log10(expanded_uncertainty_mm))))


def length(length_mm: float | None, settings: DrawingSettings) -> str:
    """Write a length of a wall or an opening to the millimetre, with the unit."""
    if length_mm is None or not math.isfinite(length_mm):
        return NOT_MEASURED
    if settings.units == "mm":
        return f"{length_mm:.0f} mm"
    return f"{feet_and_inches(length_mm, settings.smallest_fraction)} ({length_mm:.0f} mm)"


def dimension(length_mm: float, settings: DrawingSettings) -> str:
    """Write a length as the text of a dimension line: ISO 129-1 writes millimetres without their unit sign.

    A minus is a plain hyphen, as fonts of drawing programs often lack the true sign.
    """
    if settings.units == "mm":
        return f"{length_mm:.0f}"
    return f"{feet_and_inches(length_mm, settings.smallest_fraction)} ({length_mm:.0f})".replace("−", "-")


def plus_minus(
    value: float | None, standard_uncertainty: float | None, settings: DrawingSettings, most_places: int = 2
) -> str:
    """Write a length with its expanded uncertainty, 2 u: `2.41 ± 0.60 mm`."""
    if value is None or not math.isfinite(value):
        return NOT_MEASURED
    if standard_uncertainty is None or not math.isfinite(standard_uncertainty):
        return f"{value:.1f} mm, uncertainty unknown"
    expanded = COVERAGE_FACTOR * standard_uncertainty
    places = min(most_places, decimals_for(expanded))
    text = f"{_fixed(value, places)} ± {expanded:.{places}f} mm"
    if settings.units == "mm":
        return text
    small = 2 * settings.smallest_fraction if abs(value) < float(MM_PER_INCH) else settings.smallest_fraction
    return f"{text} ({feet_and_inches(value, small)})"


def _fixed(value: float, places: int) -> str:
    """Write a number with a true minus sign, and none on a zero that only rounding made."""
    return f"{float(f'{value:.{places}f}') + 0.0:.{places}f}".replace("-", "−")


def quantity(measured: Quantity | None, settings: DrawingSettings) -> str:
    """Write a measured length with its expanded uncertainty, 2 u, or that it was not measured."""
    if measured is None:
        return NOT_MEASURED
    return plus_minus(measured.value, measured.standard_uncertainty, settings)


def wide_quantity(measured: Quantity, settings: DrawingSettings) -> str:
    """Write a width or height of a wall with its expanded uncertainty, 2 u, to a tenth of a millimetre at most."""
    return plus_minus(measured.value, measured.standard_uncertainty, settings, most_places=1)


def rate(measured: Quantity | None) -> str:
    """Write a lean in millimetres a metre with its expanded uncertainty, 2 u."""
    if measured is None or not math.isfinite(measured.value):
        return NOT_MEASURED
    expanded = COVERAGE_FACTOR * measured.standard_uncertainty
    places = decimals_for(expanded)
    sign = "+" if float(f"{measured.value:.{places}f}") > 0.0 else ""
    return f"{sign}{_fixed(measured.value, places)} ± {expanded:.{places}f} mm/m"


def signed(value: float) -> str:
    """Write a number with its sign, as short as it is exact; zero has none."""
    return f"{value:+.10g}".replace("-", "−") if value else "0"


def percent(share: float) -> str:
    """A share in whole per cent; what is not quite all or nothing is not rounded to it."""
    if 0.0 < share < 0.01:
        return "under 1 %"
    if 0.99 < share < 1.0:
        return "over 99 %"
    return f"{100.0 * share:.0f} %"


def area(area_mm2: float) -> str:
    """Write an area in square metres, or in square centimetres where it is small."""
    return f"{area_mm2 / 1e6:.2f} m²" if area_mm2 >= 1e5 else f"{area_mm2 / 1e2:.0f} cm²"


def limit(length_mm: float, settings: DrawingSettings) -> str:
    """Write a tolerance or a straightedge's length as exactly as its rule states it: `3.175 mm`, `3048 mm (10')`."""
    text = f"{length_mm:.4f}".rstrip("0").rstrip(".") + " mm"
    if settings.units == "mm":
        return text
    return f"{text} ({feet_and_inches(length_mm, 64)})"
