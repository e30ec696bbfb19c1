"""Limits of use of differential-pressure elements: within them ISO 5167:2003 states its coefficients.

Those of an orifice plate are checked in the tests against another's table of them; all others are from memory
(parts 3 and 4, the clauses on limits of use): check the standard. What the standard adds to the uncertainty
inside its limits (a small pipe, a low Reynolds number) is in `Element.coefficient_u`. What its annexes say of
elements outside is not here: such an element is refused.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from ..quantities.errors import BadInput
from .element import Element, Kind


@dataclass(frozen=True)
class Limits:
    """Where a kind of element may be used: least and largest, ends included.

    Attributes
    ----------
    pipe_mm, beta, reynolds : (float, float)
        `reynolds` of the pipe, before what `reynolds_limits` adds.
    bore_mm : float
        Least bore.
    """

    pipe_mm: tuple[float, float]
    beta: tuple[float, float]
    reynolds: tuple[float, float]
    bore_mm: float = 0.0


LIMITS: dict[Kind, Limits] = {
    "orifice": Limits((50.0, 1000.0), (0.1, 0.75), (5_000.0, math.inf), 12.5),
    "isa 1932 nozzle": Limits((50.0, 500.0), (0.3, 0.8), (20_000.0, 1e7)),
    "long radius nozzle": Limits((50.0, 630.0), (0.2, 0.8), (10_000.0, 1e7)),
    "venturi nozzle": Limits((65.0, 500.0), (0.316, 0.775), (150_000.0, 2e6), 50.0),
    "venturi as cast": Limits((100.0, 800.0), (0.3, 0.75), (200_000.0, 2e6)),
    "venturi machined": Limits((50.0, 250.0), (0.4, 0.75), (200_000.0, 1e6)),
    "venturi welded": Limits((200.0, 1200.0), (0.4, 0.7), (200_000.0, 2e6)),
}


OTHERWISE = (
    "Take an element within the standard, or one with a certificate of its own (laminar, "
    "sonic nozzle, meter)."
)


def reynolds_limits(element: Element) -> tuple[float, float]:
    """Return the least and largest Reynolds number of the pipe for an element."""
    low, high = LIMITS[element.kind].reynolds
    beta = element.beta
    if element.kind == "orifice":
        if element.taps == "flange":
            low = max(low, 170.0 * beta**2 * element.pipe_mm)
        elif beta > 0.56:
            low = max(low, 16_000.0 * beta**2)
    if element.kind == "isa 1932 nozzle" and beta < 0.44:
        low = 70_000.0
    return low, high


def check_element(element: Element) -> None:
    """Refuse an element whose pipe, bore or diameter ratio is outside its part of ISO 5167.

    Raises
    ------
    BadInput
        Says which, and between what it must be.
    """
    limits = LIMITS[element.kind]
    within = f"For {element.kind}, ISO 5167 holds for"
    low, high = limits.pipe_mm
    if not low <= element.pipe_mm <= high:
        raise BadInput(
            f"{within} a pipe of {low:g} to {high:,.0f} mm; this one has {element.pipe_mm:g} mm.",
            remedy=OTHERWISE,
        )
    if element.bore_mm < limits.bore_mm:
        raise BadInput(
            f"{within} a bore of {limits.bore_mm:g} mm or more; this one has {element.bore_mm:g} mm.",
            remedy=OTHERWISE,
        )
    low, high = limits.beta
    if not low - 1e-9 <= element.beta <= high + 1e-9:
        raise BadInput(
            f"{within} a ratio of bore to pipe of {low:g} to {high:g}; this one has {element.beta:.3f}.",
            remedy=OTHERWISE,
        )


def check_flow(element: Element, reynolds: float) -> None:
    """Refuse a flow whose Reynolds number is outside an element's part of ISO 5167.

    Raises
    ------
    BadInput
        Says where the limit is.
    """
    low, high = reynolds_limits(element)
    if reynolds < low:
        raise BadInput(
            f"The flow is too small for this element: a Reynolds number of {reynolds:,.0f}, "
            f"ISO 5167 asks for {low:,.0f} or more.",
            remedy="Take a smaller pipe and bore for such flows. " + OTHERWISE,
        )
    if reynolds > high:
        raise BadInput(
            f"The flow is too large for this element: a Reynolds number of {reynolds:,.0f}, "
            f"ISO 5167 allows {high:,.0f}.",
            remedy="Take a larger pipe and bore for such flows.",
        )
