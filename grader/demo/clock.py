"""The clock of the invented season: what is done in it bears its days, whenever it is made."""

from datetime import UTC, datetime, timedelta

#: Each time that it is asked, so much has passed.
STEP = timedelta(minutes=1)


class SeasonClock:
    """Tells the time as facts have it, a little later each time; set to a day before what is done on it."""

    def __init__(self, day: str) -> None:
        self.set(day)

    def set(self, day: str, hour: int = 9) -> None:
        """Go on to that hour of a day, as "2025-04-12"."""
        self._now = datetime.fromisoformat(day).replace(hour=hour, tzinfo=UTC)

    def __call__(self) -> str:
        self._now += STEP
        return self._now.isoformat(timespec="seconds")

    @property
    def day(self) -> str:
        """The day that it tells."""
        return self._now.date().isoformat()
