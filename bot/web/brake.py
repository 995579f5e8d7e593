"""How often one client may try to sign in; what is counted is forgotten after the window."""

import threading
from collections import deque
from datetime import datetime, timedelta

WINDOW = timedelta(minutes=10)
TRIES = 30
"""Tries of one client in the window; a whole office may sit behind one address."""
CLIENTS = 10_000
"""So many clients are remembered; whoever floods us with more makes only the oldest be forgotten."""


class Brake:
    """Counts tries by client, in this process."""

    def __init__(self) -> None:
        self._tries: dict[str, deque[datetime]] = {}
        self._lock = threading.Lock()

    def lets_pass(self, client: str, at: datetime) -> bool:
        """Count one more try; False where the client has had its tries."""
        with self._lock:
            tries = self._tries.pop(client, deque(maxlen=TRIES))
            self._tries[client] = tries
            while len(self._tries) > CLIENTS:
                self._tries.pop(next(iter(self._tries)))
            while tries and at - tries[0] > WINDOW:
                tries.popleft()
            if len(tries) == TRIES:
                return False
            tries.append(at)
            return True
