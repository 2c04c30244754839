"""What an instructor gave for written answers, as a returned sheet shows it."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Reading:
    """Hundredths for each point of the rubric, in its order, and a comment to the trainee."""

    points: tuple
    comment: str = ""


def points(part, reading):
    """[(what was looked for, hundredths given, hundredths possible)]."""
    return [(says, got, most * 100) for (says, most), got in zip(part.rubric, reading.points, strict=False)]
