"""A vehicle as a person compares it with the manual: lines for a terminal, and a page that prints well."""

from collections.abc import Sequence
from pathlib import Path

from grader import clock, files
from grader.course.issue import vehicle_choice
from grader.course.vehicles.template import SAFETY
from grader.pages import charts, html
from grader.records.term.term import Term
from grader.records.vehicles import Revision
from grader.reference.angles import crank_deg, firing_interval_deg
from grader.reference.spark.points import duty_percent
from grader.reference.timing.advance import centrifugal_advance_deg, total_advance_deg
from grader.reports.tables import wording
from grader.units import KPA_PER_INHG, MM_PER_IN

_STEP_RPM = 500


def facts(revision: Revision) -> list[tuple[str, str]]:
    """(what, value) of everything that is known of a vehicle.

    Parameters
    ----------
    found : Revision

    Returns
    -------
    list of (str, str)
    """
    own = revision.own
    spec = own.vehicle
    lobe = firing_interval_deg(spec.cylinders) / 2
    initial = f"{abs(spec.initial_deg):g}° {'before' if spec.initial_deg >= 0 else 'after'} top dead centre"
    return [
        ("Used as", spec.use),
        ("Cylinders", f"{spec.cylinders}, numbered {spec.layout}"),
        ("Firing order", "-".join(map(str, spec.firing_order))),
        ("Rotor turns", spec.rotor),
        ("Battery", f"{spec.battery_v:g} V, {spec.earth} pole at earth"),
        ("Pulley at the mark", f"{spec.pulley_mm:g} mm ({spec.pulley_mm / MM_PER_IN:.2f} in)"),
        ("Point gap", f"{spec.gap_in:.3f} in ({spec.gap_in * MM_PER_IN:.2f} mm)"),
        ("Dwell", f"{spec.dwell_deg:g} distributor degrees, {duty_percent(spec.dwell_deg, spec.cylinders):.1f} %"),
        ("Open angle", f"{lobe - spec.dwell_deg:g} of {lobe:g} distributor degrees"),
        ("Initial timing", initial),
        ("Set at", f"{spec.idle_rpm} rev/min or less, vacuum line {own.line}"),
        ("Vacuum line from", "above the closed throttle plate" if spec.port == "ported" else "the manifold"),
        ("Source", f"{own.manual}, {own.page}"),
        ("Entered by", own.entered_by),
    ]


