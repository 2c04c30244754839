"""The test sheet of a drawn vehicle, as its exercises are issued with it."""

from grader.vehicle.spec import vehicle


def tables(parameters):
    """The drawn vehicle's own figures, so that an issue is complete in itself."""
    spec = vehicle(parameters["vehicle"])
    return {
        "title": spec.title,
        "initial_deg": spec.initial_deg,
        "idle_rpm": spec.idle_rpm,
        "centrifugal": [list(point) for point in spec.centrifugal],
        "vacuum": [list(point) for point in spec.vacuum],
        "port": spec.port,
    }


def tables_and_speed(parameters):
    """The tables, and an engine speed so far along this engine's own curve; a few lie just beyond its end.

    One list of speeds for all engines had the weights fully out too often, and one answer right for many.
    """
    curves = tables(parameters)
    first, last = curves["centrifugal"][0][0], curves["centrifugal"][-1][0]
    distributor_rpm = first + (last - first) * parameters["along_percent"] / 100
    return {**curves, "speed_rpm": 10 * round(2 * distributor_rpm / 10)}


def show_tables(v):
    """Both curves as a sheet prints them."""
    return {
        "centrifugal_table": ", ".join(f"{rpm:g} → {deg:g}°" for rpm, deg in v.centrifugal),
        "vacuum_table": ", ".join(f"{vac:g} → {deg:g}°" for vac, deg in v.vacuum),
    }
