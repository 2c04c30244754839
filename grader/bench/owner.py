"""What the owner notices of his car, and what he says of it: true, not all of it, and sometimes wrong."""

from collections.abc import Mapping, Sequence
from functools import cache
from types import MappingProxyType

from grader import tables
from grader.bench.draws import Draws, Steady
from grader.bench.signs import SHOP, Examined
from grader.vehicle.car import Car, Surroundings
from grader.vehicle.faults import fault
from grader.vehicle.wear import driven

COLUMNS = ("key", "words")
SAID, FALSE = 0.7, 0.04  # share of true complaints that he names; of others that he names all the same
MOST_KMILES, STEP_MILES = 12.0, 500.0

# A sign of the car, the words for it that bother him, and the complaint.
_BOTHERS = (
    ("start", ("none",), "no_start"),
    ("start", ("hard",), "hard_start_cold"),
    ("start", ("dies",), "dies_on_release"),
    ("idle", ("rough",), "rough_idle"),
    ("miss_l", ("x",), "misfire_load"),
    ("miss_h", ("x",), "misfire_speed"),
    ("cruise_miss", ("x",), "cuts_out_cruise"),
    ("hot_l", ("x",), "misfire_hot"),
    ("damp_l", ("x",), "misfire_damp"),
    ("idle_rpm", ("fast",), "idles_fast"),
    ("idle_rpm", ("slow",), "stalls"),
    ("power", ("low",), "sluggish"),
    ("economy", ("poor",), "thirsty"),
    ("ping", ("x",), "pings"),
    ("spit", ("x",), "spits_back"),
)
_WORSE = {"ok": 0, "hard": 1, "dies": 2, "none": 2}


@cache
def complaint_words() -> Mapping[str, str]:
    """The owner's words for each complaint, by its key."""
    return MappingProxyType({row["key"]: row["words"] for row in tables.rows("complaints.csv", COLUMNS)})


def complaints(x: Examined, faults: Sequence[str] = ()) -> tuple[str, ...]:
    """Every complaint that is true of a car.

    Parameters
    ----------
    x : Examined
    faults : sequence of str
        Keys of what is planted: they bring the words that come from what was done before.

    Returns
    -------
    tuple of str
        Keys of datasets/complaints.csv, in its order.
    """
    true = {key for sign, words, key in _BOTHERS if x.word(sign) in words}
    for sign, key in (("start_hot", "hard_start_hot"), ("start_damp", "hard_start_damp")):
        if _WORSE[x.word(sign)] > _WORSE[x.word("start")]:
            true.add(key)
    true.update(word for planted in faults for word in fault(planted).history)
    return tuple(key for key in complaint_words() if key in true)


def listen(true: Sequence[str], draws: Draws | Steady) -> dict[str, str]:
    """What the owner says when he is asked.

    Parameters
    ----------
    true : sequence of str
        Complaints that are true.
    draws : Draws

    Returns
    -------
    dict of str to str
        Complaint to words: each true one with 0.7, a false one with 0.04; at least one true
        one, if there is any.
    """
    heard = {key: draws.chance(SAID if key in true else FALSE) for key in complaint_words()}
    pick = int(draws.uniform(0, max(len(true), 1)))
    if true and not any(heard[key] for key in true):
        heard[true[pick]] = True
    return {key: words for key, words in complaint_words().items() if heard[key]}


def worn_to_complaint(car: Car, surroundings: Surroundings = SHOP, most: float = MOST_KMILES) -> Car:
    """The car with so many more miles on its plugs that its owner complains.

    Parameters
    ----------
    car : Car
    surroundings : Surroundings
    most : float [thousand miles]
        Up to what the plugs may have run.

    Returns
    -------
    Car
        Worn as little as needed, in steps of 500 miles; at `most` if he never complains.
    """
    while not complaints(Examined(car, surroundings)) and car.kmiles + STEP_MILES / 1e3 <= most:
        car = driven(car, STEP_MILES, surroundings)
    return car
