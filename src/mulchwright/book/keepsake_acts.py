"""What a book keeps beside the garden: photos, the forecast, outlooks as they were told, named settings.

None of these is loaded with the garden. Settings by name are texts: `weather_source` (how the record is
brought up to date), `weather_folder` (the folder that is watched) and whatever other rooms name and
document; an export leaves them out, since they belong to one machine. What they name is a wish: whether
this machine may call or read it is answered outside the book, in `services.consent`.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import TYPE_CHECKING, NamedTuple

from mulchwright.book import keepsake_rows
from mulchwright.book.session import Session, _NothingToDo
from mulchwright.errors import InputError
from mulchwright.garden import Photo, SavedOutlook

if TYPE_CHECKING:
    from mulchwright.weather.forecast import Forecast

__all__ = ["OUTLOOKS_KEPT", "KeepsakeActs", "PhotoFacts"]

OUTLOOKS_KEPT = 1100
"""Days of kept outlooks: three years of one a day."""


class PhotoFacts(NamedTuple):
    """What is known of a photo without loading it."""

    key: str
    width: int
    height: int
    taken_on: date | None
    bytes: int


class KeepsakeActs(Session):
    """The part of `Book` that keeps photos, forecast, outlooks and settings."""

    def add_photo(self, photo: Photo) -> int:
        """Keep a photo; the same photo under the same key twice is kept once. Return the revision.

        `InputError` when another photo has that key.
        """
        with self._change(f"photo {photo.key} was added", of_garden=False) as revision:
            stands = keepsake_rows.read_photo(self._connection, photo.key)
            if stands == photo:
                raise _NothingToDo
            if stands is not None:
                raise InputError(f"Another photo has the key {photo.key!r}; choose a new one.", field="key")
            keepsake_rows.insert_photo(self._connection, photo)
        return self.revision_on_disk() if stands == photo else revision

    def photo(self, key: str) -> Photo:
        """One photo; `InputError` where there is none of that key."""
        found = self._read(lambda: keepsake_rows.read_photo(self._connection, key))
        if found is None:
            raise InputError(
                f"There is no photo {key!r} in this book; it may not have arrived yet.", field="key"
            )
        return found

    def thumb(self, key: str) -> bytes | None:
        """The small copy of a photo as JPEG, without loading the photo; None where there is none."""
        row = self._read(
            lambda: self._connection.execute("SELECT thumb FROM photo WHERE key = ?", (key,)).fetchone()
        )
        return None if row is None else bytes(row[0])

    def photo_facts(self) -> tuple[PhotoFacts, ...]:
        """All photos by key, none of them loaded."""
        return self._read(
            lambda: tuple(
                PhotoFacts(row[0], row[1], row[2], date.fromisoformat(row[3]) if row[3] else None, row[4])
                for row in self._connection.execute(
                    "SELECT key, width, height, taken_on, bytes FROM photo ORDER BY key"
                )
            )
        )

    def remove_photo(self, key: str) -> int:
        """Take a photo out of the book for good; entries that name it go on without it."""
        with self._change(f"photo {key} was removed", of_garden=False) as revision:
            self._connection.execute("DELETE FROM photo WHERE key = ?", (key,))
        return revision

    def forecast(self) -> Forecast | None:
        """The latest forecast, or None."""
        return self._read(lambda: keepsake_rows.read_forecast(self._connection))

    def save_forecast(
        self, forecast: Forecast | None, *, settings: Mapping[str, str | None] | None = None
    ) -> int:
        """Put this forecast in place of the one in the book; None takes it out.

        settings : named settings that the same act changes, as for `set_settings`.
        """
        with self._change("the forecast was replaced", of_garden=False) as revision:
            keepsake_rows.write_forecast(self._connection, forecast)
            self._write_settings(settings or {})
        return revision

    def keep_outlook(self, kept: SavedOutlook) -> int:
        """Keep what the outlook said on a day, in place of what was kept of that day before.

        The latest `OUTLOOKS_KEPT` days stay.
        """
        with self._change("an outlook was kept", of_garden=False) as revision:
            keepsake_rows.write_outlook(self._connection, kept)
            self._connection.execute(
                "DELETE FROM kept_outlook WHERE made_on NOT IN"
                " (SELECT DISTINCT made_on FROM kept_outlook ORDER BY made_on DESC LIMIT ?)",
                (OUTLOOKS_KEPT,),
            )
        return revision

    def saved_outlooks(self) -> tuple[SavedOutlook, ...]:
        """All outlooks that were kept, by day."""
        return self._read(lambda: keepsake_rows.read_outlooks(self._connection))

    def setting(self, name: str) -> str | None:
        """The text kept under this name, or None."""
        row = self._read(
            lambda: self._connection.execute(
                "SELECT value FROM named_setting WHERE name = ?", (name,)
            ).fetchone()
        )
        return None if row is None else str(row[0])

    def set_setting(self, name: str, value: str | None) -> int:
        """Keep a text under a name; None forgets it. Return the new revision."""
        return self.set_settings({name: value})

    def set_settings(self, values: Mapping[str, str | None]) -> int:
        """Keep texts under their names, all in one act; None forgets one. Return the new revision."""
        what = f"the setting {next(iter(values))} was" if len(values) == 1 else "settings were"
        with self._change(f"{what} changed", of_garden=False) as revision:
            self._write_settings(values)
        return revision

    def _write_settings(self, values: Mapping[str, str | None]) -> None:
        """The settings' rows, within an act; `InputError` for a name that cannot be one."""
        for name, value in values.items():
            if not (
                name.isascii()
                and name.replace("_", "").isalnum()
                and name == name.lower()
                and len(name) <= 80
            ):
                raise InputError(
                    f"{name!r} is no name of a setting; use small letters, digits and _.", field="name"
                )
            self._connection.execute("DELETE FROM named_setting WHERE name = ?", (name,))
            if value is not None:
                self._connection.execute("INSERT INTO named_setting VALUES (?, ?)", (name, value))
