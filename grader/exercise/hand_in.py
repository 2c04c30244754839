"""The hand-in: one zip with the answers, the numbers they belong to and a receipt."""

import hashlib
import io
import re
import zipfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from grader import clock, files
from grader.errors import BadFile, Refused
from grader.exercise import issued
from grader.exercise import sheet as sheets
from grader.exercise.issued import Issued

FORMAT, SCHEMA = "timing-mark receipt", 1
RECEIPT = "receipt.json"
LARGEST_FILE = 10_000_000


@dataclass(frozen=True, slots=True)
class Receipt:
    """What was handed in: `sha256` is the digest of answers.json, which the instructor's record keeps too."""

    sha256: str
    made: str
    answered: int

    @property
    def short(self) -> str:
        return short(self.sha256)


def short(sha256: str) -> str:
    """A digest as a person compares it: three groups of four."""
    return " ".join(sha256[start : start + 4] for start in (0, 4, 8))


def digest(content: bytes) -> str:
    """The digest of an answer sheet's bytes, as the instructor's record keeps it."""
    return hashlib.sha256(content).hexdigest()


def zip_name(record: Issued) -> str:
    """Name of the hand-in of an issue."""
    owner = re.sub(r"[^A-Za-z0-9_-]", "-", record.trainee)[:60]  # a path in place of an id must not lead elsewhere
    return f"hand-in-{record.module}-{owner}-{record.attempt}.zip"


def write(folder: Path, record: Issued, *, deliver: Callable[[bytes], object] | None = None) -> tuple[Path, Receipt]:
    """Pack the answers that lie in a folder into one zip beside them.

    Parameters
    ----------
    folder : Path
        Holds answers.json.
    record : Issued
        Whose numbers they are.
    deliver : callable or None
        Takes the zip to where it is handed in, before it is written: what did not arrive leaves no zip that says so.

    Returns
    -------
    (Path, Receipt)

    Raises
    ------
    Refused
        Nothing is answered yet, or the answers are another trainee's.
    BadFile
        The answers cannot be read.
    CannotWrite
        No zip was made; a former one stands.
    """
    path = folder / sheets.NAME
    if not path.exists():
        raise Refused("Nothing is answered yet, so there is nothing to hand in.")
    content = files.read_bytes(path, most=sheets.LARGEST_FILE, what="The answer sheet")
    sheet = sheets.parse(content)
    if (sheet.term, sheet.module, sheet.trainee, sheet.attempt) != (
        record.term, record.module, record.trainee, record.attempt,
    ):  # fmt: skip
        raise Refused(
            f"The answers here are by {sheet.trainee[:60]} and the numbers were issued to {record.trainee}. "
            "Nothing was handed in; each opens his own work."
        )
    answered = sum(bool(answer.raw.strip()) for answer in sheet.answers.values())
    if not answered:
        raise Refused("Nothing is answered yet, so there is nothing to hand in.")
    receipt = Receipt(digest(content), clock.to_text(clock.now()), answered)
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, body in (
            (sheets.NAME, content),
            (issued.NAME, issued.dump(record)),
            (RECEIPT, _dump(receipt, record)),
        ):
            archive.writestr(zipfile.ZipInfo(f"{record.module}/{name}", date_time=(2026, 1, 1, 0, 0, 0)), body)
    target = folder / zip_name(record)
    if deliver is not None:
        deliver(packed.getvalue())
    files.write_bytes(target, packed.getvalue())
    return target, receipt


def last(folder: Path, record: Issued) -> Receipt | None:
    """The receipt of the hand-in that lies in a folder, or None."""
    path = folder / zip_name(record)
    if not path.exists():
        return None
    try:
        archive = files.read_bytes(path, most=LARGEST_FILE, what="The hand-in")
        with zipfile.ZipFile(io.BytesIO(archive)) as packed:
            receipt = files.from_json(packed.read(f"{record.module}/{RECEIPT}"), what="The receipt")
        sha256, made, answered = receipt["sha256"], receipt["made"], receipt["answered"]
        clock.from_text(made)
    except (BadFile, KeyError, TypeError, ValueError, zipfile.BadZipFile):
        return None  # a damaged zip is no hand-in: the trainee is told that nothing was handed in
    good = isinstance(sha256, str) and len(sha256) == 64 and type(answered) is int
    return Receipt(sha256, made, answered) if good else None


def _dump(receipt: Receipt, record: Issued) -> bytes:
    body = {
        "format": FORMAT,
        "schema": SCHEMA,
        "term": record.term,
        "module": record.module,
        "trainee": record.trainee,
        "attempt": record.attempt,
        "sha256": receipt.sha256,
        "short": receipt.short,
        "answered": receipt.answered,
        "made": receipt.made,
    }
    return files.to_json(body).encode()
