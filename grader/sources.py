"""Works cited: what a figure rests on, and whether we read it or remember it.

A docstring or a check row names a key of `WORKS`. `how` tells what the key is worth:

read        a copy of the work, or a stored copy of the page, was read for the figure
library     a general-purpose library computes the figure
memory      the figure is remembered; someone should confirm it before it is quoted
practice    common practice in the trade, no primary source found
derived     follows from the definitions by arithmetic
choice      a teaching value of ours, inside published or practical ranges
"""

from dataclasses import dataclass

HOW = ("read", "library", "memory", "practice", "derived", "choice")


@dataclass(frozen=True, slots=True)
class Work:
    """One entry of the list of works cited."""

    reference: str
    how: str


WORKS = {
    "derived": Work("Follows from the definitions by arithmetic; shown in the notes of the function.", "derived"),
    "practice": Work("Common practice in the trade; no primary source found.", "practice"),
    "teaching-setup": Work("Teaching values of this project, chosen inside published or practical ranges.", "choice"),
    "public-ignition-page": Work(
        "ignitioncarsystem.wixsite.com/ignitionphysics, pages on spark rate and cam dwell angle (stored copy).", "read"
    ),
    "tm-9-8000": Work(
        "US Army, TM 9-8000, Principles of Automotive Vehicles, chapter 15 (ignition), public domain.", "read"
    ),
    "tm-5-4210-230": Work(
        "US Army, TM 5-4210-230-14&P, operator to general support manual, public domain: ignition service.", "read"
    ),
    "scipy": Work("scipy: constants, special and statistical functions.", "library"),
    "fluids": Work("fluids: critical pressure ratio of a perfect gas; standard atmosphere of 1976.", "library"),
    "ambiance": Work("ambiance: standard atmosphere.", "library"),
    "pint": Work("pint: unit conversion factors.", "library"),
    # engine and coil
    "heywood": Work("J. B. Heywood, Internal Combustion Engine Fundamentals, chapters 7 and 9.", "memory"),
    "hohenberg": Work("G. F. Hohenberg, SAE 790825 (wall heat transfer).", "memory"),
    "wiebe-textbook": Work(
        "Internal combustion engines textbook, equation 2.70 and its burn-fraction program, at newlib.net (stored copy).",
        "read",
    ),
    "openstax-rl": Work(
        "OpenStax, University Physics volume 2, section on RL circuits: worked examples and answers to problems.",
        "read",
    ),
    "openstax-adiabatic": Work(
        "OpenStax, University Physics volume 2, section on adiabatic processes: example of an automobile engine.",
        "read",
    ),
    "byjus-rl": Work("byjus.com, solved questions on inductors and resistors in series (stored copies).", "read"),
    "sadiku-7-16": Work(
        "Alexander and Sadiku, Fundamentals of Electric Circuits, example 7.16, worked at holooly.com (stored copy).",
        "read",
    ),
    "sadiku-8-16": Work(
        "Alexander and Sadiku, Fundamentals of Electric Circuits, section 8.11.1, example 8.16, as far as the page at "
        "text-id.123dok.com shows it: circuit and ring frequency (stored copy).",
        "read",
    ),
    "sadiku-memory": Work("Alexander and Sadiku, section 8.11: voltages of example 8.16.", "memory"),
    "coil-question-page": Work("Question on a 10 mH, 2 ohm coil at indextestingapp.uonbi.ac.ke (stored copy).", "read"),
    "shop-manual-dwell": Work(
        "Engine shop manual, ignition chapter, page 54, at manualshive.com: dwell, time and primary current of a V8 "
        "breaker-point system at 1000, 2000 and 3000 rev/min (stored copy).",
        "read",
    ),
    "rp1032": Work("National Bureau of Standards, Research Paper RP1032 (1937), abstract.", "read"),
    "wiring-text": Work(
        "Automotive electrical circuits and wiring, training text at yumpu.com, text at figure 2-52: average point gap "
        "and dwell (stored copy).",
        "read",
    ),
    "atmosphere-tables": Work(
        "engineersedge.com, tables of the standard US atmosphere in both unit systems (stored copy).", "read"
    ),
    "pilot-pressure-page": Work("studentpilot.com, article on manifold pressure gauges, 2005 (stored copy).", "read"),
    "adiabatic-question-page": Work("justaaa.com, solved question on air in a car engine (stored copy).", "read"),
    "otto-page": Work("calculeaf.com, ideal Otto efficiency, worked case (stored copy).", "read"),
    "denton": Work(
        "T. Denton, Automobile Electrical and Electronic Systems, abstract of the chapter on ignition systems.", "read"
    ),
    "otto-memory": Work("Ideal Otto engine of compression ratio 8 in general textbooks.", "memory"),
    "coolprop": Work("CoolProp: properties of air as a real gas.", "library"),
    "schliesswinkel-page": Work("de.zxc.wiki, page Schliesswinkel (dwell; stored copy).", "read"),
    "beccari-2010": Work(
        "Beccari, Beccari and Pipitone, J. Eng. Gas Turbines Power 132 (2010) 032802, abstract.", "read"
    ),
    "combustion-2011": Work("Journal of Combustion 2011, article 678719, abstract (stored copy).", "read"),
}


def may_be_published(key):
    """True if a check that rests on this key may be called Published."""
    return WORKS[key].how in ("read", "library")
