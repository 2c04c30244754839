"""The invented setting of the demo: a college, a class, nobody real."""

TERM = {
    "term_id": "quayside-2026-spring",
    "title": "Quayside workshop, evening class, spring 2026",
    "zone": "Europe/Lisbon",
}
MODULE = "m01_timing"
PRACTISED = "m02_dwell"  # handed out as practice for the next session
AT_THE_BENCH = "m06_diagnosis"  # practised by a few who are further on
# How each of them goes about his cars; the last one hands in the logs of the first.
BENCH_WAYS = {"q0101": "best", "q0105": "listed", "q0112": "parts", "q0124": "copied"}
BENCH_CARS = 1  # that each had time for
MOST_PARTS = 4  # after which one who fits on suspicion gives up

# (college id, last name, first name, group). Invented; among them names that careless tables break.
CLASS = (
    ("Q0101", "Abreu", "Nélia", "A"),
    ("Q0102", "Åkervik", "Torben", "A"),
    ("Q0103", "Bassey", "Idara", "A"),
    ("Q0104", "Castellan", "Rufus", "A"),
    ("Q0105", "Dunmarrow", "Philippa", "A"),
    ("Q0106", "Eyskens", "Joris", "A"),
    ("Q0107", "Fairholt", "Dominic", "A"),
    ("Q0108", "Gwyndaf", "Sioned", "A"),
    ("Q0109", "Hallorsen", "Pia", "A"),
    ("Q0110", "Ibarrola", "Xabier", "A"),
    ("Q0111", "Jankovar", "Mirela", "A"),
    ("Q0112", "Kettlewick", "Amos", "A"),
    ("Q0113", "Lumbano", "Chipo", "B"),
    ("Q0114", "Marchetto", "Livio", "B"),
    ("Q0115", "Null", "Beatrix", "B"),
    ("Q0116", "O’Carrick, Jr.", "Fintan", "B"),
    ("Q0117", "Pellworth", "Gideon", "B"),
    ("Q0118", "Quenneval", "Odile", "B"),
    ("Q0119", "Rasmundo", "Teodor", "B"),
    ("Q0120", "Sandoe", "Lærke", "B"),
    ("Q0121", "Tavenor", "Hollis", "B"),
    ("Q0122", "Ushakin", "Vera", "B"),
    ("Q0123", "Võsu", "Kaarel", "B"),
    ("Q0124", "Weatherall", "Jo", "B"),
)

SEED = 20260301
MISSING = "q0109"  # never handed anything in
CORRUPT = "q0114"  # the file was cut off on its way
LATE = ("q0104", "q0121")
