"""Where the kept hand-ins lie, and how large one may be."""

LARGEST_KEPT = 50_000_000


def kept_path(term, sha256):
    """Where a hand-in of this content is kept."""
    return term.folder / "handed_in" / sha256[:2] / f"{sha256}.json"
