"""Which marking of a sheet stands, and which ones were sent before; both read from the ledger.

A statement that was sent cannot be changed. So each marking of a sheet is a revision,
named by the ledger's row that made it; a later row ends it. What was sent follows from the
rows that note the exports, so that nothing else need be remembered.
"""

from dataclasses import dataclass, field

from grader.course.records import ledger

_MARKING = ("marked", "re-marked", "override")


@dataclass(slots=True)
class Revisions:
    """Of one term: by (trainee, module, attempt).

    `standing` holds the ledger row of the marking that stands. `ended` holds, in order,
    (row, moment of its end) of markings that were sent and stand no more.
    """

    standing: dict = field(default_factory=dict)
    ended: dict = field(default_factory=dict)


def read(connection, sent_as):
    """The revisions of a term.

    Parameters
    ----------
    connection : Connection
    sent_as : str
        What the ledger calls the exports that count as sent.

    Returns
    -------
    Revisions
    """
    found, made, sent, excused = Revisions(), {}, set(), set()

    def end(owner, at):
        seq = found.standing.pop(owner, None)
        if (owner, seq) in sent:
            found.ended.setdefault(owner, []).append((seq, at))

    for seq, at, entry in ledger.entries(connection, *_MARKING, "excuse", "export"):
        event, owner = entry["event"], (entry["trainee"], entry["module"], entry["attempt"])
        if event == "export":
            if entry["new"] == sent_as:
                sent.update(found.standing.items())
        elif event == "excuse":
            # Excused work does not count; when the excuse is withdrawn it stands again, as a revision of its own.
            whose = owner[:2]
            (excused.discard if entry["new"] == "" else excused.add)(whose)
            for mine in [o for o in made.get(whose, ()) if whose in excused]:
                end(mine, at)
            if whose not in excused:
                found.standing |= dict.fromkeys(made.get(whose, ()), seq)
        else:
            mine = made.setdefault(owner[:2], [])
            if owner not in mine:
                mine.append(owner)
            if owner[:2] not in excused:
                end(owner, at)
                found.standing[owner] = seq
    return found
