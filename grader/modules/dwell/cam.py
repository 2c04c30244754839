"""A drawn vehicle's own points and cam, as its exercises are issued with them."""

from collections.abc import Mapping
from typing import Any

from grader.reference.spark import points
from grader.vehicle.spec import vehicle

CARD_STEP_IN = 0.004


def cam(parameters: Mapping[str, Any]) -> dict[str, Any]:
    """Figures of the drawn vehicle, so that an issue is complete in itself."""
    spec = vehicle(parameters["vehicle"])
    return {
        "title": spec.title,
        "cylinders": spec.cylinders,
        "gap_in": spec.gap_in,
        "dwell_deg": spec.dwell_deg,
        "lift_in": points.full_lift(spec.gap_in, spec.dwell_deg, spec.cylinders),
    }
