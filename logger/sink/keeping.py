"""Messages into tables: each numbered message once, in one transaction with the count of its bench."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from logger.sink.batch import Arrival, Batch
from logger.sink.database import Cursor, Database, DatabaseAway, DatabaseRefuses
from logger.sink.deliveries import Delivery, Unfit, read_delivery


class Keeper:
    """Keeps batches. `utc` is asked for the time of arrival."""

    def __init__(self, database: Database, utc: Callable[[], str]) -> None:
        self._database, self._utc = database, utc

    def prepare(self) -> None:
        """Makes the tables where there are none. Raises DatabaseAway, WrongDatabase."""
        self._database.transaction(lambda cursor: None)

    def keep(self, arrivals: Sequence[Arrival]) -> None:
        """Returns when everything is durable. Raises DatabaseAway: then nothing is, and all may come again.

        When the database refuses the batch, each message is tried alone, and one that it still refuses is
        set aside.
        """
        try:
            self._database.transaction(lambda cursor: self._batch(cursor, arrivals).write())
        except DatabaseRefuses as error:
            if len(arrivals) > 1:
                for arrival in arrivals:
                    self.keep([arrival])
            else:
                self._set_aside_alone(arrivals[0], str(error))

    def _batch(self, cursor: Cursor, arrivals: Sequence[Arrival]) -> Batch:
        batch = Batch(cursor, self._database.lock, self._utc())
        good: list[tuple[Arrival, Delivery]] = []
        for arrival in arrivals:
            try:
                good.append((arrival, read_delivery(arrival.topic, arrival.payload)))
            except Unfit as unfit:
                batch.set_aside(arrival, unfit.fault, str(unfit))
        batch.load({(found.site, found.bench) for _, found in good})
        for arrival, found in good:
            batch.take(arrival, found)
        return batch

    def _set_aside_alone(self, arrival: Arrival, reason: str) -> None:
        """Where even this is refused, the fault lies with the database, and the message stays unacknowledged."""
        utc = self._utc()
        try:
            self._database.transaction(lambda cursor: _aside(Batch(cursor, "", utc), arrival, reason))
        except DatabaseRefuses as error:
            raise DatabaseAway(f"it refuses everything: {error}") from error


def _aside(batch: Batch, arrival: Arrival, reason: str) -> None:
    batch.set_aside(arrival, "not-storable", reason)
    batch.write()
