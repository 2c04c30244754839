"""A vehicle of the instructor's own: its figures, how its timing is set, and where all that was read."""

import hashlib
import json
from dataclasses import asdict, dataclass

from grader.vehicle.spec import Vehicle

PLUGGED, CONNECTED = "off and plugged", "connected"
LINES = (PLUGGED, CONNECTED)


@dataclass(frozen=True, slots=True)
class OwnVehicle:
    """A vehicle with the conditions of its timing and the source of its figures.

    `line` says what the manual wants done with the vacuum line while the initial
    timing is set; the speed for it is the vehicle's `idle_rpm`. The digest covers
    everything said here, so that an issue can name the figures it was drawn from.
    """

    vehicle: Vehicle
    line: str
    manual: str
    page: str
    entered_by: str

    @property
    def content(self) -> str:
        """Everything said of the vehicle as canonical JSON text."""
        return json.dumps(asdict(self), ensure_ascii=False, sort_keys=True, separators=(",", ":"))

    @property
    def digest(self) -> str:
        """SHA-256 of the content."""
        return hashlib.sha256(self.content.encode()).hexdigest()


def from_content(text: str) -> OwnVehicle:
    """The vehicle from what `content` gave."""
    body = json.loads(text)
    figures = body.pop("vehicle")
    for name in ("centrifugal", "vacuum"):
        figures[name] = tuple(tuple(point) for point in figures[name])
    figures["firing_order"] = tuple(figures["firing_order"])
    return OwnVehicle(vehicle=Vehicle(**figures), **body)
