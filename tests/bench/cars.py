"""Cars with a fault in them, examined once and shared by the tests of a file."""

from functools import cache

from grader.bench.owner import complaints
from grader.bench.signs import Examined
from grader.vehicle.faults import MID, plant
from grader.vehicle.spec import vehicles
from grader.vehicle.state import sound_car

ENGINES = tuple(vehicles())
V8, FOUR, SIX, MARINE, TRACTOR, LORRY, VAN = ENGINES


@cache
def examined(key, engine, severity=MID):
    """A fault in the sound car of an engine, in the shop."""
    return Examined(plant(sound_car(engine), key, severity))


@cache
def complained(car):
    """What is wrong with a car in its owner's eyes."""
    return complaints(Examined(car))
