"""What the register keeps for its own user: the meters on the bench and the sessions in progress."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from calib.errors import InputError
from calib.register import meters, sessions
from calib.register.fields import line
from calib.register.gate import transaction
from calib.register.making import opened
from calib.register.meters import Meter
from calib.register.sessions import BenchSession

if TYPE_CHECKING:
    import pandas as pd


class BenchStore:
    """Meters and sessions in a register's file; every change is a later revision, and nothing is ever taken out."""

    path: Path
    _wait: float

    def keep_meter(self, meter: Meter) -> bool:
        """Put a meter on the list, or its new figures in the place of the old.

        Parameters
        ----------
        meter : Meter
            One range for one quantity; name, quantity and range identify it.

        Returns
        -------
        bool
            Whether anything was written: the same again is not.

        Raises
        ------
        RegisterError
            The file cannot be worked on.
        """
        with opened(self.path, self._wait, write=True) as con, transaction(con):
            return meters.keep(con, meter)

    def drop_meter(self, name: str, reads: str, range_label: str = "") -> None:
        """Take a meter off the list; its revisions stay, and it can be kept again.

        Raises
        ------
        InputError
            The list has no such meter.
        RegisterError
            The file cannot be worked on.
        """
        with opened(self.path, self._wait, write=True) as con, transaction(con):
            meters.drop(con, line("name", name), reads, line("range_label", range_label))

    def meters(self) -> pd.DataFrame:
        """The meters: name, reads (volt or ohm), range_label, percent, counts, resolution, revision, kept_at (UTC)."""
        with opened(self.path, self._wait) as con:
            return meters.current(con)

    def meter_revisions(self) -> pd.DataFrame:
        """Every revision of the meters, the oldest first: action (keep or drop), made_at (UTC), then the meter."""
        with opened(self.path, self._wait) as con:
            return meters.history(con)

    def keep_session(
        self,
        tag: str,
        entries: Mapping[str, Any],
        step: str,
        *,
        contributor: str = "",
        state: str = "open",
        session_id: str = "",
    ) -> BenchSession:
        """Keep a session at the bench, so that it can be taken up again.

        Parameters
        ----------
        tag : str
            The unit on the bench, as written on it; may be blank.
        entries : mapping
            By step, what was entered there: what JSON has words for, 262,144 characters of it at most.
        step : str
            The step that it is at.
        contributor : str
            Whose bench; may be blank.
        state : str
            open or done.
        session_id : str
            The session that goes on; blank starts a new one.

        Returns
        -------
        BenchSession
            As it stands now; the same again writes nothing.

        Raises
        ------
        InputError
            An entry that cannot be kept, entries too long, another state, or no session of that name.
        RegisterError
            The file cannot be worked on.
        """
        if state not in sessions.STATES:
            remedy = f"write one of: {', '.join(sessions.STATES)}"
            raise InputError.one("is no state of a session", remedy, column="state", value=state, code="choice")
        row = (
            line("tag", tag),
            line("contributor", contributor),
            line("step", step),
            state,
            sessions.as_json(entries),
        )
        with opened(self.path, self._wait, write=True) as con, transaction(con):
            return sessions.keep(con, session_id, row)

    def sessions(self, state: str = "") -> pd.DataFrame:
        """The sessions, or those of one state, the one kept last first; times are UTC, entries are left out."""
        with opened(self.path, self._wait) as con:
            return sessions.listed(con, state)

    def session(self, session_id: str) -> BenchSession:
        """A session as it was last kept.

        Raises
        ------
        InputError
            The register has no session of that name.
        RegisterError
            The file cannot be read.
        """
        with opened(self.path, self._wait) as con:
            return sessions.one(con, session_id)

    def session_revisions(self, session_id: str) -> pd.DataFrame:
        """The revisions of one session, the oldest first, its entries as JSON; no row where there is none."""
        with opened(self.path, self._wait) as con:
            return sessions.history(con, session_id)
