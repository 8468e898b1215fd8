"""What came of the chances that were said: a row for each job judged, kept beside the entries.

A row is only ever added. A job that is judged anew, by better weather, gets another row; the last
one holds.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass

from spraywindow.errors import RecordError
from spraywindow.record.file import Record, bring_up, transaction
from spraywindow.record.record import digest_of, last_number, rows_beside
from spraywindow.spray import Learned, learn

OUTCOMES_SINCE = 2
"""The schema version from which a file has them."""
_COLUMNS = "id, judged, receipt, body, digest"
INSERT_OUTCOME = f"INSERT INTO outcomes ({_COLUMNS}) VALUES (?, ?, ?, ?, ?)"


@dataclass(frozen=True)
class Outcome:
    """A chance that was said of one job, and what came of it.

    Attributes
    ----------
    receipt : str
        SHA-256 of the receipt's text.
    site, material : str
    issued, start : datetime
        When it was said, and the job's start, in the site's time.
    said : float
        The chance that the job holds, as it was said [0-1].
    general : float
        The same before the site's own answers shifted it.
    held : bool
    """

    receipt: str
    site: str
    material: str
    issued: dt.datetime
    start: dt.datetime
    said: float
    general: float
    held: bool

    @property
    def key(self) -> tuple[str, dt.datetime]:
        """The receipt and the job's start, by which it is known."""
        return self.receipt, self.start

    @property
    def days_ahead(self) -> int:
        """Local days from the answer to the job."""
        return (self.start.date() - self.issued.date()).days


def receipt_hash(text: str) -> str:
    """The hash by which a receipt is known."""
    return hashlib.sha256(text.encode()).hexdigest()


def outcomes(record: Record, site: str | None = None) -> list[Outcome]:
    """Give what came of every job judged, as it was judged last; with `site` those of it.

    Raises
    ------
    RecordError
        If a row does not agree with its digest or cannot be read.
    """
    return [each for each in _read(record).values() if site in (None, each.site)]


def keep_outcomes(
    record: Record, found: Sequence[tuple[Outcome, str]], *, now: dt.datetime
) -> list[Outcome]:
    """Keep outcomes with the texts of their receipts; give those that were not known before.

    A file of an older schema is brought up to this one first.

    Raises
    ------
    RecordError
        If the file cannot be written; then nothing is.
    """
    with transaction(record, "written") as connection:
        bring_up(record)
        known = _read(record)
        last = connection.execute("SELECT digest FROM outcomes ORDER BY id DESC LIMIT 1").fetchone()
        before = last[0] if last else ""
        added = [(each, text) for each, text in found if known.get(each.key) != each]
        judged = now.astimezone(dt.UTC).isoformat(timespec="seconds")
        for each, text in added:
            connection.execute("INSERT OR IGNORE INTO receipts VALUES (?, ?)", (each.receipt, text))
            number = last_number(connection, "outcomes") + 1
            values = (number, judged, each.receipt, _body(each))
            before = digest_of(before, *values)
            connection.execute(INSERT_OUTCOME, (*values, before))
    return [each for each, _ in added]


def learned_at(record: Record, site: str, today: dt.date) -> Learned:
    """What a site's own answers teach, of jobs before a local day.

    Of each material and morning only what was said last counts: what was said of it on the evenings
    before is no case of its own.
    """
    told = sorted(outcomes(record, site), key=lambda each: each.issued)
    last = {(each.material, each.start.date()): each for each in told if each.start.date() < today}
    past = list(last.values())
    return learn([each.general for each in past], [each.held for each in past])


def _body(outcome: Outcome) -> str:
    texts = {"issued": outcome.issued.isoformat(), "start": outcome.start.isoformat()}
    values = {name: value for name, value in vars(outcome).items() if name != "receipt"}
    return json.dumps(values | texts, ensure_ascii=False, allow_nan=False)


def outcome_rows(record: Record) -> list[tuple[int, str, str, str, str]]:
    """The rows of the table as they stand, each held to its digest."""
    return rows_beside(record, "outcomes", _COLUMNS, since=OUTCOMES_SINCE, one_of_them="outcome")


def _read(record: Record) -> dict[tuple[str, dt.datetime], Outcome]:
    """The last outcome of each job of each receipt."""
    out: dict[tuple[str, dt.datetime], Outcome] = {}
    for number, _, receipt, body, _ in outcome_rows(record):
        try:
            values = json.loads(body)
            times = {name: dt.datetime.fromisoformat(values[name]) for name in ("issued", "start")}
            outcome = Outcome(receipt, **(values | times))
            out[outcome.key] = outcome
        except (KeyError, TypeError, ValueError, RecursionError) as error:
            raise RecordError(
                f"damaged: outcome {number} cannot be read", where=str(record.path)
            ) from error
    return out
