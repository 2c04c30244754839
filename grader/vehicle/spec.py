"""What a vehicle is: the figures a mechanic finds in its manual."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

from grader import tables
from grader.errors import OutOfRange, Unknown
from grader.reference.angles import LAYOUTS, check_firing_order, firing_interval_deg
from grader.reference.timing.advance import check_curve

COLUMNS = (
    "key",
    "title",
    "use",
    "cylinders",
    "layout",
    "firing_order",
    "rotor",
    "battery_v",
    "earth",
    "initial_deg",
    "idle_rpm",
    "centrifugal",
    "vacuum",
    "port",
    "gap_in",
    "dwell_deg",
    "pulley_mm",
)


@dataclass(frozen=True, slots=True)
class Vehicle:
    """One engine with breaker-point ignition.

    `centrifugal` and `vacuum` are curves in distributor units: (dist rev/min, dist
    degrees) and (inHg vacuum, dist degrees). `idle_rpm` is the highest at which
    the initial timing may be set. Angles: `initial_deg` crank degrees before
    top dead centre, `dwell_deg` distributor degrees.
    """

    key: str
    title: str
    use: str
    cylinders: int
    layout: str
    firing_order: tuple[int, ...]
    rotor: str
    battery_v: float
    earth: str
    initial_deg: float
    idle_rpm: int
    centrifugal: tuple[tuple[float, float], ...]
    vacuum: tuple[tuple[float, float], ...]
    port: str
    gap_in: float
    dwell_deg: float
    pulley_mm: float

    @property
    def banks(self) -> tuple[tuple[int, ...], ...]:
        """Cylinder numbers bank by bank, front to back."""
        return LAYOUTS[self.layout](self.cylinders)

    def check(self) -> Vehicle:
        """The vehicle itself, if its figures can belong to one engine.

        Raises
        ------
        OutOfRange
            Says which figure and what is allowed.
        """
        if len(check_firing_order(self.firing_order)) != self.cylinders:
            raise OutOfRange(f"{self.title}: the firing order does not name {self.cylinders} cylinders.")
        check_curve(self.centrifugal)
        check_curve(self.vacuum)
        if not 0 < self.dwell_deg < firing_interval_deg(self.cylinders) / 2:
            raise OutOfRange(
                f"{self.title}: dwell {self.dwell_deg:g}° does not fit between two sparks "
                f"{firing_interval_deg(self.cylinders) / 2:g} distributor degrees apart."
            )
        for name, value, allowed in (
            ("layout", self.layout, LAYOUTS),
            ("rotor", self.rotor, ("clockwise", "anticlockwise")),
            ("earth", self.earth, ("negative", "positive")),
            ("port", self.port, ("ported", "manifold")),
        ):
            if value not in allowed:
                raise OutOfRange(f"{self.title}: {name} is {value!r}; allowed is {' or '.join(allowed)}.")
        if self.idle_rpm / 2 > self.centrifugal[0][0]:
            raise OutOfRange(f"{self.title}: at idle {self.idle_rpm} rev/min the weights already move.")
        return self


@cache
def vehicles() -> Mapping[str, Vehicle]:
    """The invented teaching vehicles, by key.

    Raises
    ------
    BadTable
        A row of datasets/engines.csv that can be no engine.
    """
    return tables.by_key("engines.csv", COLUMNS, lambda row: _vehicle(row).check())


def vehicle(key: Vehicle | str) -> Vehicle:
    """One teaching vehicle by its key; a Vehicle itself is given back, as an exercise gets one of the term's own.

    Raises
    ------
    Unknown
        No such key.
    """
    if isinstance(key, Vehicle):
        return key
    try:
        return vehicles()[key]
    except KeyError:
        raise Unknown(f"No vehicle {key!r}; there are {', '.join(vehicles())}.") from None


def _vehicle(row):
    return Vehicle(
        key=row["key"],
        title=row["title"],
        use=row["use"],
        cylinders=int(row["cylinders"]),
        layout=row["layout"],
        firing_order=tuple(int(number) for number in row["firing_order"].split("-")),
        rotor=row["rotor"],
        battery_v=float(row["battery_v"]),
        earth=row["earth"],
        initial_deg=float(row["initial_deg"]),
        idle_rpm=int(row["idle_rpm"]),
        centrifugal=_curve(row["centrifugal"]),
        vacuum=_curve(row["vacuum"]),
        port=row["port"],
        gap_in=float(row["gap_in"]),
        dwell_deg=float(row["dwell_deg"]),
        pulley_mm=float(row["pulley_mm"]),
    )


def _curve(text):
    points = (point.split(":") for point in text.split())
    return tuple((float(across), float(up)) for across, up in points)
