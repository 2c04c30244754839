"""term delete-person, delete-class and retention."""


def add_to(app):
    """Put the commands under `term`."""
