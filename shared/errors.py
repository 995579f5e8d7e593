"""Every error of the project, one tree, split by what the caller can do next."""


class WarmheapError(Exception):
    """Any error that Warmheap raises on purpose; its text is one clear line for a person."""


class BadInput(WarmheapError):
    """What was given cannot be used. The text names the place and the mend; nothing was changed."""


class Forged(BadInput):
    """Something does not come from whom it says, or is an old thing brought again."""


class OutOfRange(BadInput):
    """A value lies outside what can be: the text names the value and the range."""


class UnknownMaterial(BadInput):
    """No feedstock of that id in the table."""


class Infeasible(WarmheapError):
    """A goal cannot be met with what is at hand (a mix too wet for any amount of these browns)."""


class StorageTrouble(WarmheapError):
    """The database cannot serve now (locked, full, gone) or is from a newer version."""


class ChannelTrouble(WarmheapError):
    """A channel cannot be opened: wrong token, no network, port taken."""
