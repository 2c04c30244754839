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
    "cross-fire-page": Work(
        "fordfe.info, page on cross-firing: on one V8 number 7 fires just before 8, its neighbour (stored copy).",
        "read",
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
    # breaker arm: a load on a shaken plate, a follower on a harmonic cam
    "irodov": Work(
        "I. E. Irodov, Problems in General Physics, problem 4.35 with its printed answers, at solveirodov.com "
        "(stored copy).",
        "read",
    ),
    "shaken-block-forum": Work(
        "physicsforums.com, thread 635713 with its summary: a block on a piston in harmonic motion (stored copy).",
        "read",
    ),
    "shaken-block-page": Work("qammunity.org, 11428478: a block on a piston, worked (stored copy).", "read"),
    "shaken-bolt-page": Work("admin.japansake.or.jp, 14051476: a bolt on a piston, worked (stored copy).", "read"),
    "shaken-plate-page": Work("edu.com, question 1283427: a body on a shaken plate, answered (stored copy).", "read"),
    "cam-question-page": Work(
        "mycoursehelp.com, question 67124: valve cam with harmonic rise and fall, answers printed (stored copy).",
        "read",
    ),
    # spark, plug and cables
    "uniform-law-page": Work(
        "icestuff.com/~energy21/paschen2.htm (stored copy): uniform-field law of air, Townsend constants.", "read"
    ),
    "uniform-law-companion": Work(
        "Worked companion file to a high-voltage text, chapter 4, example 4.1, page 144 (read for our notes).", "read"
    ),
    "strength-page": Work(
        "high-voltage.highvoltageinfo.com, field strength, citing J. R. Lucas (stored copy).", "read"
    ),
    "nitrogen-chapter": Work("doi 10.1201/9780203025260-14, abstract: 1 cm of nitrogen at 101.3 kPa.", "read"),
    "two-cm-spheres": Work("kronjaeger.com/hv-old/hv/tbl/measure.html: spheres of 2 cm (stored copy).", "read"),
    "sphere-table": Work(
        "home.earthlink.net/~jimlux/hv/spherev.htm: spheres of 5 to 200 cm, one earthed (stored copy).", "read"
    ),
    "aiee-table": Work(
        "teslacoil.france.free.fr, sheet 15: AIEE sphere and needle gaps, weather factors (stored copy).", "read"
    ),
    "fink-note": Work(
        "pupman.com, list archive of February 1995, quoting Peek and Fink and Beatty (stored copy).", "read"
    ),
    "iec-60052": Work("IEC 60052, Voltage measurement by means of standard air gaps.", "memory"),
    "kuffel": Work("Kuffel, Zaengl and Kuffel, High Voltage Engineering Fundamentals.", "memory"),
    "engine-correlation-files": Work(
        "Two public code files quoting Pashley, Stone and Roberts, SAE 2000-01-0245 (read for our notes).", "read"
    ),
    "plug-measurements": Work(
        "Public file of twelve plug-gap measurements, author unknown (read for our notes).", "read"
    ),
    "denton-first": Work("Denton, doi 10.4324/9780080492490-14, abstract: voltages at 0.6 mm.", "read"),
    "denton-second": Work("Denton, doi 10.4324/9780080969435-14, abstract: voltages at 1 mm.", "read"),
    "paschen-page": Work("highvoltageconnection.com, article on the Paschen curve (stored copy).", "read"),
    "sukhatme": Work(
        "FOSSEE Scilab companion to Sukhatme, Heat Transfer, example 2.13: inputs and program; result computed.", "read"
    ),
    "incropera": Work(
        "Incropera and DeWitt, Fundamentals of Heat and Mass Transfer, table A.2, example 3.9.", "memory"
    ),
    "munro": Work("R. G. Munro, J. Am. Ceram. Soc. 80 (1997) 1919, as in NIST SRD 150.", "memory"),
    "alumina-sps": Work("Saheb and Hayat, Science of Sintering, article 272, abstract: dense alumina.", "read"),
    "sapphire-chapter": Work("Aggarwal and Ramdas, doi 10.1201/9780429283260-6, abstract: sapphire at 300 K.", "read"),
    "alumina-flash": Work("linseis.com, note on a flash measurement of alumina (stored copy).", "read"),
    "alumina-grade": Work("makeitfrom.com, alumina of 97 to 99 % (stored copy).", "read"),
    "plug-range-pages": Work(
        "Public pages on plug temperature: sgracing.sg, guy-croft.com, unicoter.com (stored copies).", "read"
    ),
    "tip-fahrenheit-page": Work(
        "hdtimeline.com, thread 2049: tip limits of 850, 1550 and 1700 F (stored copy).", "read"
    ),
    "demand-newspaper": Work(
        "thechronicleherald.ca, wheels news 1362775: 8 to 12 kV in an engine (stored copy).", "read"
    ),
    "workshop-tester-page": Work(
        "chevyman.ru, spark plugs of a workshop manual: 18 kV, 1 to 1.1 mm, 0.3 and 0.6 MPa (stored copy).", "read"
    ),
    "carbon-lead-page": Work("mecra.it, item 88: carbon leads of 10 to 23 kilohm a metre (stored copy).", "read"),
    "tester-practice": Work("Trade practice of the compression-type plug tester; no primary source found.", "practice"),
    "t-table": Work("hugoquene.github.io/QMS-EN, appendix C: Student's t (stored copy).", "read"),
    "t-table-second": Work("bookdown.org/pingapang9/linear_models_bookdown, table B.1 (stored copy).", "read"),
    "grubbs-table": Work("chem.libretexts.org, appendix 07, critical values for Grubbs's test (stored copy).", "read"),
    "grubbs-table-second": Work("scribd.com, document 76685424: one-sided Grubbs values (stored copy).", "read"),
    "nist-handbook": Work("NIST/SEMATECH e-Handbook of Statistical Methods, section 1.3.5.17.", "memory"),
    "sample-size-page": Work("justaaa.com, 119405: sample size for a mean (stored copy).", "read"),
    "sample-size-second": Work(
        "wyzant.com, 896906, and homeworksource.com, 1024707: the same (stored copies).", "read"
    ),
    "welch-page": Work("peterstatistics.com, Welch(-Satterthwaite) t-test (stored copy).", "read"),
    "workshop-lead-page": Work("gmpartsgiant.com, page on plug wires: resistance by length (stored copy).", "read"),
    "workshop-foot-pages": Work(
        "Public workshop pages on plug wires with limits per foot: 7, 10 and 12 kilohm (stored copies).", "read"
    ),
    "paul": Work("C. R. Paul, Introduction to Electromagnetic Compatibility, two wires over a plane.", "memory"),
    "ht": Work("ht: conduction shape factors, used as capacitances.", "library"),
    "power-line-examples": Work(
        "FOSSEE Scilab companion 2273, chapter 4, examples 4.1, 4.13, 4.14: inputs and programs; results computed.",
        "read",
    ),
    "nbs-spark": Work(
        "NBS Research Paper RP1032 (1937), abstract: spark current and frequency (read for our notes).", "read"
    ),
}


def may_be_published(key: str) -> bool:
    """True if a check that rests on this key may be called Published."""
    return WORKS[key].how in ("read", "library")