def curve(revision: Revision) -> list[tuple[int, float, float, float | None]]:
    """Computed advance at engine speeds from the timing speed to beyond the end of the weights.

    Returns
    -------
    list of (int, float, float, float or None)
        Engine rev/min; crank degrees of the weights, in total with the line off,
        and in total with the vacuum unit fully out. None where a ported line is
        still covered.
    """
    spec = revision.own.vehicle
    last = 2 * spec.centrifugal[-1][0]
    most = int(last // _STEP_RPM + 2) * _STEP_RPM
    speeds = [spec.idle_rpm, *(rpm for rpm in range(_STEP_RPM, most, _STEP_RPM) if rpm > spec.idle_rpm)]
    full = spec.vacuum[-1][0]
    rows = []
    for rpm in speeds:
        weights = crank_deg(centrifugal_advance_deg(rpm / 2, spec.centrifugal))
        off, on = (
            total_advance_deg(rpm, vacuum, spec.initial_deg, spec.centrifugal, spec.vacuum) for vacuum in (0.0, full)
        )
        covered = spec.port == "ported" and rpm == spec.idle_rpm
        rows.append((rpm, weights, off, None if covered else on))
    return rows


def lines(term: Term, revision: Revision) -> list[str]:
    """The vehicle for a terminal."""
    full = revision.own.vehicle.vacuum[-1][0]
    rows = [
        f"{revision.own.vehicle.title} ({revision.line}, stored {term.shown(clock.from_text(revision.at))} by {revision.actor})"
    ]
    rows += [f"  {what:<20} {value}" for what, value in facts(revision)]
    rows += [
        "",
        "  Computed advance, crank degrees",
        f"  {'rev/min':>8} {'weights':>8} {'line off':>9} {f'at {full:g} inHg':>14}",
    ]
    rows += [f"  {rpm:>8} {weights:>8.1f} {off:>9.1f} {_degrees(on):>14}" for rpm, weights, off, on in curve(revision)]
    return [*rows, "", SAFETY]


def page(term: Term, revisions: Sequence[Revision]) -> bytes:
    """The page of a vehicle; nothing is written.

    Parameters
    ----------
    term : Term
    revisions : list of Revision
        Of one vehicle, the last one last.

    Returns
    -------
    bytes
    """
    latest = revisions[-1]
    spec = latest.own.vehicle
    full = f"{spec.vacuum[-1][0]:g} inHg ({spec.vacuum[-1][0] * KPA_PER_INHG:.0f} kPa)"
    computed, handed_out = curve(latest), vehicle_choice.modules_of(term, latest.key)
    return html.page(
        "vehicle_sheet.html",
        title=spec.title,
        safety=SAFETY,
        facts=facts(latest),
        centrifugal=html.table(
            "Centrifugal advance",
            ("distributor rev/min", "distributor degrees", "engine rev/min", "crank degrees"),
            [(f"{rpm:g}", f"{deg:g}", f"{2 * rpm:g}", f"{2 * deg:g}") for rpm, deg in spec.centrifugal],
        ),
        vacuum=html.table(
            "Vacuum advance",
            ("vacuum, inHg", "vacuum, kPa", "distributor degrees", "crank degrees"),
            [(f"{vac:g}", f"{vac * KPA_PER_INHG:.1f}", f"{deg:g}", f"{2 * deg:g}") for vac, deg in spec.vacuum],
        ),
        computed=html.table(
            "Computed advance, crank degrees before top dead centre",
            ("engine rev/min", "from the weights", "total, line off", f"total, {full} on the line"),
            [(rpm, *map(_degrees, row)) for rpm, *row in computed],
        ),
        curve=html.Picture(_drawn(computed, full), "What the timing light should show", _told(computed, full)),
        typed=latest.text,
        revisions=html.table(
            "Revisions",
            ("no.", "stored", "by", "SHA-256 begins", "handed out with"),
            [
                (
                    revision.revision,
                    term.shown(clock.from_text(revision.at)),
                    revision.actor,
                    revision.digest[:12],
                    ", ".join(map(wording.module, handed_out.get(revision.revision, []))) or "nothing yet",
                )
                for revision in revisions
            ],
        ),
    )


def write(term: Term, revisions: Sequence[Revision]) -> Path:
    """Write the page of a vehicle into reports/."""
    path = term.folder / "reports" / f"vehicle_{revisions[-1].key}.html"
    files.write_bytes(path, page(term, revisions), mode=files.PRIVATE)
    return path


def _degrees(value):
    return "port covered" if value is None else f"{value:.1f}"


def _drawn(computed, full):
    figure, axes = charts.blank(3.8)
    for place, colour, style, label in (
        (3, "#b35806", "--", f"line on,\n{full}"), (2, "#2c6ca8", "-", "line off\nand plugged"),
    ):  # fmt: skip
        drawn = [row for row in computed if row[place] is not None]
        speeds, values = [row[0] for row in drawn], [row[place] for row in drawn]
        axes.plot(speeds, values, style, color=colour, linewidth=2, marker="o", markersize=3)
        axes.annotate(
            label, (speeds[-1], values[-1]), xytext=(8, 0), textcoords="offset points", va="center", color=colour
        )
    axes.set_xlim(right=1.3 * computed[-1][0])  # room for the words beside the lines
    axes.set_xlabel("engine rev/min")
    axes.set_ylabel("crank degrees before top dead centre")
    axes.set_ylim(min(0, min(row[2] for row in computed)) - 1, 1.08 * axes.get_ylim()[1])
    axes.grid(color="#dddddd")
    return charts.address(figure)


def _told(computed, full):
    first, last = computed[0], computed[-1]
    return (
        f"Total advance against engine speed. Line off: {first[2]:.1f} degrees at {first[0]} rev/min, {last[2]:.1f} at "
        f"{last[0]}. With {full} on the line it is {last[3] - last[2]:.1f} degrees more."
    )
